"""Where rows meet: one stone at a crossing, a shared edge laid once, the fewest stones removed."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from stonelayout.findings import Finding
from stonelayout.neighbours import ROUNDING, crossing_pairs, pairs_nearer
from stonelayout.polylines import Corners, Path, Points

from .base import Ask, Laid
from .chords import most_equal
from .contacts import SNAP_MM, TOUCH_MM, find_contacts
from .curves import ask_inward, drawn_paths, frame_of_paths, own_start
from .gauge import Sizes, Track
from .mostkept import most_kept
from .parts import Frame
from .rows import lay_row, row_corners
from .sharedsizes import agreed_sizes, stub_gauge

#: Rounds of removing and spacing anew; what is then still too near is only removed.
_ROUNDS = 3
#: A stone on a corner or an end is worth this many stones; one at a crossing counts for each row.
_PIN_WORTH = 1.9
#: Of equal choices the stones of the first rows stay: worth this much more, over all of them.
_FIRST_WORTH = 1e-3
_SLIDES = 50

TracksOf = Callable[[Ask], tuple[list[Track], list[Finding]]]


@dataclass
class _Line:
    """A row at work: its path and stones; ``lost`` are the arc lengths of stones removed, and
    ``given`` the stretches that another row lays.
    """

    ask: int
    path: Path
    at: Points
    pinned: npt.NDArray[np.bool_]
    size: Sizes
    given: list[tuple[float, float]] = field(default_factory=list)
    lost: list[float] = field(default_factory=list)
    ragged: bool = False

    @property
    def centres(self) -> Points:
        return self.path.at(self.at)

    @functools.cached_property
    def box(self) -> tuple[float, float, float, float]:
        (left, top), (right, bottom) = self.path.points.min(axis=0), self.path.points.max(axis=0)
        return float(left), float(top), float(right), float(bottom)

    def reaches(self, spot: Points, distance: float) -> bool:
        """Tell whether the row may come nearer to a spot than this, by its bounding box."""
        left, top, right, bottom = self.box
        x, y = float(spot[0]), float(spot[1])
        return left - distance < x < right + distance and top - distance < y < bottom + distance


def lay_rows_together(asks: Sequence[Ask], tracks_of: TracksOf) -> list[Laid]:
    """Lay the rows of several shapes together, and settle where they meet.

    ``tracks_of`` gives the curves of one ask (``edge_tracks``, ``spine_tracks``), which it gets
    in a frame of their own, so that artwork moved, turned or mirrored gets the same rows; all
    asks share their sizes. Returns one answer for each ask: where rows
    cross they share one stone (it belongs to the first), a shared edge is laid once, of stones
    too near to each other or to obstacles the fewest are removed, and the rows are spaced anew
    on both sides of a gap. Findings say how many stones went, and where.
    """
    drawn = [path for ask in asks for path in drawn_paths(ask)]
    if not drawn:
        return [Laid.of(np.empty((0, 2))) for _ in asks]
    frame = frame_of_paths(drawn)
    pitches = np.array([size.pitch for size in asks[0].sizes])
    made = [tracks_of(ask_inward(ask, frame)) for ask in asks]
    tracks = [
        track if track.gauge else Track(own_start(track.path))
        for found, _ in made
        for track in found
    ]
    owners = [k for k, (found, _) in enumerate(made) for _ in found]
    free = [asks[k].options.get("corners", "pinned") == "free" for k in owners]
    lines = _first_rows(tracks, owners, free, float(pitches[0]))
    stands = _Stands.of(asks, frame)
    for turn in range(_ROUNDS):
        removed = _remove(lines, stands, pitches)
        if not removed or turn == _ROUNDS - 1:
            break
        for line in lines:
            _space_anew(line, lines, stands, pitches)
    return _answers(asks, made, lines, frame)


def _first_rows(
    tracks: list[Track], owners: list[int], free: list[bool], pitch: float
) -> list[_Line]:
    paths = [track.path for track in tracks]
    none = Corners(np.empty(0), np.empty(0))
    bends = [
        none if loose else row_corners(path, pitch) for path, loose in zip(paths, free, strict=True)
    ]
    if not paths:
        return []
    contacts = find_contacts(paths, pitch, [bend.at for bend in bends])
    agreed = agreed_sizes(tracks, contacts)
    lines = []
    for k, path in enumerate(paths):
        row = lay_row(
            path,
            pitch,
            bends=bends[k],
            shared=contacts.places[k],
            gauge=stub_gauge(tracks[k].gauge, agreed[k]),
            shared_sizes=agreed[k],
        )
        keep = np.ones(len(row.at), dtype=np.bool_)
        for start, stop in contacts.given[k]:
            keep &= ~_within(row.at, start, stop, path)
        given = contacts.given[k]
        lines.append(_Line(owners[k], path, row.at[keep], row.pinned[keep], row.size[keep], given))
    return lines


def _within(at: Points, start: float, stop: float, path: Path) -> npt.NDArray[np.bool_]:
    """Tell which places lie in a given stretch, its ends left out unless it is the whole path."""
    if stop - start >= path.length * (1 - 1e-9):
        return np.ones(len(at), dtype=np.bool_)
    slack = SNAP_MM * 1.01
    inside = (at > start + slack) & (at < stop - slack)
    if path.closed:
        inside |= (at + path.length > start + slack) & (at + path.length < stop - slack)
    return np.asarray(inside)


@dataclass(frozen=True, eq=False)
class _Stands:
    """Obstacles of each ask in the frame: centres and least distances."""

    centres: list[Points]
    distance: list[Points]

    @classmethod
    def of(cls, asks: Sequence[Ask], frame: Frame) -> _Stands:
        centres, distance = [], []
        for ask in asks:
            known = ask.obstacles
            if known is None or not len(known.centres):
                centres.append(np.empty((0, 2)))
                distance.append(np.empty((0, len(ask.sizes))))
            else:
                centres.append(frame.inward(known.centres))
                distance.append(known.distance)
        return cls(centres, distance)

    def clear(self, ask: int, points: Points, size: Sizes) -> npt.NDArray[np.bool_]:
        """Tell which stones at points (n, 2) keep their distance from obstacles of an ask."""
        keep = np.ones(len(points), dtype=np.bool_)
        centres, distance = self.centres[ask], self.distance[ask]
        if len(centres) and len(points):
            pairs, lengths = crossing_pairs(points, centres, float(distance.max()) * (1 + 1e-6))
            short = lengths < distance[pairs[:, 1], size[pairs[:, 0]]] * (1 - ROUNDING)
            keep[pairs[short, 0]] = False
        return keep


def _remove(lines: list[_Line], stands: _Stands, pitches: Points) -> int:
    """Remove the fewest stones that are too near to each other or to obstacles; return how many.

    Stones of several rows on one place count as one stone, which each of them keeps or loses.
    """
    removed = 0
    for line in lines:
        removed += _drop(line, ~stands.clear(line.ask, line.centres, line.size))
    centres, owner, node = _nodes(lines)
    if not len(centres):
        return removed
    pinned = np.concatenate([line.pinned for line in lines])
    worth = np.where(pinned, _PIN_WORTH, 1.0) + _FIRST_WORTH * (1 - owner / len(lines))
    weight = np.zeros(len(centres))
    np.add.at(weight, node, worth)
    heads = np.unique(node)
    own = pitches[np.concatenate([line.size for line in lines])]
    pairs, length = pairs_nearer(centres[heads], float(pitches.max()))
    pairs = heads[pairs]
    near = pairs[length < own[pairs].mean(axis=1) * (1 - ROUNDING)]
    kept, _ = most_kept(weight, near)
    for line, mine in zip(lines, _of_each(lines, node), strict=True):
        removed += _drop(line, ~kept[mine])
    return removed


def _drop(line: _Line, gone: npt.NDArray[np.bool_]) -> int:
    line.lost.extend(line.at[gone].tolist())
    line.ragged |= bool(gone.any())
    line.at, line.pinned, line.size = line.at[~gone], line.pinned[~gone], line.size[~gone]
    return int(gone.sum())


def _nodes(
    lines: Sequence[_Line],
) -> tuple[Points, npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return all stones' centres (n, 2), their row, and the first stone on the same place."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    centres = np.concatenate([np.empty((0, 2)), *(line.centres for line in lines)])
    owner = np.repeat(np.arange(len(lines)), [len(line.at) for line in lines])
    pairs, _ = pairs_nearer(centres, 2 * TOUCH_MM)
    if not len(pairs):
        return centres, owner, np.arange(len(centres))
    graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(centres), len(centres)))
    _, label = connected_components(graph, directed=False)
    _, first = np.unique(label, return_index=True)
    return centres, owner, first[label]


def _of_each(lines: Sequence[_Line], values: npt.NDArray[Any]) -> list[npt.NDArray[Any]]:
    """Cut values of all stones (n,) into those of each row."""
    ends = np.cumsum([0, *(len(line.at) for line in lines)]).tolist()
    return [values[a:b] for a, b in itertools.pairwise(ends)]


def _space_anew(line: _Line, lines: list[_Line], stands: _Stands, pitches: Points) -> None:
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
    at = line.at.copy()
    for k in sorted(gaps - holes):
        here, there = k, (k + 1) % count
        pitch = float(pitches[line.size[[here, there]]].mean())
        room = float(after[k] - line.at[k]) - pitch
        if not (line.pinned[here] or line.pinned[there]):
            room /= 2
        moves = [
            _slide(line, here, room, lines, stands, pitches),
            _slide(line, there, -room, lines, stands, pitches),
        ]
        ends = line.path.at([line.at[here] + moves[0], line.at[there] + moves[1]])
        if np.hypot(*(ends[1] - ends[0])) >= pitch:
            at[here] += moves[0]
            at[there] += moves[1]
    anchored = line.pinned.copy()
    if not line.path.closed:
        anchored[[0, -1]] = True
    for k in gaps | holes | set(np.flatnonzero(line.size != np.roll(line.size, -1)).tolist()):
        anchored[[k, (k + 1) % count]] = True
    _even_out(line, at, anchored, gaps | holes, pitches)


def _is_given(line: _Line, s: float) -> bool:
    s = s % line.path.length if line.path.closed else s
    return any(
        a < s < b or (line.path.closed and a < s + line.path.length < b) for a, b in line.given
    )


def _slide(
    line: _Line, k: int, room: float, lines: list[_Line], stands: _Stands, pitches: Points
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
    line: _Line, at: Points, anchored: npt.NDArray[np.bool_], gaps: set[int], pitches: Points
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


def _answers(
    asks: Sequence[Ask],
    made: Sequence[tuple[list[Track], list[Finding]]],
    lines: Sequence[_Line],
    frame: Frame,
) -> list[Laid]:
    _, _, node = _nodes(lines)
    stones = _of_each(lines, node == np.arange(len(node)))
    answers = []
    for k, (ask, (_, found)) in enumerate(zip(asks, made, strict=True)):
        mine = [line for line in lines if line.ask == k]
        centres = [
            frame.outward(line.centres[show])
            for line, show in zip(lines, stones, strict=True)
            if line.ask == k
        ]
        lost = [frame.outward(line.path.at(line.lost)) for line in mine if line.lost]
        findings = [_outward(finding, frame) for finding in found]
        if lost:
            x, y = lost[0][0]
            count = sum(len(places) for places in lost)
            findings.append(
                Finding(
                    "row-stones-removed",
                    "note",
                    f"{count} of the row's stones left out, where rows come nearer than a pitch "
                    "to each other or to earlier stones; those beside were spaced anew",
                    (float(x), float(y)),
                    ask.name,
                    count,
                )
            )
        table = np.concatenate([np.empty((0, 2)), *centres])
        size = [line.size[show] for line, show in zip(lines, stones, strict=True) if line.ask == k]
        sizes = np.concatenate([np.empty(0, dtype=np.intp), *size])
        answers.append(Laid(table, sizes, tuple(findings)))
    return answers


def _outward(finding: Finding, frame: Frame) -> Finding:
    if finding.at is None:
        return finding
    x, y = frame.outward(np.array([finding.at]))[0]
    return replace(finding, at=(float(x), float(y)))
