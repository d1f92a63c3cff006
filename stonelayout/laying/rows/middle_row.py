"""One row along the middle of a part that is as wide as a stone."""

from __future__ import annotations

import dataclasses

import shapely
from shapely.geometry import Polygon

from stonelayout.geometry.polygons import inset
from stonelayout.laying.common.ask import Ask, Laid, Obstacles
from stonelayout.laying.common.part_fill import Part
from stonelayout.laying.common.tolerances import EXACT_MM


def middle_row(ask: Ask, polygon: Polygon, alone: Part, obstacles: Obstacles) -> Laid | None:
    """Return a row along the middle of a part that is as wide as a stone, None for another part."""
    # how much of the outline has room behind it for more than a row
    open_length = shapely.buffer(alone.room, -EXACT_MM).length
    if open_length > polygon.length / 4:
        return None
    margin = float(ask.options.get("margin", 0.0))
    wide = inset(polygon, alone.sizes[0].diameter / 2 + margin - EXACT_MM)
    if open_length > wide.length / 2:
        return None
    from stonelayout.laying.rows.spine import lay_spine

    options = {"overhang": EXACT_MM, "margin": margin}
    row = lay_spine(dataclasses.replace(ask, region=polygon, options=options, obstacles=obstacles))
    return dataclasses.replace(row, findings=()) if len(row.centres) else None
