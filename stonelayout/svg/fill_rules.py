"""Filled regions: the nonzero and even-odd rules, exactly, for any rings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.geometry.points import Points

from .ring_nesting import nested

EMPTY: Final = shapely.MultiPolygon()
#: The most crossings of an outline with itself: more take minutes, and no stone could follow it.
MOST_CROSSINGS: Final = 150_000
#: The most rings that are repaired as one: the ways between more of them cross too much.
_FEW: Final = 8
#: Probes in one band, and the most (probe, side) pairs looked at together.
_BAND: Final = 256
_MOST_PAIRS: Final = 1_000_000


def fill(rings: Sequence[Points], rule: str = "nonzero") -> BaseGeometry:
    """Return the region that rings (n, 2) fill under ``"nonzero"`` or ``"evenodd"``.

    Few rings under nonzero are repaired as one (GEOS, "structure" method). Else all are noded
    once, cut into faces, and each face is kept by the winding number of a point inside it (SVG 2,
    property ``fill-rule``). Raises ArtworkError for rings that cross themselves over
    ``MOST_CROSSINGS`` times, shapely.GEOSException for what GEOS cannot node.
    """
    rings = [ring for ring in rings if len(ring) > 2]
    if not rings:
        return EMPTY
    simple = nested(rings, rule)
    if simple is not None:
        return shapely.normalize(simple)
    _refuse_many_crossings(rings)
    if rule == "nonzero" and len(rings) <= _FEW:
        return shapely.normalize(_repaired(rings))
    loops = [shapely.LineString(np.concatenate((ring, ring[:1]))) for ring in rings]
    lines = shapely.union_all(loops)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    if not len(faces):
        return EMPTY
    probes = shapely.get_coordinates(shapely.point_on_surface(faces))
    winding = _winding(rings, probes)
    kept = faces[winding % 2 == 1 if rule == "evenodd" else winding != 0]
    return shapely.normalize(_joined(kept))


def _refuse_many_crossings(rings: Sequence[Points]) -> None:
    """Estimate the crossings from a few sides, evenly taken, against all the others."""
    start = np.concatenate(rings)
    end = np.concatenate([np.concatenate((ring[1:], ring[:1])) for ring in rings])
    count = len(start)
    if count * (count - 1) // 2 <= MOST_CROSSINGS:
        return
    taken = max(8, _MOST_PAIRS // (10 * count))
    step = max(1, count // taken)
    some = slice(step // 2, None, step)
    a, b = start[some, None], end[some, None]

    def side(p: Points, q: Points, r: Points) -> Points:
        cross: Points = (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (
            q[..., 1] - p[..., 1]
        ) * (r[..., 0] - p[..., 0])
        return cross

    crossing = side(a, b, start) * side(a, b, end) < 0
    taken_at, other = np.nonzero(crossing)
    a, b, start, end = a[taken_at, 0], b[taken_at, 0], start[other], end[other]
    crossing = side(start, end, a) * side(start, end, b) < 0
    estimate = int(crossing.sum()) * count / (2 * len(range(count)[some]))
    if estimate > MOST_CROSSINGS:
        raise ArtworkError(
            f"the outline crosses itself some {estimate:,.0f} times (most {MOST_CROSSINGS:,}): "
            "no stone can follow it"
        )


def _repaired(rings: Sequence[Points]) -> BaseGeometry:
    """Fill rings as one ring: the ways from each to the next are gone both ways and add nothing."""
    back = [ring[:1] for ring in rings[-2::-1]]
    chain = [part for ring in rings for part in (ring, ring[:1])]
    whole = shapely.make_valid(
        shapely.Polygon(np.concatenate(chain + back)), method="structure", keep_collapsed=False
    )
    return EMPTY if whole.is_empty else whole


def _joined(faces: npt.NDArray[np.object_]) -> BaseGeometry:
    if not len(faces):
        return EMPTY
    if len(faces) == 1:
        face: BaseGeometry = faces[0]
        return face
    try:
        joined = shapely.coverage_union_all(faces)
    except shapely.GEOSException:  # faces that overlap by rounding
        return shapely.union_all(faces)
    parts = shapely.get_parts(joined)
    whole = shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])
    return whole if whole.is_valid else shapely.union_all(faces)


def _winding(rings: Sequence[Points], probes: Points) -> npt.NDArray[np.int64]:
    """Count, for each probe, the sides that cross the ray to its right, up minus down.

    Probes are taken in bands of y, each against the sides that reach into its band.
    """
    start = np.concatenate(rings)
    end = np.concatenate([np.concatenate((ring[1:], ring[:1])) for ring in rings])
    low, high = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    order = np.argsort(probes[:, 1], kind="stable")
    winding = np.zeros(len(probes), dtype=np.int64)
    at = 0
    size = _BAND
    while at < len(order):
        band = order[at : at + size]
        x, y = probes[band, 0, None], probes[band, 1, None]
        reach = np.flatnonzero((low <= y[-1, 0]) & (high > y[0, 0]))
        if len(band) > 1 and len(reach) * len(band) > _MOST_PAIRS:
            size = max(1, size // 2)
            continue
        (x0, y0), (x1, y1) = start[reach].T, end[reach].T
        cross = (x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)
        from_below, to_below = y0 <= y, y1 <= y
        up = from_below & ~to_below & (cross > 0)
        down = ~from_below & to_below & (cross < 0)
        winding[band] = up.sum(axis=1) - down.sum(axis=1)
        at += len(band)
        size = min(_BAND, 2 * size)
    return winding
