"""How good each filled shape is: the figures of measures.py for a layout's fills."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import shapely

from .artwork import Artwork
from .bounds import proved_bound
from .job import Rule
from .layout import Layout
from .measures import measure_fill


def fill_entries(artwork: Artwork, rules: Iterable[Rule], layout: Layout) -> list[dict[str, Any]]:
    """Return one entry for each filled shape, as it stands in reports, in order of laying.

    ``bound`` is proved, ``kappa`` an estimate. Where a rule has several sizes, the bound is that
    of the smallest alone, and figures that only one size has are None.
    """
    listed, found = list(rules), []
    for fill in layout.fills:
        rule, shape = listed[fill.rule], artwork.shape(fill.shape)
        region = shape.stroke_area if shape.area is None else shape.area
        if region is None or region.is_empty:
            continue
        margin = float(rule.options.get("margin", 0.0))
        stone, pitch = rule.stones[-1], rule.pitches[-1]
        entry: dict[str, Any] = {"shape": shape.id, "pattern": rule.pattern}
        if len(rule.stones) > 1:
            room = shapely.buffer(region, -(stone.diameter / 2 + margin), quad_segs=16)
            entry |= {"placed": fill.end - fill.start, "bound": proved_bound(room, pitch)}
            entry |= dict.fromkeys(("kappa", "spread", "psi6", "row_order", "largest_empty"))
        else:
            centres = layout.centres[fill.start : fill.end]
            figures = dict(measure_fill(region, centres, stone.diameter, pitch, margin).as_dict())
            figures["row_order"] = figures.pop("rows")
            figures["largest_empty"] = figures.pop("empty")
            entry |= figures
        found.append(entry)
    return found
