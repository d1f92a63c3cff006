"""Forks of narrow arms: where a single row parts into the two along a shape's sides."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.polylines import Path, Points

from .curves import lines_of, lines_through

_HALVINGS = 50
#: Looked for in steps of this part of a pitch.
_STEP = 1 / 16
#: What is cut off lies within this of an arm's centre, in pitches.
BESIDE = 1.3
#: How far past its narrow stretch a mouth may lie, in pitches.
_PAST = 0.75


@dataclass(frozen=True)
class Fork:
    """Where the two rows start: ring and arc length on it, on the right and on the left."""

    right: tuple[int, float]
    left: tuple[int, float]
    width: float


@dataclass(frozen=True, eq=False)
class Rims:
    """The rings of a row, the inside on the left, as paths and as a table of their sides."""

    room: BaseGeometry
    paths: list[Path]
    holes: list[bool]
    pitch: float
    owner: npt.NDArray[np.intp]
    start: Points
    step: Points
    along: Points
    size: Points

    @classmethod
    def of(cls, room: BaseGeometry, pitch: float) -> Rims:
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

    def opening(self, path: Path, s: float, radius: float) -> Fork | None:
        """Return where the rings lie ``radius`` mm from a path's place s, on both sides ahead.

        None where they are not found, or nearer to each other than a pitch.
        """
        centre = path.at([s])[0]
        ahead = path.at([min(s + radius, path.length)])[0] - centre
        if np.hypot(*ahead) < radius / 2:
            ahead = centre - path.at([max(s - radius, 0.0)])[0]
        from_centre = self.start - centre
        near = np.flatnonzero(np.hypot(*from_centre.T) <= radius + self.size + 1e-9)
        p, v, length = from_centre[near], self.step[near], self.size[near]
        a, b = (v * v).sum(axis=1), (p * v).sum(axis=1)
        square = b * b - a * ((p * p).sum(axis=1) - radius * radius)
        real = square >= 0
        root = np.sqrt(np.where(real, square, 0.0))
        hits: list[tuple[float, int, float, Points]] = []
        way = math.atan2(ahead[1], ahead[0])
        tip = centre + radius * np.array([math.cos(way), math.sin(way)])
        if not shapely.contains_xy(self.room, *tip):
            return None
        for sign in (-1.0, 1.0):
            t = (-b + sign * root) / a
            for k in np.flatnonzero(real & (t >= 0) & (t < 1)):
                spot = p[k] + t[k] * v[k]
                turn = (math.atan2(spot[1], spot[0]) - way) % (2 * math.pi)
                hits.append(
                    (
                        turn,
                        int(self.owner[near[k]]),
                        float(self.along[near[k]] + t[k] * length[k]),
                        spot,
                    )
                )
        if len(hits) < 2:
            return None
        left, right = min(hits, key=lambda h: h[0]), max(hits, key=lambda h: h[0])
        width = float(np.hypot(*(left[3] - right[3])))
        angle = left[0] + 2 * math.pi - right[0]
        if angle < math.pi and width < self.pitch:
            return None
        return Fork((right[1], right[2]), (left[1], left[2]), width)

    def first_opening(self, path: Path, start: float, stop: float) -> float | None:
        """Return the first place from start on from which two stones of the rings have room.

        They are then a pitch from it, and from each other. Looked for from ``stop`` (which may
        lie before ``start``: then the path is followed backwards), the end of a narrow stretch.
        """
        if stop < start:
            back = Path.of(path.points[::-1])
            found = self.first_opening(back, path.length - start, path.length - stop)
            return None if found is None else path.length - found
        at, step = stop, _STEP * self.pitch

        def opens(s: float) -> bool:
            return self.opening(path, s, self.pitch) is not None

        while not opens(at):
            at += step
            if at > min(stop + _PAST * self.pitch, path.length):
                return None
        while at > start:
            before = max(at - step, start)
            if not opens(before):
                low, high = before, at
                for _ in range(_HALVINGS):
                    middle = (low + high) / 2
                    low, high = (low, middle) if opens(middle) else (middle, high)
                return high
            at = before
        return start

    @property
    def whole(self) -> list[tuple[Path, bool]]:
        """All rings, each with whether it goes round a hole."""
        return list(zip(self.paths, self.holes, strict=True))

    def rest(self, mouths: list[Fork], arms: list[Path]) -> list[tuple[Path, bool]] | None:
        """Return what is left of the rings when the arms beyond their mouths are cut off.

        Each part with whether it goes round a hole. None where a part would be cut off that lies
        farther than BESIDE pitches from the arms.
        """
        lines = lines_through(arms)
        found: list[tuple[Path, bool]] = []
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

    def _far(self, path: Path, lines: BaseGeometry) -> bool:
        count = max(int(path.length / self.pitch * 4), 4)
        spots = np.asarray(shapely.points(path.at(np.linspace(0, path.length, count))))
        return bool((shapely.distance(spots, lines) > BESIDE * self.pitch).any())
