"""Where rows meet: one stone at a crossing, a shared edge laid once, the fewest stones removed."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from stonelayout.findings import Finding
from stonelayout.geometry.frames import Frame, frame_of_paths
from stonelayout.geometry.independent_set import most_kept
from stonelayout.geometry.intersections import SNAP_MM, TOUCH_MM, Contacts, find_contacts
from stonelayout.geometry.neighbours import ROUNDING, pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Corners, Polyline
from stonelayout.laying.common.ask import Ask, Laid
from stonelayout.laying.rows.narrow.narrow_tips import in_single_file
from stonelayout.laying.rows.sizes.junction_sizes import (
    agreed_sizes,
    stub_size_runs,
    without_lone_sizes,
)
from stonelayout.laying.rows.sizes.stroke_widths import lines_beside, without_guides
from stonelayout.laying.rows.tracks.row import lay_row, row_corners, row_spans
from stonelayout.laying.rows.tracks.row_curves import (
    ask_inward,
    drawn_paths,
    own_start,
)
from stonelayout.laying.rows.tracks.row_span import RowSpan
from stonelayout.laying.rows.tracks.size_runs import Track
from stonelayout.model.artwork import Line

from .gap_closing import fill_gaps, respace
from .row_state import FrameObstacles, RowState
from .row_symmetry import RowStones, mirrored_stones

#: Rows of a shape with more spans than this are spaced each by itself.
_MOST_SPANS = 60
#: Rounds of removing and spacing anew; what is then still too near is only removed.
_ROUNDS = 3
#: A stone on a corner or an end is worth this many stones; one at a crossing counts for each row.
_PIN_WORTH = 1.9
#: Of equal choices the stones of the first rows stay: worth this much more, over all of them.
_FIRST_WORTH = 1e-3
#: A stone of an inner row is worth this part of one in the row around it: outlines stay whole.
_INNER_WORTH = 0.3

TracksOf = Callable[[Ask, Sequence[Line]], tuple[list[Track], list[Finding]]]


def lay_rows_together(asks: Sequence[Ask], tracks_of: TracksOf) -> list[Laid]:
    """Lay the rows of several shapes together, and settle where they meet.

    ``tracks_of`` gives the curves of one ask (``edge_tracks``, ``spine_tracks``), which it gets
    in a frame of their own, so that artwork moved, turned or mirrored gets the same rows, with
    the drawn lines near it; all asks share their sizes. Returns one answer for each ask: where rows
    cross they share one stone (it belongs to the first), a shared edge is laid once, of stones
    too near to each other or to obstacles the fewest are removed, the rows are spaced anew on both
    sides of a gap, and stones that have room in it after all stand there. Findings say how many
    stones went, and where.
    """
    drawn = [path for ask in asks for path in drawn_paths(ask)]
    if not drawn:
        return [Laid.of(np.empty((0, 2))) for _ in asks]
    frame = frame_of_paths(drawn)
    pitches = np.array([size.pitch for size in asks[0].sizes])
    inward, notes = without_guides([ask_inward(ask, frame) for ask in asks])
    made = [tracks_of(ask, near) for ask, near in zip(inward, lines_beside(inward), strict=True)]
    tracks = [
        track if track.size_runs else Track(own_start(track.path), depth=track.depth)
        for found, _ in made
        for track in found
    ]
    owners = [k for k, (found, _) in enumerate(made) for _ in found]
    lines = _first_rows(tracks, owners, inward, pitches)
    obstacles = FrameObstacles.of(asks, frame)
    for turn in range(_ROUNDS):
        removed = _remove(lines, obstacles, pitches)
        if not removed or turn == _ROUNDS - 1:
            break
        for line in lines:
            respace(line, lines, obstacles, pitches)
    for line in lines:
        line.size = without_lone_sizes(line.size, line.path.closed)
    for line in lines:
        fill_gaps(line, lines, obstacles, pitches)
    answers = _answers(inward, made, lines, obstacles, frame, pitches)
    answers[0] = replace(answers[0], findings=(*answers[0].findings, *notes))
    return answers


def _first_rows(
    tracks: list[Track], owners: list[int], asks: Sequence[Ask], pitches: Points
) -> list[RowState]:
    pitch = float(pitches[0])
    paths = [track.path for track in tracks]
    none = Corners(np.empty(0), np.empty(0))
    free = [asks[k].options.get("corners", "pinned") == "free" for k in owners]
    bends = [
        none if loose else row_corners(path, pitch) for path, loose in zip(paths, free, strict=True)
    ]
    if not paths:
        return []
    contacts = find_contacts(paths, pitch, [bend.at for bend in bends])
    agreed = agreed_sizes(tracks, contacts)
    lines = []
    beside = _spans_beside(tracks, owners, asks, bends, contacts, pitch)
    for k, path in enumerate(paths):
        row = lay_row(
            path,
            pitch,
            bends=bends[k],
            shared=contacts.places[k],
            size_runs=stub_size_runs(tracks[k].size_runs, agreed[k]),
            shared_sizes=agreed[k],
            beside=beside[k],
        )
        keep = np.ones(len(row.at), dtype=np.bool_)
        for start, stop in contacts.given[k]:
            keep &= ~_within(row.at, start, stop, path)
        given, lost = contacts.given[k], list[float]()
        region = asks[owners[k]].region
        if path.closed and region is not None and not given:
            row, given, lost = in_single_file(row, pitches, region)
            keep = np.ones(len(row.at), dtype=np.bool_)
        at, pinned, size = row.at[keep], row.pinned[keep], row.size[keep]
        line = RowState(owners[k], row.path, at, pinned, size, given, lost, depth=tracks[k].depth)
        lines.append(line)
    return lines


def _spans_beside(
    tracks: list[Track],
    owners: list[int],
    asks: Sequence[Ask],
    bends: list[Corners],
    contacts: Contacts,
    pitch: float,
) -> list[list[RowSpan]]:
    """Return for each ring the spans of the other rings of the same row of a filled shape.

    None where a shape's rows have too many spans in all, or sizes of their own; none for arms and
    what they leave of rings, which are spaced to meet where they fork.
    """
    groups: dict[tuple[int, int], list[int]] = {}
    for k, track in enumerate(tracks):
        filled = asks[owners[k]].region is not None
        if filled and track.path.closed and track.size_runs is None:
            groups.setdefault((owners[k], track.depth // 2), []).append(k)
    found: list[list[RowSpan]] = [[] for _ in tracks]
    for group in groups.values():
        if len(group) < 2 or sum(len(bends[k].at) + 1 for k in group) > _MOST_SPANS:
            continue
        spans = {k: row_spans(tracks[k].path, pitch, bends[k], contacts.places[k]) for k in group}
        for k in group:
            found[k] = [span for j in group if j != k for span in spans[j]]
    return found


def _within(at: Points, start: float, stop: float, path: Polyline) -> npt.NDArray[np.bool_]:
    """Tell which places lie in a given stretch, its ends left out unless it is the whole path."""
    if stop - start >= path.length * (1 - 1e-9):
        return np.ones(len(at), dtype=np.bool_)
    slack = SNAP_MM * 1.01
    inside = (at > start + slack) & (at < stop - slack)
    if path.closed:
        inside |= (at + path.length > start + slack) & (at + path.length < stop - slack)
    return np.asarray(inside)


def _remove(lines: list[RowState], obstacles: FrameObstacles, pitches: Points) -> int:
    """Remove the fewest stones that are too near to each other or to obstacles; return how many.

    Stones of several rows on one place count as one stone, which each of them keeps or loses.
    """
    removed = 0
    for line in lines:
        removed += _drop(line, ~obstacles.clear(line.ask, line.centres, line.size))
    centres, owner, node = _nodes(lines)
    if not len(centres):
        return removed
    pinned = np.concatenate([line.pinned for line in lines])
    worth = np.where(pinned, _PIN_WORTH, 1.0) + _FIRST_WORTH * (1 - owner / len(lines))
    worth *= _INNER_WORTH ** np.array([line.depth for line in lines])[owner]
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


def _drop(line: RowState, gone: npt.NDArray[np.bool_]) -> int:
    line.lost.extend(line.at[gone].tolist())
    line.ragged |= bool(gone.any())
    line.at, line.pinned, line.size = line.at[~gone], line.pinned[~gone], line.size[~gone]
    return int(gone.sum())


def _nodes(
    lines: Sequence[RowState],
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


def _of_each(lines: Sequence[RowState], values: npt.NDArray[Any]) -> list[npt.NDArray[Any]]:
    """Cut values of all stones (n,) into those of each row."""
    ends = np.cumsum([0, *(len(line.at) for line in lines)]).tolist()
    return [values[a:b] for a, b in itertools.pairwise(ends)]


def _answers(
    asks: Sequence[Ask],
    made: Sequence[tuple[list[Track], list[Finding]]],
    lines: Sequence[RowState],
    obstacles: FrameObstacles,
    frame: Frame,
    pitches: Points,
) -> list[Laid]:
    centres, row, node = _nodes(lines)
    show = node == np.arange(len(node))
    of_row = np.array([line.ask for line in lines], dtype=np.intp)
    size = np.concatenate([np.empty(0, dtype=np.intp), *(line.size for line in lines)])
    stones = RowStones(centres, size, of_row[row], row).only(show)

    def clear(found: RowStones) -> bool:
        return all(
            obstacles.clear(k, found.centres[found.ask == k], found.size[found.ask == k]).all()
            for k in range(len(asks))
        )

    if _one_pen(asks):
        drawn = [drawn_paths(ask) for ask in asks]
        stones = mirrored_stones(stones, drawn, lines, pitches, clear)
    answers = []
    for k, (ask, (_, found)) in enumerate(zip(asks, made, strict=True)):
        mine = [line for line in lines if line.ask == k]
        lost = [frame.outward(line.path.at(line.lost)) for line in mine if line.lost]
        findings = [_outward(finding, frame) for finding in found]
        count = sum(len(line.lost) - line.refilled for line in mine)
        if count > 0:
            x, y = lost[0][0]
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
        own = stones.only(stones.ask == k)
        answers.append(Laid(frame.outward(own.centres), own.size, tuple(findings)))
    return answers


def _one_pen(asks: Sequence[Ask]) -> bool:
    """Tell whether no sizes are chosen by widths of strokes that may differ."""
    if len(asks[0].sizes) == 1:
        return True
    lines = [line for ask in asks if ask.region is None for line in ask.lines]
    pens = {
        None if line.pen is None else tuple(np.round(line.pen, 6).ravel().tolist())
        for line in lines
    }
    return len(pens) < 2 and all(pen is None or pen == (pen[0], 0.0, 0.0, pen[0]) for pen in pens)


def _outward(finding: Finding, frame: Frame) -> Finding:
    if finding.at is None:
        return finding
    x, y = frame.outward(np.array([finding.at]))[0]
    return replace(finding, at=(float(x), float(y)))
