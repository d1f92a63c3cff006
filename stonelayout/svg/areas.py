"""Filled regions: the nonzero and even-odd rules, exactly, for any rings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from .nesting import nested

Points = npt.NDArray[np.float64]
EMPTY: Final = shapely.MultiPolygon()
#: Below this many (faces × sides) the winding numbers are counted all against all.
_ALL_PAIRS: Final = 4_000_000


def fill(rings: Sequence[Points], rule: str = "nonzero") -> BaseGeometry:
    """Return the region that rings (n, 2) fill under ``"nonzero"`` or ``"evenodd"``.

    All rings are noded once, cut into faces, and each face is kept by the winding number of a
    point inside it (SVG 2, property ``fill-rule``). Raises shapely.GEOSException for rings that
    GEOS cannot node.
    """
    rings = [ring for ring in rings if len(ring) > 2]
    if not rings:
        return EMPTY
    simple = nested(rings, rule)
    if simple is not None:
        return shapely.normalize(simple)
    loops = [shapely.LineString(np.concatenate((ring, ring[:1]))) for ring in rings]
    lines = shapely.union_all(loops)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    if not len(faces):
        return EMPTY
    probes = shapely.get_coordinates(shapely.point_on_surface(faces))
    winding = _winding(rings, probes)
    kept = faces[winding % 2 == 1 if rule == "evenodd" else winding != 0]
    return shapely.normalize(_joined(kept))


def _joined(faces: npt.NDArray[np.object_]) -> BaseGeometry:
    if not len(faces):
        return EMPTY
    if len(faces) == 1:
        face: BaseGeometry = faces[0]
        return face
    joined = shapely.coverage_union_all(faces)
    parts = shapely.get_parts(joined)
    whole = shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])
    return whole if whole.is_valid else shapely.union_all(faces)


def _winding(rings: Sequence[Points], probes: Points) -> npt.NDArray[np.int64]:
    """Count, for each probe, the sides that cross the ray to its right, up minus down."""
    start = np.concatenate(rings)
    end = np.concatenate([np.concatenate((ring[1:], ring[:1])) for ring in rings])
    if len(start) * len(probes) <= _ALL_PAIRS:
        y, (y0, y1) = probes[:, 1, None], (start[:, 1], end[:, 1])
        probe, side = np.nonzero((y0 <= y) != (y1 <= y))
    else:
        sides = np.asarray(shapely.linestrings(np.stack((start, end), axis=1)), dtype=object)
        tree = shapely.STRtree(sides)
        right = np.maximum(start[:, 0].max(), end[:, 0].max()) + 1.0
        rays = np.empty((len(probes), 2, 2))
        rays[:, 0], rays[:, 1, 0], rays[:, 1, 1] = probes, right, probes[:, 1]
        probe, side = tree.query(shapely.linestrings(rays))
    x, y = probes[probe].T
    (x0, y0), (x1, y1) = start[side].T, end[side].T
    up = (y0 <= y) & (y1 > y)
    down = (y1 <= y) & (y0 > y)
    cross = (x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)
    turn = (up & (cross > 0)).astype(np.int64) - (down & (cross < 0)).astype(np.int64)
    return np.bincount(probe, weights=turn, minlength=len(probes)).astype(np.int64)
