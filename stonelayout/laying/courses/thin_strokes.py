"""The centre lines of strokes too thin for two rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stonelayout.geometry.points import Points

from .outline_segments import Flags, OutlineSegment, true_runs

#: The centre line of a thin stroke runs through junctions up to so many pitches long.
BRIDGE = 5.0
#: A stroke is straight where it bends by less than this in a pitch, in radians.
STRAIGHT = 0.1


@dataclass(frozen=True, eq=False)
class ThinStroke:
    """The centre line (n, 2) of a stroke too thin for two rows, and its directions at both ends.

    ``ways`` (2, 2) point out of it, ``straight`` (2,) tells whether the stroke is straight there.
    ``through``: it was carried through a junction with another stroke, or will be; ``across``: it
    runs right across what it meets at both ends.
    """

    line: Points
    ways: Points
    straight: Flags
    closed: bool
    through: bool
    across: bool = False


def thin_strokes_of(segment: OutlineSegment, pitch: float) -> list[ThinStroke]:
    """Return the centre lines of a segment's thin stretches.

    They end as the outline runs there: the width beside a junction would turn them aside.
    """
    found = []
    thin = (segment.count == 1) & segment.valid
    bend = segment.bend(pitch)
    bridged = np.zeros_like(thin)
    gaps = true_runs(~thin)
    for low, high in gaps:
        if low == 0 or high == len(thin) or segment.s[high - 1] - segment.s[low] >= BRIDGE * pitch:
            continue
        if segment.inward[low - 1] @ segment.inward[high] > 0:  # not round the end of a stroke
            thin[low:high] = bridged[low:high] = segment.count[low:high] == 1
    for low, high in true_runs(thin):
        if high - low < 3:
            continue
        half = segment.half[low:high]
        line = segment.points[low:high] + half[:, None] * segment.inward[low:high]
        if segment.closed and high - low == len(thin):
            found.append(ThinStroke(line, np.zeros((2, 2)), np.ones(2, np.bool_), True, True))
            continue
        normal = segment.inward[[low, high - 1]] * ((1,), (-1,))
        ways = np.column_stack((-normal[:, 1], normal[:, 0]))
        straight = bend[[low, high - 1]] * pitch < STRAIGHT
        found.append(ThinStroke(line, ways, straight, False, bool(bridged[low:high].any())))
    return found
