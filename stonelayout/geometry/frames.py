"""Frames: coordinates of its own for a polygon, so that its copies look the same in theirs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

#: Coordinates in a part's own frame are rounded to this many decimals of a mm, so that the last
#: digits of a copy's position cannot change its fill.
FRAME_DECIMALS = 10


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
    """A part's own frame: its centroid is the origin, its axes are the page's, turned or mirrored.

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
    """Return the frame in which a polygon and its copies, turned or mirrored, look the same."""
    middle = shapely.centroid(polygon)
    origin = np.array([middle.x, middle.y])
    best: tuple[float, ...] = ()
    turn = _TURNS[0]
    for candidate in _TURNS:
        key = _signature(polygon, Frame(origin, candidate))
        if not best or key > best:
            best, turn = key, candidate
    return Frame(origin, turn)


def _signature(polygon: Polygon, frame: Frame) -> tuple[float, ...]:
    """Moments of the outline that tell a frame from its mirror images; landscape comes first."""
    points = shapely.get_coordinates(polygon)
    ends = frame.inward(points)
    sides = np.diff(ends, axis=0)
    length = np.hypot(sides[:, 0], sides[:, 1])
    x, y = ((ends[1:] + ends[:-1]) / 2).T
    total = float(length.sum()) or 1.0
    size = float(np.sqrt(polygon.area)) or 1.0
    terms = (x**2 - y**2, y**3, x**3, x**2 * y, x * y**2, x * y, y**5, x**5, x**3 * y, x * y**3)
    degrees = (2, 3, 3, 3, 3, 2, 5, 5, 4, 4)
    return tuple(
        round(float((length * term).sum()) / total / size**degree, 7) + 0.0
        for term, degree in zip(terms, degrees, strict=True)
    )
