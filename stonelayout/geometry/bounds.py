"""How many stones could fit at most: proved bounds, and a scale-free estimate beside them.

A *room* is the set of points where a centre may lie: polygons, with their holes, in mm.
"""

from __future__ import annotations

import math

import shapely
from shapely.geometry.base import BaseGeometry

#: Arcs of the grown room are polygons drawn about the circle, so that its area is never too
#: small: too large by at most 1 / cos(pi / 256) - 1 = 7.5e-5 of the radius.
_SEGMENTS = 64
#: Pitches are kept to this relative slack, so a bound must allow for it too.
_SLACK = 4e-9
#: Truncation radii tried, in pitches: up to 0.576, where at most six neighbours are near enough
#: to cut a cell's disc, and 1 / sqrt 3, where the cuts' angles do the counting.
_RADII = (0.5, 0.538, 0.576)


def proved_bound(room: BaseGeometry, pitch: float) -> int:
    """Return a number of points, pairwise at least ``pitch`` apart, that no room exceeds.

    The least of: the truncated-Voronoi bound of the whole room, and the sum over its polygons of
    the lower of that bound and Oler's for their convex hull. Each is proved for any room.
    """
    parts = [part for part in shapely.get_parts(room) if not part.is_empty]
    if not parts:
        return 0
    singly = sum(
        min(truncated_voronoi_bound(part, pitch), oler_bound(part.convex_hull, pitch))
        for part in parts
    )
    return min(singly, truncated_voronoi_bound(room, pitch)) if len(parts) > 1 else singly


def oler_bound(convex: BaseGeometry, pitch: float) -> int:
    """Return Oler's bound for a compact convex set: floor(2A / (sqrt 3 d^2) + P / 2d + 1).

    N. Oler, "A finite packing problem", Canad. Math. Bull. 4 (1961) 153-155. It holds for convex
    sets only; for another room give its convex hull.
    """
    d = pitch * (1 - _SLACK)
    perimeter = _perimeter(convex)
    area = convex.area + perimeter * pitch * _SLACK
    return math.floor(2 / math.sqrt(3) * area / d**2 + perimeter / (2 * d) + 1 + _SLACK)


def _perimeter(shape: BaseGeometry) -> float:
    # the perimeter of a convex set that is only a segment counts it there and back
    return float(shape.length) * (2 if shape.geom_type == "LineString" else 1)


def truncated_voronoi_bound(room: BaseGeometry, pitch: float) -> int:
    """Return a bound that holds for every room, holes and reflex corners included.

    For pitch d and d/2 <= t <= d/sqrt 3, the Voronoi cells of the points, cut to discs of radius
    t, are disjoint and lie in the room grown by t. A bisector stands at least d/2 from its point,
    so it cuts a segment of half-angle at most acos(d / 2t) <= 30 degrees off the disc; two cuts
    never overlap, since a triangle with sides >= d has a circumradius >= d/sqrt 3 >= t; and at
    most six points are near enough to cut while t < 0.576 d (seven within 2t would need seven
    angles of at least 51.4 degrees). At t = d/sqrt 3 the half-angles add up to at most pi and the
    segment's area is convex in its angle, which gives the same. So every piece has at least the
    area g(t) = pi t^2 - 6 (t^2 acos(d / 2t) - (d / 2) sqrt(t^2 - d^2 / 4)).
    """
    if room.is_empty:
        return 0
    d = pitch * (1 - _SLACK)

    def most(share: float) -> float:
        t = share * d
        cut = t * t * math.acos(min(d / (2 * t), 1)) - d / 2 * math.sqrt(max(t * t - d * d / 4, 0))
        piece = math.pi * t * t - 6 * cut
        grown = shapely.buffer(room, t / math.cos(math.pi / (4 * _SEGMENTS)), quad_segs=_SEGMENTS)
        return float(grown.area) * (1 + _SLACK) / piece

    # any radius proves it: near the vertex of a parabola through three, the bound is least
    first, middle, last = (most(share) for share in _RADII)
    bend = first - 2 * middle + last
    step = _RADII[1] - _RADII[0]
    vertex = _RADII[1] + step * (first - last) / (2 * bend) if bend > 0 else _RADII[1]
    near = min(max(vertex, _RADII[0]), _RADII[2])
    return math.floor(min(first, middle, last, most(near), most(1 / math.sqrt(3))))


def expected_most(room: BaseGeometry, pitch: float) -> float:
    """Return the Oler-Euler estimate 2A / (sqrt 3 d^2) + L / 2d + components - holes.

    An estimate, never a bound: a room that is not convex can hold more.
    """
    polygons = [p for p in shapely.get_parts(room) if p.geom_type == "Polygon"]
    euler = sum(1 - len(p.interiors) for p in polygons)
    return 2 / math.sqrt(3) * room.area / pitch**2 + room.length / (2 * pitch) + euler


def kappa(room: BaseGeometry, pitch: float, placed: int) -> float:
    """Return the stones missing to the estimate, for each pitch of outline: smaller is denser.

    About 0.5 for a grid dropped at random, 0.36-0.47 for the best grid, 0.17-0.34 for the
    best-known packings in a circle. An estimate; nan for a room without an outline.
    """
    if room.length <= 0:
        return math.nan
    return (expected_most(room, pitch) - placed) / (room.length / pitch)
