"""Spacing rows anew beside gaps: stones slide towards the gap, the stretches beside are evened."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stonelayout.polylines import Points

from .chords import most_equal
from .contacts import TOUCH_MM
from .rowatwork import RowAtWork, Stands

#: Places at which a stone that slides is looked at before the last one free is refined.
_SLIDES = 50


def space_anew(line: RowAtWork, lines: list[RowAtWork], stands: Stands, pitches: Points) -> None:
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
            _slide(line, here, room / 2, lines, stands, pitches),
            _slide(line, there, -room / 2, lines, stands, pitches),
        ]
        moves = half
        if line.pinned[here] or line.pinned[there]:
            full = [
                _slide(line, here, room, lines, stands, pitches),
                _slide(line, there, -room, lines, stands, pitches),
            ]
            if _makes_room(line, here, there, full, anchored, pitches):
                moves = full
        ends = line.path.at([line.at[here] + moves[0], line.at[there] + moves[1]])
        if np.hypot(*(ends[1] - ends[0])) >= pitch:
            at[here] += moves[0]
            at[there] += moves[1]
    _even_out(line, at, anchored, gaps | holes, pitches)


def _makes_room(
    line: RowAtWork,
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


def _is_given(line: RowAtWork, s: float) -> bool:
    s = s % line.path.length if line.path.closed else s
    return any(
        a < s < b or (line.path.closed and a < s + line.path.length < b) for a, b in line.given
    )


def _slide(
    line: RowAtWork, k: int, room: float, lines: list[RowAtWork], stands: Stands, pitches: Points
) -> float:
    """Return how far stone k can move along its row, at most ``room``, and stay clear."""
    pitch = float(pitches.max())
    reach = np.sign(room) * min(abs(room), pitch)
    if line.pinned[k] or room * reach <= 0:
        return 0.0
    start = float(line.at[k])
    steps = np.linspace(0.0, reach, _SLIDES)
    spots = line.path.at(start + steps)
    around = [other for other in lines if len(other.at) and other.reaches(spots[0], 3 * pitch)]
    others = np.concatenate([other.centres for other in around])
    least = np.concatenate([pitches[other.size] for other in around])
    least = (least + pitches[line.size[k]]) / 2
    away = np.hypot(*(others - spots[0]).T)
    near = (away > TOUCH_MM) & (away < 3 * pitch)
    others, least = others[near], least[near]

    def clear(points: Points) -> npt.NDArray[np.bool_]:
        apart = np.hypot(*(points[:, None, :] - others[None, :, :]).transpose(2, 0, 1))
        size = np.full(len(points), line.size[k])
        return np.asarray((apart >= least).all(axis=1)) & stands.clear(line.ask, points, size)

    free = clear(spots[1:])
    if free.all():
        return float(reach)
    last = int(np.argmin(free))
    low, high = steps[last], steps[last + 1]
    for _ in range(40):
        middle = (low + high) / 2
        if clear(line.path.at([start + middle]))[0]:
            low = middle
        else:
            high = middle
    return float(low)


def _even_out(
    line: RowAtWork, at: Points, anchored: npt.NDArray[np.bool_], gaps: set[int], pitches: Points
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
