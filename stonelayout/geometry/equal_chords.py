"""Equal chords: split an open path so that all straight-line steps are alike."""

from __future__ import annotations

import math

import numpy as np

from .chord_walk import divide
from .points import Points
from .polylines import Path

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


NONE: tuple[Points, float] = (np.empty(0), math.nan)


def split(path: Path, count: int, pitch: float) -> tuple[Points, float]:
    """Split an open path into ``count`` equal chords of at least ``pitch`` (else empty, nan)."""
    places, chord = equal_chords(path, count)
    if not len(places):
        places, chord = divide(path, count, pitch * (1 - SHORT))
    return (places, chord) if chord >= pitch * (1 - SHORT) else (np.empty(0), chord)


def most_equal(path: Path, pitch: float) -> tuple[Points, float]:
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
