"""The divider: step along a polyline with a fixed chord, for curves that Newton cannot split."""

from __future__ import annotations

import math

import numpy as np

from .points import Points
from .polylines import Path

#: Chords tried between the longest and the shortest when looking for a closing one.
_SCAN = 24
#: Halvings of a bracket: enough for the last bit of a double.
_HALVINGS = 52
#: Steps at most along one path.
_MOST_STEPS = 1_000_000


def divide(path: Path, count: int, least: float) -> tuple[Points, float]:
    """Split an open path into ``count`` equal chords of at least ``least`` mm.

    Steps along the path: the next place is where the path first leaves the circle of one chord
    about the last. The chord is found by scanning from the longest possible down to ``least``
    for a change of sign of what is left at the end, then by halving. Returns places (count + 1,)
    and the chord, or (empty, nan) when the scan finds none. With ``count`` 0 it returns the
    places of plain steps of ``least``, which keep that distance from the path's end (or, on a
    closed path, from its start).
    """
    walker = _Walker(path)
    if count == 0:
        places = walker.places(least, _MOST_STEPS)
        end = path.points[0] if path.closed else path.points[-1]
        while len(places) > 1 and np.hypot(*(path.at([places[-1]])[0] - end)) < least:
            places.pop()
        return np.array(places), least
    longest = path.length / count * (1 + 1e-9)
    if longest < least or count < 2:
        return np.empty(0), math.nan
    chords = np.linspace(longest, least, _SCAN)
    upper, left = chords[0], walker.left(float(chords[0]), count)
    for chord in chords[1:]:
        now = walker.left(float(chord), count)
        if left < 0 <= now:
            found = _close(walker, float(chord), float(upper), count)
            if len(found[0]):
                return found
        upper, left = chord, now
    return np.empty(0), math.nan


def _close(walker: _Walker, low: float, high: float, count: int) -> tuple[Points, float]:
    """Halve a bracket until the last chord is like the others, if it does."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if walker.left(middle, count) >= 0:
            low = middle
        else:
            high = middle
    if abs(walker.left(low, count)) > 1e-10 * low:
        return np.empty(0), math.nan
    places = walker.places(low, count - 1)
    return np.array([*places, walker.path.length]), low


class _Walker:
    """Steps along one path, in plain floats: a numpy call for each step would cost more."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.x = path.points[:, 0].tolist()
        self.y = path.points[:, 1].tolist()
        self.s = path.along.tolist()

    def places(self, chord: float, most: int) -> list[float]:
        """Return the start and at most ``most`` places, each one chord from the last."""
        found = [0.0]
        x, y, side, share = self.x[0], self.y[0], 0, 0.0
        for _ in range(most):
            step = self._next(x, y, side, share, chord)
            if step is None:
                break
            x, y, side, share = step
            found.append(self.s[side] + share * (self.s[side + 1] - self.s[side]))
        return found

    def left(self, chord: float, count: int) -> float:
        """Return how far the end is from the last but one place, less a chord.

        Negative, growing with the steps missing, when the path ends before.
        """
        places = self.places(chord, count - 1)
        if len(places) < count:
            return -(count - len(places)) * chord
        (x, y), end = self.path.at([places[-1]])[0], self.path.points[-1]
        return float(math.hypot(end[0] - x, end[1] - y)) - chord

    def _next(
        self, px: float, py: float, side: int, share: float, chord: float
    ) -> tuple[float, float, int, float] | None:
        xs, ys = self.x, self.y
        limit = chord * chord
        for k in range(side, len(xs) - 1):
            bx, by = xs[k + 1] - px, ys[k + 1] - py
            if bx * bx + by * by < limit:
                share = 0.0
                continue
            ux, uy = xs[k + 1] - xs[k], ys[k + 1] - ys[k]
            fx, fy = xs[k] - px, ys[k] - py
            a = ux * ux + uy * uy
            b = fx * ux + fy * uy
            root = b * b - a * (fx * fx + fy * fy - limit)
            t = (-b + math.sqrt(max(root, 0.0))) / a
            if t > share or k > side:
                t = min(max(t, 0.0), 1.0)
                return xs[k] + t * ux, ys[k] + t * uy, k, t
            share = 0.0
        return None
