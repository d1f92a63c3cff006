"""Regions: insets, outlines sampled with inward normals, and the local width by shrinking balls."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from .points import Points
from .polylines import turn_between

Flags = npt.NDArray[np.bool_]

#: A joint of two sides that turns by less than this, in degrees, lies on a curve.
SMOOTH_DEGREES = 25.0
#: Where the outline turns, its direction is blended over this many steps on either side.
BLEND = 5.0
#: A ball touches the outline at two places when they are seen from its centre at least so far
#: apart, in degrees; else it is stuck in a corner and says nothing about the width.
WIDTH_DEGREES = 128.0
#: Samples of an outline in `local_width_range`.
_RANGE_SAMPLES = 1500
#: Rounds of shrinking at most: a ball that has not settled then is as good as settled.
_ROUNDS = 40


def inset_mitred(region: BaseGeometry, distance: float) -> BaseGeometry:
    """Return a region inset by ``distance`` mm, notches kept sharp (mitre limit 2).

    Every point of it is at least ``distance`` inside; beside a notch a little more.
    """
    if distance <= 0:
        return region
    return shapely.buffer(region, -distance, join_style="mitre", mitre_limit=2.0)


@dataclass(frozen=True, eq=False)
class Outline:
    """Samples along all rings of a region, the inside on the left.

    ``points`` (n, 2) in mm, ``along`` (n, 2) unit directions, ``ring`` (n,) which ring,
    ``corner`` (n,) tells where the outline breaks; such a vertex stands twice, with the direction
    before it, then with the one after it.
    """

    points: Points
    along: Points
    ring: npt.NDArray[np.intp]
    corner: Flags

    @property
    def inward(self) -> Points:
        """Unit normals (n, 2) that point inside."""
        normal: Points = np.column_stack((-self.along[:, 1], self.along[:, 0]))
        return normal


def sides_of(region: BaseGeometry) -> Points:
    """Return the sides of all rings of a region, shape (m, 2, 2)."""
    found = []
    for line in shapely.get_parts(shapely.boundary(region)):
        ring = shapely.get_coordinates(line)
        found.append(np.stack((ring[:-1], ring[1:]), axis=1))
    sides: Points = np.concatenate(found)
    longer: Points = sides[np.abs(sides[:, 1] - sides[:, 0]).max(axis=1) > 0]
    return longer


def rings_of(region: BaseGeometry) -> list[Points]:
    """Return the rings of a region as open vertex lists, the inside on the left."""
    found = []
    for polygon in shapely.get_parts(region):
        if polygon.geom_type != "Polygon" or polygon.is_empty:
            continue
        turned = orient(polygon, 1.0)
        for ring in (turned.exterior, *turned.interiors):
            points = shapely.get_coordinates(ring)[:-1]
            keep = np.hypot(*(points - np.roll(points, 1, axis=0)).T) > 1e-9
            if keep.sum() > 2:
                found.append(points[keep])
    return found


def sample_ring(points: Points, step: float) -> tuple[Points, Points, Flags]:
    """Sample one ring; returns points, unit directions and which samples are corners.

    Directions turn evenly along curves (the chords' turning at smooth vertices is blended), so
    that they do not depend on how finely the curve was flattened.
    """
    side = np.roll(points, -1, axis=0) - points
    length = np.hypot(side[:, 0], side[:, 1])
    unit = side / length[:, None]
    before = np.roll(unit, 1, axis=0)
    turn = turn_between(before, unit)
    smooth = np.abs(turn) < math.radians(SMOOTH_DEGREES)
    middle = before + unit
    middle /= np.maximum(np.hypot(middle[:, 0], middle[:, 1]), 1e-12)[:, None]
    start = np.where(smooth[:, None], middle, unit)
    end = np.roll(np.where(smooth[:, None], middle, before), -1, axis=0)
    count = np.maximum(np.ceil(length / step), 1).astype(np.intp)
    double = np.roll(~smooth, -1)  # the end of a side that breaks is a sample of its own
    total = count + double
    first = np.cumsum(total) - total
    which = np.repeat(np.arange(len(points)), total)
    k = np.arange(len(which)) - first[which]
    share = k / count[which]
    reach = np.minimum(length / 2, BLEND * step)[which]
    to_start = np.maximum(1 - share * length[which] / reach, 0.0)[:, None]
    to_end = np.maximum(1 - (1 - share) * length[which] / reach, 0.0)[:, None]
    own = unit[which]
    along = own + to_start * (start[which] - own) + to_end * (end[which] - own)
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    after = np.roll(points, -1, axis=0)[which]
    at = points[which] * (1 - share)[:, None] + after * share[:, None]
    return at, along, ((k == 0) & ~smooth[which]) | (k == count[which])


def sample_outline(region: BaseGeometry, step: float) -> Outline:
    """Sample all rings of a region at most ``step`` mm apart."""
    parts = [sample_ring(ring, step) for ring in rings_of(region)]
    if not parts:
        return Outline(np.empty((0, 2)), np.empty((0, 2)), np.empty(0, np.intp), np.empty(0, bool))
    return Outline(
        np.concatenate([p[0] for p in parts]),
        np.concatenate([p[1] for p in parts]),
        np.repeat(np.arange(len(parts)), [len(p[0]) for p in parts]),
        np.concatenate([p[2] for p in parts]),
    )


def shrink_balls(
    outline: Outline, near: float, largest: float
) -> tuple[Points, npt.NDArray[np.intp], Points]:
    """Find at each sample the largest ball inside that touches the outline there.

    Shrinking-ball iteration (Ma, Bae and Choi, "3D medial axis point approximation using nearest
    neighbors and the normal field", The Visual Computer 28, 2012): from the region's ``largest``
    disc (radius in mm), touch the nearest sample, shrink, repeat. Samples within ``near`` mm
    count only where the outline turns towards the ball. Returns radii (n,), the other sample
    touched (n,) and its angle in degrees from the first, seen from the centre (n,).
    """
    from scipy.spatial import KDTree

    points, inward = outline.points, outline.inward
    size = len(points)
    tree = KDTree(points)
    radius = np.full(size, largest)
    other = np.arange(size)
    active = np.arange(size)
    many = min(12, size)
    for _ in range(_ROUNDS):
        if not len(active):
            break
        centre = points[active] + radius[active, None] * inward[active]
        _, found = tree.query(centre, k=many)
        found = found.reshape(len(active), many)
        step = points[found] - points[active][:, None]
        square = (step**2).sum(axis=2)
        depth = (step * inward[active][:, None]).sum(axis=2)
        away = np.sqrt(square)
        real = (depth > 1e-9) & ((away >= near) | (depth > 0.3 * away))
        smaller = np.where(real, square / np.maximum(2 * depth, 1e-300), np.inf)
        best = smaller.argmin(axis=1)
        row = np.arange(len(active))
        value = smaller[row, best]
        shrinks = value < radius[active] * (1 - 1e-7)
        moved = active[shrinks]
        radius[moved] = value[shrinks]
        other[moved] = found[row, best][shrinks]
        active = moved
    centre = points + radius[:, None] * inward
    first, second = points - centre, points[other] - centre
    cosine = (first * second).sum(axis=1) / np.maximum(
        np.hypot(*first.T) * np.hypot(*second.T), 1e-300
    )
    return radius, other, np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def largest_disc(polygon: Polygon, tolerance: float) -> float:
    """Return the radius of the largest disc in a polygon, to ``tolerance`` (both in mm)."""
    return float(shapely.maximum_inscribed_circle(polygon, tolerance).length)


def local_width_range(region: BaseGeometry) -> tuple[float, float]:
    """Return the least and the largest local width of a region, in mm; (0, 0) when empty.

    The width at a place of the outline is the diameter of the largest disc inside that touches
    it there, where the disc also touches the outline about opposite (see WIDTH_DEGREES). Where
    no place has an opposite one (a triangle), both are the diameter of the largest disc.
    """
    total = float(region.length)
    if region.is_empty or total <= 0:
        return 0.0, 0.0
    lows, highs = [], []
    for polygon in shapely.get_parts(region):
        if polygon.geom_type != "Polygon" or polygon.area <= 0:
            continue
        step = max(total / _RANGE_SAMPLES, 1e-6)
        outline = sample_outline(polygon, step)
        disc = largest_disc(polygon, step / 10)
        radius, _, angle = shrink_balls(outline, 4 * step, disc * 1.01)
        wide = 2 * radius[(angle >= WIDTH_DEGREES) & ~outline.corner]
        largest = 2 * disc
        lows.append(min(float(wide.min()), largest) if len(wide) else largest)
        highs.append(largest)
    return (min(lows), max(highs)) if lows else (0.0, 0.0)
