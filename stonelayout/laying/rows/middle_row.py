"""One row along the middle of a part that is as wide as a stone."""

from __future__ import annotations

import dataclasses

import shapely
from shapely.geometry import Polygon

from stonelayout.geometry.polygons import inset
from stonelayout.laying.common.ask import Ask, Laid, Obstacles
from stonelayout.laying.common.part_fill import Part
from stonelayout.laying.common.tolerances import EXACT_MM

from .row_junctions import lay_rows_together
from .spine import spine_tracks


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
    options = {"overhang": EXACT_MM, "margin": margin}
    alone_ask = dataclasses.replace(ask, region=polygon, options=options, obstacles=obstacles)
    row = lay_rows_together([alone_ask], spine_tracks)[0]
    return dataclasses.replace(row, findings=()) if len(row.centres) else None
