"""Gaps of rows, where stones were removed: rows spaced anew beside them, and what fits put in.

``respace`` slides the stones at a gap towards it as far as they keep their distance, and spaces the
stretches beside it evenly. ``fill_gaps`` puts stones into gaps that have room for them after all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.bisection import narrowed
from stonelayout.geometry.equal_chords import most_equal
from stonelayout.geometry.intersections import TOUCH_MM
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

from .row_state import FrameObstacles, RowState

#: Places at which a stone that slides is looked at before the last one free is refined.
_SLIDES = 50


def respace(
    line: RowState, lines: list[RowState], obstacles: FrameObstacles, pitches: Points
) -> None:
    """Bring the stones beside each gap as near as they may come, and even out the stretches."""
    if not line.ragged or len(line.at) < 2:
        return
    line.ragged = False
    count = len(line.at)
    turns = count if line.path.closed else count - 1
    after = np.append(line.at[1:], line.at[0] + line.path.length)
    lost = np.sort(np.array(line.lost))
    if line.path.closed:
        lost = np.concatenate((lost, lost + line.path.length))
    low, high = np.searchsorted(lost, line.at), np.searchsorted(lost, after)
    gaps = {k for k in range(turns) if high[k] > low[k]}
    holes = {k for k in range(turns) if _is_given(line, float(line.at[k] + after[k]) / 2)}
    anchored = line.pinned.copy()
    if not line.path.closed:
        anchored[[0, -1]] = True
    for k in gaps | holes | set(np.flatnonzero(line.size != np.roll(line.size, -1)).tolist()):
        anchored[[k, (k + 1) % count]] = True
    at = line.at.copy()
    for k in sorted(gaps - holes):
        here, there = k, (k + 1) % count
        pitch = float(pitches[line.size[[here, there]]].mean())
        room = float(after[k] - line.at[k]) - pitch
        half = [
            _slide(line, here, room / 2, lines, obstacles, pitches),
            _slide(line, there, -room / 2, lines, obstacles, pitches),
        ]
        moves = half
        if line.pinned[here] or line.pinned[there]:
            full = [
                _slide(line, here, room, lines, obstacles, pitches),
                _slide(line, there, -room, lines, obstacles, pitches),
            ]
            if _makes_room(line, here, there, full, anchored, pitches):
                moves = full
        ends = line.path.at([line.at[here] + moves[0], line.at[there] + moves[1]])
        if np.hypot(*(ends[1] - ends[0])) >= pitch:
            at[here] += moves[0]
            at[there] += moves[1]
    _even_out(line, at, anchored, gaps | holes, pitches)


def _makes_room(
    line: RowState,
    here: int,
    there: int,
    moves: list[float],
    anchored: npt.NDArray[np.bool_],
    pitches: Points,
) -> bool:
    """Tell whether moves of the stones at a gap let one more in on the stretches beside it."""
    count, length = len(line.at), line.path.length
    for stone, move, way in ((here, moves[0], -1), (there, moves[1], 1)):
        steps = next((n for n in range(1, count) if anchored[(stone + way * n) % count]), 0)
        if not move or not steps:
            continue
        one, other = float(line.at[stone]) + move, float(line.at[(stone + way * steps) % count])
        start, stop = (one, other) if way > 0 else (other, one)
        start, stop = (start % length, stop % length) if line.path.closed else (start, stop)
        stop += length if line.path.closed and stop <= start else 0.0
        if stop <= start:
            continue
        found, _ = most_equal(line.path.between(start, stop), float(pitches[line.size[stone]]))
        if len(found) > steps + 1:
            return True
    return False


def _is_given(line: RowState, s: float) -> bool:
    s = s % line.path.length if line.path.closed else s
    return any(
        a < s < b or (line.path.closed and a < s + line.path.length < b) for a, b in line.given
    )


def _slide(
    line: RowState,
    k: int,
    room: float,
    lines: list[RowState],
    obstacles: FrameObstacles,
    pitches: Points,
) -> float:
    """Return how far stone k can move along its row, at most ``room``, and stay clear."""
    pitch = float(pitches.max())
    reach = np.sign(room) * min(abs(room), pitch)
    if line.pinned[k] or room * reach <= 0:
        return 0.0
    start = float(line.at[k])
    steps = np.linspace(0.0, reach, _SLIDES)
    spots = line.path.at(start + steps)
    near = (TOUCH_MM, 3 * pitch)
    clear = _clear_about(line, int(line.size[k]), spots[0], near, lines, obstacles, pitches)
    free = clear(spots[1:])
    if free.all():
        return float(reach)
    last = int(np.argmin(free))
    low, high = steps[[last, last + 1]].tolist()
    return narrowed(lambda step: bool(clear(line.path.at([start + step]))[0]), low, high, 40)[0]


def _clear_about(
    line: RowState,
    size: int,
    spot: Points,
    near: tuple[float, float],
    lines: list[RowState],
    obstacles: FrameObstacles,
    pitches: Points,
) -> Callable[[Points], npt.NDArray[np.bool_]]:
    """Return a test of points (n, 2) near a spot: which have room for a stone of a size.

    Stones count that are further from the spot than the first of ``near``, in mm, and nearer than
    the second.
    """
    around = [other for other in lines if len(other.at) and other.reaches(spot, near[1])]
    others = np.concatenate([np.empty((0, 2)), *(other.centres for other in around)])
    least = np.concatenate([np.empty(0), *(pitches[other.size] for other in around)])
    away = np.hypot(*(others - spot).T)
    count = (away > near[0]) & (away < near[1])
    others, least = others[count], (least[count] + pitches[size]) / 2

    def clear(points: Points) -> npt.NDArray[np.bool_]:
        apart = np.hypot(*(points[:, None, :] - others[None, :, :]).transpose(2, 0, 1))
        sizes = np.full(len(points), size, dtype=np.intp)
        return np.asarray((apart >= least).all(axis=1)) & obstacles.clear(line.ask, points, sizes)

    return clear


def fill_gaps(
    line: RowState, lines: list[RowState], obstacles: FrameObstacles, pitches: Points
) -> None:
    """Put stones into gaps of a row that have room for them after all, as evenly as they may."""
    count, length = len(line.at), line.path.length
    if not line.lost or (not count and len(pitches) > 1):
        return
    at = line.at.tolist()
    ends: list[tuple[float, float, int | None, int | None]] = []
    for k in range(count if line.path.closed else count - 1):
        start, stop = at[k], at[(k + 1) % count]
        ends.append((start, stop if stop > start else stop + length, k, (k + 1) % count))
    if not count:
        ends.append((0.0, length, None, None))
    elif not line.path.closed:
        ends += [(0.0, at[0], None, 0), (at[-1], length, count - 1, None)]
    sizes = line.size.tolist()
    for start, stop, one, two in ends:
        kept = [sizes[k] for k in (one, two) if k is not None] or [0]
        pitch = float(pitches[kept[0]])
        least = pitch * ((one is not None) + (two is not None))
        if kept[0] != kept[-1] or stop - start < least or _is_given(line, (start + stop) / 2):
            continue
        middle = line.path.at([(start + stop) / 2])[0]
        near = (-1.0, stop - start + 2 * float(pitches.max()))
        clear = _clear_about(line, kept[0], middle, near, lines, obstacles, pitches)
        gap = Gap(line.path, pitch, clear)
        _insert(line, gap.places(start, stop, one is not None, two is not None), kept[0])


def _insert(line: RowState, at: list[float], size: int) -> None:
    """Put stones of a size at arc lengths."""
    fresh = np.array(at) % line.path.length if line.path.closed else np.array(at)
    order = np.argsort(np.append(line.at, fresh), kind="stable")
    line.at = np.append(line.at, fresh)[order]
    line.pinned = np.append(line.pinned, np.zeros(len(fresh), dtype=np.bool_))[order]
    line.size = np.append(line.size, np.full(len(fresh), size, dtype=np.intp))[order]
    line.refilled += len(fresh)


@dataclass(frozen=True, eq=False)
class Gap:
    """A gap of a row: ``clear`` tells which points keep their distance from all that stands."""

    path: Polyline
    pitch: float
    clear: Callable[[Points], npt.NDArray[np.bool_]]

    def places(self, start: float, stop: float, first: bool, last: bool) -> list[float]:
        """Return arc lengths where more stones have room: evenly spaced, or one by one.

        ``first`` and ``last`` tell whether there are stones at the gap's ends; to a bare end of
        the row the next one stands as near as it may. Where the row turns back beside itself, the
        later ones give way.
        """
        found: list[float] = []
        for s in self._between(start, stop, first, last):
            apart = np.hypot(*(self.path.at([*found, s])[:-1] - self.path.at([s])).T)
            if (apart >= self.pitch).all():
                found.append(s)
        return found

    def _between(self, start: float, stop: float, first: bool, last: bool) -> list[float]:
        ends = self.path.at([s for s, kept in ((start, first), (stop, last)) if kept])
        if first and last:
            aim = (start + stop) / 2
            for many in range(int((stop - start) / self.pitch) - 1, 0, -1):
                even = np.linspace(start, stop, many + 2)[1:-1]
                between = np.hypot(*np.diff(self.path.at(even), axis=0).T)
                if self._free(even, ends).all() and (between >= self.pitch).all():
                    return [float(s) for s in even]
        else:
            aim = stop if first else start
        steps = np.linspace(start, stop, 2 * _SLIDES + 1)
        steps = steps[self._free(steps, ends)]
        if not len(steps):
            return []
        one = float(steps[int(np.round(np.abs(steps - aim), 6).argmin())])
        before = self._between(start, one, True, True) if first else []
        behind = self._between(one, stop, True, last) if last or not first else []
        return [*before, one, *behind]

    def _free(self, at: Points, ends: Points) -> npt.NDArray[np.bool_]:
        points = self.path.at(at)
        apart = np.hypot(*(points[:, None, :] - ends).transpose(2, 0, 1))
        return np.asarray(self.clear(points) & (apart >= self.pitch).all(axis=1))


def _even_out(
    line: RowState, at: Points, anchored: npt.NDArray[np.bool_], gaps: set[int], pitches: Points
) -> None:
    """Space the stones between anchored ones anew, as many as fit; gaps stay open."""
    count = len(at)
    anchors = np.flatnonzero(anchored)
    if not len(anchors):
        return
    rounds = zip(anchors, np.append(anchors[1:], anchors[0] + count), strict=True)
    places: list[Points] = []
    owners: list[int] = []
    for first, last in rounds:
        owners.append(int(line.size[first]))
        if not line.path.closed and last >= count:
            places.append(at[first : first + 1])
            continue
        inner = at[np.arange(first, last) % count]
        start = float(at[first])
        stop = float(at[last % count])
        if stop <= start:
            stop += line.path.length
        if first in gaps and last - first == 1:
            places.append(inner[:1])
            continue
        if line.size[first] != line.size[last % count]:
            places.append(inner)
            continue
        found, _ = most_equal(line.path.between(start, stop), float(pitches[line.size[first]]))
        places.append(start + found[:-1] if len(found) > last - first else inner)
    fresh = np.concatenate(places)
    pinned = np.concatenate([np.arange(len(part)) == 0 for part in places])
    kept_pins = line.path.at(line.at[line.pinned])
    fresh = np.where(
        line.path.closed & (fresh >= line.path.length), fresh - line.path.length, fresh
    )
    size = np.repeat(np.array(owners, dtype=np.intp), [len(part) for part in places])
    order = np.argsort(fresh, kind="stable")
    line.at, pinned, line.size = fresh[order], pinned[order], size[order]
    spots = line.centres
    if len(kept_pins):
        near = np.hypot(*(spots[:, None, :] - kept_pins[None, :, :]).transpose(2, 0, 1))
        line.pinned = pinned & (near.min(axis=1) < TOUCH_MM)
    else:
        line.pinned = np.zeros(len(spots), dtype=np.bool_)
