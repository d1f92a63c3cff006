"""Equal chords: split an open path so that all straight-line steps are alike.

By Newton's method on all places at once (``equal_chords``); where it does not converge, as where
the curve turns back within a chord, by stepping along the curve with a fixed chord, as with a
pair of dividers (``divide``). ``split`` and ``most_equal`` choose between the two.
"""

from __future__ import annotations

import math

import numpy as np

from .bisection import narrowed
from .points import Points
from .polylines import Polyline

#: A chord this much under the pitch, relative, counts as the pitch: rounding, and no more.
SHORT = 5e-10
#: Chords of a span are equal within this, relative.
EQUAL = 1e-11
#: A path shorter than this, in mm, is a dot.
SAME = 1e-6
#: Newton steps at most; two to eight do on curves that can be solved so.
_STEPS = 40
#: In so many first steps the direction of the curve is taken over a stretch about each place,
#: half as long each time, so that the wiggles of a traced outline do not mislead.
_SMOOTH_STEPS = 5
#: Counts tried at most for one span, from the largest down.
_COUNTS = 16
#: Chords tried between the longest and the shortest when looking for a closing one.
_SCAN = 24
#: Halvings of a chord: what is left at the end moves by the chord's error times the count.
_TO_THE_LAST_BIT = 52
#: Steps at most along one path.
_MOST_STEPS = 1_000_000

#: No split: no places, and a chord that is not a number.
NONE: tuple[Points, float] = (np.empty(0), math.nan)


def equal_chords(path: Polyline, count: int, ratios: Points | None = None) -> tuple[Points, float]:
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
    rounding = 8 * float(np.finfo(np.float64).eps) * path.length
    band = np.ones((2, count))
    for step in range(_STEPS):
        points, unit = path.at_with_direction(places)
        side = np.diff(points, axis=0)
        length = np.hypot(side[:, 0], side[:, 1])
        if step == 0:
            chord = float(length.sum() / ratio.sum())
        residual = length - ratio * chord
        if float(np.abs(residual).max()) <= EQUAL * chord + rounding:
            return (places, chord) if bool((np.diff(places) > 0).all()) else NONE
        side /= np.maximum(length, 1e-300)[:, None]
        if step < _SMOOTH_STEPS:
            reach = max(chord, SAME) * 0.5 ** (step + 2)
            low = np.maximum(places - reach, 0.0)
            high = np.minimum(places + reach, path.length)
            unit = (path.at(high) - path.at(low)) / np.maximum(high - low, 1e-300)[:, None]
        ahead = np.maximum((side * unit[1:]).sum(axis=1), 0.1)
        back = (side * unit[:-1]).sum(axis=1)
        band[0] = ahead
        band[1, :-1] = -back[1:]
        moves = solve_banded((1, 0), band, np.column_stack((-residual, ratio)), check_finite=False)
        if moves[-1, 1] == 0 or not np.isfinite(moves).all():
            return NONE
        change = -moves[-1, 0] / moves[-1, 1]
        move = moves[:, 0] + change * moves[:, 1]
        scale = min(1.0, most / max(float(np.abs(move).max()), 1e-300))
        places[1:-1] += scale * move[:-1]
        chord += scale * change
    return NONE


def split(path: Polyline, count: int, pitch: float) -> tuple[Points, float]:
    """Split an open path into ``count`` equal chords of at least ``pitch`` (else empty, nan)."""
    places, chord = equal_chords(path, count)
    if not len(places):
        places, chord = divide(path, count, pitch * (1 - SHORT))
    return (places, chord) if chord >= pitch * (1 - SHORT) else (np.empty(0), chord)


def most_equal(path: Polyline, pitch: float) -> tuple[Points, float]:
    """Split an open path into as many equal chords of at least ``pitch`` as it takes.

    Returns places and the chord; (empty, nan) when not even its ends are a pitch apart.
    """
    count = int(path.length / pitch * (1 + 1e-9))
    walked = 0
    for _ in range(_COUNTS):
        if count < 1:
            break
        places, chord = equal_chords(path, count)
        if not len(places):
            if not walked:
                walked = len(divide(path, 0, pitch)[0])
                count = min(count, walked)
            places, chord = divide(path, count, pitch * (1 - SHORT))
        if len(places) and chord >= pitch * (1 - SHORT):
            return places, chord
        guess = count - 1 if math.isnan(chord) else int(count * chord / pitch * (1 + 1e-9))
        count = min(count - 1, guess)
    return NONE


def divide(path: Polyline, count: int, least: float) -> tuple[Points, float]:
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
    low, _ = narrowed(lambda chord: walker.left(chord, count) >= 0, low, high, _TO_THE_LAST_BIT)
    if abs(walker.left(low, count)) > 1e-10 * low:
        return np.empty(0), math.nan
    places = walker.places(low, count - 1)
    return np.array([*places, walker.path.length]), low


class _Walker:
    """Steps along one path, in plain floats: a numpy call for each step would cost more."""

    def __init__(self, path: Polyline) -> None:
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
