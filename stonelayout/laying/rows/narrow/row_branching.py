"""Forks of narrow arms: where a single row parts into the two along a shape's sides."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.bisection import narrowed_at_once
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline, lines_through
from stonelayout.laying.rows.tracks.row_curves import lines_of

#: Places looked at together.
_AT_ONCE = 16
#: Looked for in steps of this part of a pitch.
_STEP = 1 / 16
#: What is cut off lies within this of an arm's centre, in pitches.
_OF_AN_ARM = 1.3
#: How far past its narrow stretch a mouth may lie, in pitches.
_PAST = 0.75


@dataclass(frozen=True)
class Fork:
    """Where the two rows start: ring and arc length on it, on the right and on the left."""

    right: tuple[int, float]
    left: tuple[int, float]
    width: float


@dataclass(frozen=True, eq=False)
class _Spots:
    """At places (k,): whether two stones of the rings ahead have room, and if any has, where.

    ``side`` (2, k) and ``share`` (2, k) are the sides of the rings, right and left, and how far
    along them; ``width`` (k,) is the distance between the two in mm.
    """

    opens: npt.NDArray[np.bool_]
    side: npt.NDArray[np.intp]
    share: Points
    width: Points


@dataclass(frozen=True, eq=False)
class RowRings:
    """The rings of a row, the inside on the left, as paths and as a table of their sides."""

    room: BaseGeometry
    paths: list[Polyline]
    holes: list[bool]
    pitch: float
    owner: npt.NDArray[np.intp]
    start: Points
    step: Points
    along: Points
    size: Points

    @classmethod
    def of(cls, room: BaseGeometry, pitch: float) -> RowRings:
        """Make the table of a room's rings."""
        paths = lines_of(room)
        start = np.concatenate([path.points[:-1] for path in paths])
        stop = np.concatenate([path.points[1:] for path in paths])
        owner = np.repeat(np.arange(len(paths)), [len(path.points) - 1 for path in paths])
        along = np.concatenate([path.along[:-1] for path in paths])
        step = stop - start
        holes = [k > 0 for part in shapely.get_parts(room) for k in range(1 + len(part.interiors))]
        shapely.prepare(room)
        return cls(room, paths, holes, pitch, owner, start, step, along, np.hypot(*step.T))

    def opening(self, path: Polyline, s: float, radius: float) -> Fork | None:
        """Return where the rings lie ``radius`` mm from a path's place s, on both sides ahead.

        None where they are not found, or nearer to each other than a pitch.
        """
        found = self._spots(path, np.array([s]), radius)
        if not found.opens[0]:
            return None
        (right, left), at = found.side[:, 0].tolist(), found.share[:, 0]
        return Fork(
            (int(self.owner[right]), float(self.along[right] + at[0] * self.size[right])),
            (int(self.owner[left]), float(self.along[left] + at[1] * self.size[left])),
            float(found.width[0]),
        )

    def _spots(self, path: Polyline, s: Points, radius: float) -> _Spots:
        """Return where the rings lie ``radius`` mm from a path's places s (k,)."""
        centre = path.at(s)
        ahead = path.at(np.minimum(s + radius, path.length)) - centre
        short = np.hypot(*ahead.T) < radius / 2
        if short.any():
            ahead[short] = centre[short] - path.at(np.maximum(s[short] - radius, 0.0))
        way = np.arctan2(ahead[:, 1], ahead[:, 0])
        tip = centre + radius * np.column_stack((np.cos(way), np.sin(way)))
        opens = np.asarray(shapely.contains_xy(self.room, tip))
        middle = centre.mean(axis=0)
        reach = radius + float(np.hypot(*(centre - middle).T).max()) + 1e-9
        near = np.flatnonzero(np.hypot(*(self.start - middle).T) <= reach + self.size)
        px, py = (self.start[near, axis] - centre[:, axis, None] for axis in (0, 1))
        vx, vy = self.step[near].T
        a, b = vx * vx + vy * vy, px * vx + py * vy
        square = b * b - a * (px * px + py * py - radius * radius)
        root = np.sqrt(np.maximum(square, 0.0))
        t = np.concatenate(((-b - root) / a, (-b + root) / a), axis=1)
        real = np.concatenate((square, square), axis=1) >= 0
        real &= (t >= 0) & (t < 1)
        opens &= real.sum(axis=1) > 1
        if not opens.any():
            return _Spots(opens, np.empty((2, 0), np.intp), np.empty((2, 0)), np.empty(0))
        x = np.concatenate((px, px), axis=1) + t * np.concatenate((vx, vx))
        y = np.concatenate((py, py), axis=1) + t * np.concatenate((vy, vy))
        turn = (np.arctan2(y, x) - way[:, None]) % (2 * math.pi)
        row = np.arange(len(s))
        right = np.where(real, turn, -1.0).argmax(axis=1)
        left = np.where(real, turn, 9.0).argmin(axis=1)
        width = np.hypot(x[row, left] - x[row, right], y[row, left] - y[row, right])
        angle = turn[row, left] + 2 * math.pi - turn[row, right]
        opens &= (angle >= math.pi) | (width >= self.pitch)
        both = np.stack((right, left))
        return _Spots(opens, near[both % len(near)], t[row, both], width)

    def first_opening(self, path: Polyline, start: float, stop: float) -> float | None:
        """Return the first place from start on from which two stones of the rings have room.

        They are then a pitch from it, and from each other. Looked for from ``stop`` (which may
        lie before ``start``: then the path is followed backwards), the end of a narrow stretch.
        """
        if stop < start:
            back = Polyline.of(path.points[::-1])
            found = self.first_opening(back, path.length - start, path.length - stop)
            return None if found is None else path.length - found
        step = _STEP * self.pitch
        ahead = stop + step * np.arange(round(_PAST / _STEP) + 1)
        ahead = ahead[(ahead <= path.length) | (ahead == stop)]

        def opens(places: Points) -> npt.NDArray[np.bool_]:
            return self._spots(path, places, self.pitch).opens

        open_ = opens(ahead)
        if not open_.any():
            return None
        high = float(ahead[open_.argmax()])
        while high > start:
            places = np.maximum(high - step * np.arange(1, _AT_ONCE), start)
            shut = ~opens(places)
            if shut.any():
                first = int(shut.argmax())
                high = float(places[first - 1]) if first else high
                return narrowed_at_once(opens, high, float(places[first]))[0]
            high = float(places[-1])
        return start

    @property
    def whole(self) -> list[tuple[Polyline, bool]]:
        """All rings, each with whether it goes round a hole."""
        return list(zip(self.paths, self.holes, strict=True))

    def rest(self, mouths: list[Fork], arms: list[Polyline]) -> list[tuple[Polyline, bool]] | None:
        """Return what is left of the rings when the arms beyond their mouths are cut off.

        Each part with whether it goes round a hole. None where a part would be cut off that lies
        farther than _OF_AN_ARM pitches from the arms.
        """
        lines = lines_through(arms)
        found: list[tuple[Polyline, bool]] = []
        for k, (path, hole) in enumerate(self.whole):
            marks = sorted(
                [(m.right[1], True) for m in mouths if m.right[0] == k]
                + [(m.left[1], False) for m in mouths if m.left[0] == k]
            )
            if not marks and self._far(path, lines):
                found.append((path, hole))
            for (s, opens), (t, goes_on) in zip(marks, [*marks[1:], *marks[:1]], strict=True):
                part = path.between(s, t if t > s else t + path.length)
                if opens and not goes_on:
                    found.append((part, hole))
                elif self._far(part, lines):
                    return None
        return found

    def _far(self, path: Polyline, lines: BaseGeometry) -> bool:
        count = max(int(path.length / self.pitch * 4), 4)
        spots = np.asarray(shapely.points(path.at(np.linspace(0, path.length, count))))
        return bool((shapely.distance(spots, lines) > _OF_AN_ARM * self.pitch).any())
