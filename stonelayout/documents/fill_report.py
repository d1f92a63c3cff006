"""The quality of each fill of a layout, by the figures of ``geometry.fill_measures``."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.bounds import proved_bound
from stonelayout.geometry.fill_measures import largest_empty, measure_fill, spread
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import SLACK_MM, depth_within
from stonelayout.model.artwork import Artwork
from stonelayout.model.job import Rule
from stonelayout.model.layout import Layout


def fill_entries(artwork: Artwork, rules: Iterable[Rule], layout: Layout) -> list[dict[str, Any]]:
    """Return one entry for each filled shape, as it stands in reports, in order of laying.

    ``bound`` is proved, ``kappa`` an estimate; ``cover`` is the share of the shape's area under
    its stones. Where a rule has several sizes, the bound is that of the smallest alone, which
    holds for any mix; ``spread`` and ``largest_empty`` (for the smallest size) count distances as
    shares of what two stones keep, and figures that only one size has are None. Where stones
    stand over the outline, the bound and the largest empty disc allow for it. All figures take
    the shape as if it stood alone: stones of other rules on it leave it emptier.
    """
    listed, found = list(rules), []
    for fill in layout.fills:
        rule, shape = listed[fill.rule], artwork.shape(fill.shape)
        region = shape.stroke_area if shape.area is None else shape.area
        if region is None or region.is_empty:
            continue
        mine = slice(fill.start, fill.end)
        centres, diameters = layout.centres[mine], layout.diameters[mine]
        least, pitch = min(stone.diameter for stone in rule.stones), min(rule.pitches)
        depth = depth_within(region, centres, diameters / 2)
        outside = depth < 0
        depth[outside] = -shapely.distance(region, shapely.points(centres[outside]))
        margin = float(rule.options.get("margin", 0.0))
        over = least / 2 + margin - float(depth.min(initial=math.inf))
        if over > SLACK_MM:
            margin -= over
        entry: dict[str, Any] = {"shape": shape.id, "pattern": rule.pattern}
        if len(rule.stones) > 1:
            room = shapely.buffer(region, -(least / 2 + margin), quad_segs=64)
            own = dict(zip((stone.name for stone in rule.stones), rule.pitches, strict=True))
            pitches = np.array([own.get(kind.size, 0.0) for kind in layout.kinds])[
                layout.kind[mine]
            ]
            figures: dict[str, float | None] = {
                "placed": len(centres),
                "bound": proved_bound(room, pitch),
                "kappa": None,
                "spread": _rounded(spread(centres, pitches)),
                "psi6": None,
                "row_order": None,
                "largest_empty": _rounded(largest_empty(room, centres, (pitches + pitch) / 2)),
            }
        else:
            figures = dict(measure_fill(region, centres, least, pitch, margin).as_dict())
            figures["row_order"] = figures.pop("rows")
            figures["largest_empty"] = figures.pop("empty")
        cover = covered(region, centres, diameters, depth) / region.area
        found.append(entry | figures | {"cover": round(cover, 4)})
    return found


def covered(region: BaseGeometry, centres: Points, diameters: Points, depth: Points) -> float:
    """Return how much of a region, in mm2, stones cover; ``depth`` (n,) in mm is theirs in it."""
    inside = depth >= diameters / 2 - 2 * SLACK_MM
    whole = float((math.pi / 4 * diameters[inside] ** 2).sum())
    discs = shapely.buffer(shapely.points(centres[~inside]), diameters[~inside] / 2, quad_segs=64)
    return whole + float(shapely.area(shapely.intersection(discs, region)).sum())


def _rounded(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None
