"""Centre lines of slender shapes, brought out and cut to where stones have room."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from .bisection import edges, narrowed
from .centreline import Branch
from .points import Points
from .polylines import Polyline

#: Places a pitch at which a branch is looked at for room.
_PLACES = 24
#: A place counts as far enough from the outline when it lacks no more than this, in mm: rounding.
ROOM_SLACK_MM = 1e-6


def reaching_out(branch: Branch, polygon: Polygon, least: float) -> Polyline:
    """Return a branch whose free ends reach out to ``least`` mm from the outline."""
    points, radius = branch.points, branch.radius
    if branch.free[1]:
        points = np.concatenate((points, _end(points, radius, polygon, least)))
    if branch.free[0]:
        points = np.concatenate((_end(points[::-1], radius[::-1], polygon, least), points))
    closed = len(points) > 3 and not any(branch.free) and bool((points[0] == points[-1]).all())
    return Polyline.of(points, closed)


def _end(points: Points, radius: Points, polygon: Polygon, least: float) -> Points:
    """Return the point (1, 2) at which the last stone of a line stands, or none (0, 2)."""
    line = Polyline.of(points)
    back = line.at([max(line.length - max(float(radius[-1]), least), 0.0)])[0]
    way = points[-1] - back
    size = float(np.hypot(*way))
    if size < 1e-9 or radius[-1] <= least:
        return np.empty((0, 2))
    way /= size
    outline = polygon.boundary
    low, high = 0.0, float(radius[-1]) * 2

    def fits(t: float) -> bool:
        spot = shapely.Point(points[-1] + t * way)
        return bool(polygon.contains(spot)) and float(outline.distance(spot)) >= least

    for k in range(1, 65):
        if not fits(high * k / 64):
            low, high = high * (k - 1) / 64, high * k / 64
            break
    low, _ = narrowed(fits, low, high)
    return np.asarray(points[-1] + low * way)[None, :]


def parts_with_room(
    line: Polyline, polygon: Polygon, floor: float, pitch: float
) -> list[tuple[Polyline, bool]]:
    """Cut a line where it comes nearer to the outline than ``floor``; tell which parts fit."""
    if line.length <= 0:
        return [(line, True)]
    count = max(int(line.length / pitch * _PLACES), 8)
    s = np.linspace(0.0, line.length, count)
    outline = polygon.boundary
    shapely.prepare(outline)

    def fits(at: Points) -> npt.NDArray[np.bool_]:
        spots = np.asarray(shapely.points(line.at(at)))
        return np.asarray(shapely.distance(spots, outline) >= floor - ROOM_SLACK_MM)

    good = fits(s)
    if good.all():
        return [(line, True)]
    cuts = [0.0, *edges(fits, s, good, 40).tolist(), line.length]
    flags = [bool(good[0]) == (k % 2 == 0) for k in range(len(cuts) - 1)]
    return [
        (line.between(a, b), fit)
        for a, b, fit in zip(cuts, cuts[1:], flags, strict=False)
        if b - a > 1e-6
    ]
