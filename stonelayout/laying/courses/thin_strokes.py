"""Threads: the centre lines of strokes too thin for two rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stonelayout.geometry.points import Points

from .outline_segments import Flags, Span, runs

#: The centre line of a thin stroke runs through joints up to so many pitches long.
BRIDGE = 5.0
#: A stroke is straight where it bends by less than this in a pitch, in radians.
STRAIGHT = 0.1


@dataclass(frozen=True, eq=False)
class Thread:
    """The centre line (n, 2) of a stroke too thin for two rows, and its directions at both ends.

    ``ways`` (2, 2) point out of it, ``straight`` (2,) tells whether the stroke is straight there.
    ``through``: it was carried through a joint with another stroke, or will be; ``across``: it
    runs right across what it meets at both ends.
    """

    line: Points
    ways: Points
    straight: Flags
    closed: bool
    through: bool
    across: bool = False


def threads_of(span: Span, pitch: float) -> list[Thread]:
    """Return the centre lines of a span's thin stretches.

    They end as the outline runs there: the width beside a joint would turn them aside.
    """
    found = []
    thin = (span.count == 1) & span.valid
    bend = span.bend(pitch)
    bridged = np.zeros_like(thin)
    gaps = runs(~thin)
    for low, high in gaps:
        if low == 0 or high == len(thin) or span.s[high - 1] - span.s[low] >= BRIDGE * pitch:
            continue
        if span.inward[low - 1] @ span.inward[high] > 0:  # not round the end of a stroke
            thin[low:high] = bridged[low:high] = span.count[low:high] == 1
    for low, high in runs(thin):
        if high - low < 3:
            continue
        half = span.half[low:high]
        line = span.points[low:high] + half[:, None] * span.inward[low:high]
        if span.closed and high - low == len(thin):
            found.append(Thread(line, np.zeros((2, 2)), np.ones(2, np.bool_), True, True))
            continue
        normal = span.inward[[low, high - 1]] * ((1,), (-1,))
        ways = np.column_stack((-normal[:, 1], normal[:, 0]))
        straight = bend[[low, high - 1]] * pitch < STRAIGHT
        found.append(Thread(line, ways, straight, False, bool(bridged[low:high].any())))
    return found
