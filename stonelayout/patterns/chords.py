"""Equal chords along a polyline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.artwork import Points

#: Vertices nearer to each other than this, in mm, are one.
SAME_MM = 1e-9
#: Chords are equal when they differ by less than this, relative.
EQUAL = 1e-12
#: A chord may fall short of the pitch by this, relative: rounding.
SHORT = 1e-12
#: Newton steps at most; two to eight do on curves that can be solved so.
_STEPS = 40
#: In so many first steps the direction is taken over a stretch about each place.
_SMOOTH_STEPS = 5


@dataclass(frozen=True, eq=False)
class Path:
    """A polyline in mm. ``points`` (m, 2), m >= 1; a closed one repeats its first point last.

    ``along`` (m,) is the arc length in mm at each vertex.
    """

    points: Points
    closed: bool
    along: Points

    @classmethod
    def of(cls, points: npt.ArrayLike, closed: bool = False) -> Path:
        """Make a path from vertices (m, 2), m >= 1; a closed one need not repeat its first."""
        table = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        step = np.hypot(*np.diff(table, axis=0).T)
        table = table[np.concatenate(([True], step > SAME_MM))]
        while closed and len(table) > 1 and np.hypot(*(table[-1] - table[0])) <= SAME_MM:
            table = table[:-1]
        closed = closed and len(table) > 1
        if closed:
            table = np.concatenate((table, table[:1]))
        step = np.hypot(*np.diff(table, axis=0).T)
        return cls(table, closed, np.concatenate(([0.0], np.cumsum(step))))

    @property
    def length(self) -> float:
        """Arc length in mm."""
        return float(self.along[-1])

    def at(self, s: npt.ArrayLike) -> Points:
        """Return the points (k, 2) at arc lengths s (k,); a closed path goes round."""
        found, _ = self.at_with_direction(s)
        return found

    def at_with_direction(self, s: npt.ArrayLike) -> tuple[Points, Points]:
        """Return the points and unit directions, (k, 2) each, at arc lengths s (k,)."""
        s = np.asarray(s, dtype=np.float64).reshape(-1)
        if len(self.points) == 1:
            return np.repeat(self.points, len(s), axis=0), np.zeros((len(s), 2))
        turns = np.floor(s / self.length) * self.length if self.closed else 0.0
        inside = np.where(s == self.length, s, s - turns)
        side = np.clip(
            np.searchsorted(self.along, inside, side="right") - 1, 0, len(self.points) - 2
        )
        step = self.points[side + 1] - self.points[side]
        unit = step / (self.along[side + 1] - self.along[side])[:, None]
        return self.points[side] + unit * (inside - self.along[side])[:, None], unit

    def between(self, start: float, stop: float) -> Path:
        """Return the part from arc length ``start`` to ``stop`` as an open path.

        On a closed path ``stop`` may be up to one length past ``start``, which is in [0, length).
        """
        along, points = self.along, self.points
        if self.closed and stop > self.length:
            along = np.concatenate((along, along[1:] + self.length))
            points = np.concatenate((points, points[1:]))
        first = int(np.searchsorted(along, start + SAME_MM, side="right"))
        last = int(np.searchsorted(along, stop - SAME_MM, side="left"))
        ends = self.at([start, stop])
        return Path.of(np.concatenate((ends[:1], points[first:last], ends[1:])))


def equal_chords(path: Path, count: int, ratios: Points | None = None) -> tuple[Points, float]:
    """Split an open path into ``count`` equal chords; returns places (count + 1,) and the chord.

    The ends of the path may coincide (a closed curve from a given start). ``ratios`` (count,)
    asks for chords in these proportions instead, ``ratios * chord``. Newton's method on all
    places at once (a bidiagonal system with one full column, O(count) a step) from equal arc
    lengths. Returns (empty, nan) when it does not converge to places in rising order.
    """
    from scipy.linalg import solve_banded

    ratio = np.ones(count) if ratios is None else np.asarray(ratios, dtype=np.float64)
    places = path.length * np.concatenate(([0.0], np.cumsum(ratio) / ratio.sum()))
    if count == 1:
        ends = path.at(places)
        return places, float(np.hypot(*(ends[1] - ends[0]))) / float(ratio[0])
    chord = path.length / float(ratio.sum())
    most = 0.3 * chord
    band = np.ones((2, count))
    for step in range(_STEPS):
        points, unit = path.at_with_direction(places)
        side = np.diff(points, axis=0)
        length = np.hypot(side[:, 0], side[:, 1])
        if step == 0:
            chord = float(length.sum() / ratio.sum())
        residual = length - ratio * chord
        if float(np.abs(residual).max()) <= EQUAL * chord:
            return (places, chord) if bool((np.diff(places) > 0).all()) else _NONE
        side /= np.maximum(length, 1e-300)[:, None]
        if step < _SMOOTH_STEPS:
            reach = chord * 0.5 ** (step + 2)
            low = np.maximum(places - reach, 0.0)
            high = np.minimum(places + reach, path.length)
            unit = (path.at(high) - path.at(low)) / (high - low)[:, None]
        ahead = np.maximum((side * unit[1:]).sum(axis=1), 0.1)
        back = (side * unit[:-1]).sum(axis=1)
        band[0] = ahead
        band[1, :-1] = -back[1:]
        moves = solve_banded((1, 0), band, np.column_stack((-residual, ratio)), check_finite=False)
        if moves[-1, 1] == 0 or not np.isfinite(moves).all():
            return _NONE
        change = -moves[-1, 0] / moves[-1, 1]
        move = moves[:, 0] + change * moves[:, 1]
        scale = min(1.0, most / max(float(np.abs(move).max()), 1e-300))
        places[1:-1] += scale * move[:-1]
        chord += scale * change
    return _NONE


_NONE: tuple[Points, float] = (np.empty(0), math.nan)


def split(path: Path, count: int, pitch: float) -> tuple[Points, float]:
    """Split an open path into ``count`` equal chords of at least ``pitch`` (else empty, nan)."""
    places, chord = equal_chords(path, count)
    return (places, chord) if chord >= pitch * (1 - SHORT) else (np.empty(0), chord)


def most_equal(path: Path, pitch: float) -> tuple[Points, float]:
    """Split an open path into as many equal chords of at least ``pitch`` as it takes.

    Returns places and the chord; (empty, nan) when not even its ends are a pitch apart.
    """
    count = int(path.length / pitch * (1 + 1e-9))
    for _ in range(200):
        if count < 1:
            break
        places, chord = split(path, count, pitch)
        if len(places):
            return places, chord
        guess = count - 1 if math.isnan(chord) else int(count * chord / pitch * (1 + 1e-9))
        count = min(count - 1, guess)
    return _NONE
