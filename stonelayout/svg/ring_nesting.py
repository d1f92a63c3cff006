"""The fast path for rings that do not cross: which is inside which, and what that fills."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, cast

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

#: With more rings than this the general method (``fill_rules``) is not slower.
_MOST_RINGS: Final = 2000


def nested(rings: Sequence[Points], rule: str) -> BaseGeometry | None:
    """Return what rings fill; None unless each is simple and no two touch."""
    if len(rings) > _MOST_RINGS:
        return None
    if len(rings) == 1:
        only = cast("shapely.Polygon", shapely.polygons(rings[0]))
        return only if only.is_valid else None
    points = np.concatenate(rings)
    of = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    loops = np.asarray(shapely.linearrings(points, indices=of))
    discs = np.asarray(shapely.polygons(loops))
    if not shapely.is_valid(discs).all():
        return None
    order = np.argsort(-shapely.area(discs), kind="stable")
    discs, loops, rings = discs[order], loops[order], [rings[k] for k in order]
    parents = _parents(discs)
    if parents is None:
        return None
    winding: list[int] = []
    shells: dict[int, list[BaseGeometry]] = {}
    home: list[int] = []  # the shell in whose polygon the inside of each ring lies
    for k, parent in enumerate(parents):
        turn = 1 if rule == "evenodd" or _turns_left(rings[k]) else -1
        outside = winding[parent] if parent >= 0 else 0
        winding.append(outside + turn)
        was, now = _kept(outside, rule), _kept(winding[k], rule)
        home.append(home[parent] if parent >= 0 else -1)
        if now and not was:
            home[k] = k
            shells[k] = []
        elif was and not now:
            shells[home[k]].append(loops[k])
    polygons = [shapely.polygons(loops[k], holes or None) for k, holes in shells.items()]
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)


def _parents(discs: npt.NDArray[np.object_]) -> list[int] | None:
    """Return, for each disc (largest first), the smallest one around it; None if any two touch."""
    tree = shapely.STRtree(discs)
    inner, outer = tree.query(discs, predicate="intersects")
    once = inner > outer
    inner, outer = inner[once], outer[once]
    if len(inner) and not shapely.contains_properly(discs[outer], discs[inner]).all():
        return None
    parents = [-1] * len(discs)
    for k, around in zip(inner.tolist(), outer.tolist(), strict=True):
        parents[k] = max(parents[k], around)
    return parents


def _kept(winding: int, rule: str) -> bool:
    return winding % 2 == 1 if rule == "evenodd" else winding != 0


def _turns_left(ring: Points) -> bool:
    x, y = (ring - ring[0]).T  # the first corner is at zero: its sides add nothing
    return bool(np.dot(x[:-1], y[1:]) - np.dot(y[:-1], x[1:]) > 0.0)
