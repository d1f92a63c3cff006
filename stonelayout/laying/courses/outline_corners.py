"""Corners of an outline: where it turns within a short window."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points

#: A corner turns by more than this, in degrees, within a window (pitches) on both sides.
CORNER_DEGREES, CORNER_WINDOW = 38.0, 0.22
#: Vertices that turn by less than this, in degrees, are no corners.
VERTEX_DEGREES = 8.0


@dataclass(frozen=True, eq=False)
class OutlineCorner:
    """A corner of an outline: its place, its turning in radians (positive: convex)."""

    place: Points
    turn: float


def corner_vertices(points: Points, pitch: float) -> tuple[Points, npt.NDArray[np.intp], Points]:
    """Find the corners of one ring (open vertex list, inside on the left).

    Returns the ring, to which the middles of blunted notches have been added as vertices, the
    indices of the corners and their turning in radians.
    """
    side = np.roll(points, -1, axis=0) - points
    length = np.hypot(side[:, 0], side[:, 1])
    before = np.roll(side, 1, axis=0)
    turn = np.arctan2(
        before[:, 0] * side[:, 1] - before[:, 1] * side[:, 0], (before * side).sum(axis=1)
    )
    place = np.concatenate(([0.0], np.cumsum(length)))
    total = place[-1]
    seen = np.abs(turn) > math.radians(VERTEX_DEGREES)
    reach = CORNER_WINDOW * pitch
    found: list[tuple[int, float]] = []
    candidates = np.flatnonzero(seen)
    for k in candidates[np.lexsort((candidates, -np.round(np.abs(turn[candidates]), 7)))]:
        apart = np.abs(place[:-1] - place[k])
        apart = np.minimum(apart, total - apart)
        window = float(turn[apart <= reach].sum())
        if abs(window) <= math.radians(CORNER_DEGREES) or window * turn[k] <= 0:
            continue
        if any(apart[other] <= reach for other, _ in found):
            continue
        found.append((int(k), window))
    found.sort()
    return _with_notches(points, found, length, pitch)


def _with_notches(
    points: Points, found: list[tuple[int, float]], length: Points, pitch: float
) -> tuple[Points, npt.NDArray[np.intp], Points]:
    """Make one corner of two reflex ones that the mitre limit put side by side."""
    size = len(points)
    merged: dict[int, float] = {}
    gone: set[int] = set()
    turns = dict(found)
    for k, turn in found:
        after = (k + 1) % size
        if turn < 0 and turns.get(after, 1.0) < 0 and length[k] < 0.9 * pitch and k not in gone:
            merged[k] = turn + turns[after]
            gone |= {k, after}
    place: list[Points] = []
    index: list[int] = []
    angle: list[float] = []
    for k in range(size):
        if k in turns and k not in gone:
            index.append(len(place))
            angle.append(turns[k])
        place.append(points[k])
        if k in merged:
            index.append(len(place))
            angle.append(merged[k])
            place.append((points[k] + points[(k + 1) % size]) / 2)
    return np.array(place), np.array(index, dtype=np.intp), np.array(angle)
