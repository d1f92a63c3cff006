"""Where along a line a condition stops to hold, or a growing length is no longer too small.

Conditions need not come from a function with a sign, nor hold in one stretch only: of the changes
in a bracket one is found. Callers that ask for another number of halvings than HALVINGS do so for
time, or so that the last digits of layouts stay what they were.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from .points import Points

#: Halvings of a bracket where a caller needs no other number: a pitch becomes 1e-13 mm.
HALVINGS = 45
#: Runs of four halvings, and the places that one run may come to, as shares of its bracket.
_RUNS = 9
_SIXTEENTHS: Points = np.linspace(0.0, 1.0, 17)
#: Steps of false position at most, and a length in mm that counts as nothing: chords are no more
#: exact.
_FALSE_POSITIONS, _NOTHING = 50, 1e-10


def narrowed(
    holds: Callable[[float], bool], yes: float, no: float, halvings: int = HALVINGS
) -> tuple[float, float]:
    """Halve the bracket between ``yes``, where a condition holds, and ``no``, where it does not.

    ``no`` may lie on either side. Returns the two ends of what is left, in this order.
    """
    for _ in range(halvings):
        middle = (yes + no) / 2
        if holds(middle):
            yes = middle
        else:
            no = middle
    return yes, no


def edges(
    holds: Callable[[Points], npt.NDArray[np.bool_]],
    places: Points,
    flags: npt.NDArray[np.bool_],
    halvings: int = HALVINGS,
) -> Points:
    """Return the places (k,) between rising ``places`` (n,) at which a condition changes.

    ``flags`` (n,) tells where it holds; ``holds`` tells it for any places. All brackets are halved
    together; returns their middles.
    """
    change = np.flatnonzero(flags[1:] != flags[:-1])
    low, high, at_high = places[change].copy(), places[change + 1].copy(), flags[change + 1]
    for _ in range(halvings):
        middle = (low + high) / 2
        as_high = holds(middle) == at_high
        high[as_high] = middle[as_high]
        low[~as_high] = middle[~as_high]
    return np.asarray((low + high) / 2)


def narrowed_at_once(
    holds: Callable[[Points], npt.NDArray[np.bool_]], yes: float, no: float
) -> tuple[float, float]:
    """Do as ``narrowed`` does, to 36 halvings, for a condition that is told of many places at once.

    Of each run of four halvings all places that it may come to are looked at together, which takes
    a fourth of the calls.
    """
    for _ in range(_RUNS):
        places = no + (yes - no) * _SIXTEENTHS
        held = holds(places[1:-1])
        at, size = 0, 16
        while size > 1:
            size //= 2
            at += 0 if held[at + size - 1] else size
        no, yes = float(places[at]), float(places[at + 1])
    return yes, no


def least_that_fits(spare: Callable[[float], float], low: float, high: float) -> float | None:
    """Return the least place at which ``spare``, a growing length in mm, is not below nothing.

    None where it is at ``high``. By false position (the Illinois method: M. Dowell and P. Jarratt,
    BIT 11, 1971), halving where it is not a number; unlike a root, what it returns is never short.
    """
    above = spare(high)
    if not above >= 0:
        return None
    below = spare(low)
    if below >= 0:
        return low
    weight, moved = above, 0
    for _ in range(_FALSE_POSITIONS):
        if above <= _NOTHING or high - low <= _NOTHING:
            break
        share = 0.5 if math.isnan(below) else below / (below - weight)
        middle = low + share * (high - low)
        value = spare(middle)
        if value >= 0:
            high, above, weight = middle, value, value
            below = below / 2 if moved > 0 else below
            moved = 1
        else:
            low, below = middle, value
            weight = weight / 2 if moved < 0 else weight
            moved = -1
    return high
