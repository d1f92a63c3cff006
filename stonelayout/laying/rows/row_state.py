"""Rows while they are worked on: what is laid of each so far, and the obstacles of each ask."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.frames import Frame
from stonelayout.geometry.neighbours import clear_of
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask
from stonelayout.laying.rows.tracks.size_runs import Sizes


@dataclass
class RowState:
    """A row while it is worked on: its path and stones.

    ``lost`` are the arc lengths of stones removed, of which ``refilled`` came back elsewhere;
    ``given`` are the stretches that another row lays; ``ragged`` tells whether stones were removed
    since it was spaced last; ``depth`` is its track's.
    """

    ask: int
    path: Polyline
    at: Points
    pinned: npt.NDArray[np.bool_]
    size: Sizes
    given: list[tuple[float, float]] = field(default_factory=list)
    lost: list[float] = field(default_factory=list)
    refilled: int = 0
    ragged: bool = False
    depth: int = 0

    @property
    def centres(self) -> Points:
        """Centres (n, 2) in mm."""
        return self.path.at(self.at)

    @functools.cached_property
    def box(self) -> tuple[float, float, float, float]:
        """Bounding box of the path."""
        (left, top), (right, bottom) = self.path.points.min(axis=0), self.path.points.max(axis=0)
        return float(left), float(top), float(right), float(bottom)

    def reaches(self, spot: Points, distance: float) -> bool:
        """Tell whether the row may come nearer to a spot than this, by its bounding box."""
        left, top, right, bottom = self.box
        x, y = float(spot[0]), float(spot[1])
        return left - distance < x < right + distance and top - distance < y < bottom + distance


@dataclass(frozen=True, eq=False)
class FrameObstacles:
    """Obstacles of each ask in the frame: centres and least distances."""

    centres: list[Points]
    distance: list[Points]

    @classmethod
    def of(cls, asks: Sequence[Ask], frame: Frame) -> FrameObstacles:
        """Carry the obstacles of asks into their frame."""
        centres, distance = [], []
        for ask in asks:
            known = ask.obstacles
            if known is None or not len(known.centres):
                centres.append(np.empty((0, 2)))
                distance.append(np.empty((0, len(ask.sizes))))
            else:
                centres.append(frame.inward(known.centres))
                distance.append(known.distance)
        return cls(centres, distance)

    def clear(self, ask: int, points: Points, size: Sizes) -> npt.NDArray[np.bool_]:
        """Tell which stones at points (n, 2) keep their distance from obstacles of an ask."""
        return clear_of(points, self.centres[ask], self.distance[ask], size)
