"""Frames: coordinates of its own for a polygon or some curves, in which their copies look the same.

A part that is laid in its own frame gets the same stones wherever it stands, turned by quarters
or mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from .points import Points
from .polylines import Polyline

#: Coordinates in a part's own frame are rounded to this many decimals of a mm, so that the last
#: digits of a copy's position cannot change its fill.
FRAME_DECIMALS = 10
#: Moments are compared to this many decimals, which rounded copies have in common.
_DECIMALS = 7

#: The eight symmetries of the square.
_TURNS = tuple(
    np.array([[a, b], [c, d]], dtype=np.float64)
    for a, b, c, d in (
        (1, 0, 0, 1),
        (-1, 0, 0, 1),
        (1, 0, 0, -1),
        (-1, 0, 0, -1),
        (0, 1, 1, 0),
        (0, -1, 1, 0),
        (0, 1, -1, 0),
        (0, -1, -1, 0),
    )
)


@dataclass(frozen=True, eq=False)
class Frame:
    """A frame of its own: a centroid is the origin, the axes are the page's, turned or mirrored.

    ``turn`` (2, 2) holds one of the eight symmetries of the square.
    """

    origin: Points
    turn: Points

    def inward(self, points: Points) -> Points:
        """Carry points (n, 2) from the page into the frame."""
        return np.asarray((points - self.origin) @ self.turn.T, dtype=np.float64)

    def outward(self, points: Points) -> Points:
        """Carry points (n, 2) from the frame to the page."""
        return np.asarray(points @ self.turn + self.origin, dtype=np.float64)

    def shape_inward(self, shape: BaseGeometry) -> BaseGeometry:
        """Carry a shape into the frame, its coordinates rounded."""
        return shapely.transform(shape, lambda p: np.round(self.inward(p), FRAME_DECIMALS) + 0.0)


def frame_of(polygon: Polygon) -> Frame:
    """Return the frame in which a polygon and its copies, turned or mirrored, look the same.

    Its origin is the polygon's centroid.
    """
    middle = shapely.centroid(polygon)
    points = shapely.get_coordinates(polygon)
    length = np.hypot(*np.diff(points, axis=0).T)
    origin = np.array([middle.x, middle.y])
    return Frame(origin, _own_turn((points[1:] + points[:-1]) / 2, length, origin))


def frame_of_paths(paths: Sequence[Polyline]) -> Frame:
    """Return the frame in which curves and their copies, turned or mirrored, look the same.

    Its origin is their common centroid, by length.
    """
    middle = np.concatenate([(path.points[1:] + path.points[:-1]) / 2 for path in paths])
    length = np.concatenate([np.diff(path.along) for path in paths])
    total = float(length.sum())
    if not total:
        return Frame(np.concatenate([path.points for path in paths]).mean(axis=0), np.eye(2))
    origin = (length[:, None] * middle).sum(axis=0) / total
    return Frame(origin, _own_turn(middle, length, origin))


def _own_turn(middle: Points, length: Points, origin: Points) -> Points:
    """Return the turn whose moments come first; landscape comes before portrait.

    Moments of the sides, over powers of their mean distance (root mean square) from the origin,
    rounded. What has the same moments under two turns is symmetric, and either will do.
    """
    total = float(length.sum()) or 1.0
    away = middle - origin
    size = float(np.sqrt((length * (away**2).sum(axis=1)).sum() / total)) or 1.0
    best: tuple[float, ...] = ()
    chosen = _TURNS[0]
    for turn in _TURNS:
        x, y = (away / size @ turn.T).T
        terms = (x**2 - y**2, y**3, x**3, x**2 * y, x * y**2, x * y, y**5, x**5, x**3 * y, x * y**3)
        key = tuple(round(float((length * term).sum()) / total, _DECIMALS) + 0.0 for term in terms)
        if not best or key > best:
            best, chosen = key, turn
    return chosen
