"""Rows: stones at equal straight-line distances along a curve, with a stone on each corner."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.equal_chords import SAME, SHORT, divide
from stonelayout.geometry.intersections import SNAP_MM
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import ALIKE_DEGREES, Corners, Polyline, corners
from stonelayout.laying.rows.tracks.row_span import RowSpan
from stonelayout.laying.rows.tracks.size_runs import SizeRuns, Sizes

#: Window of corners on each side, in pitches, and no less than this, in mm, so that a corner
#: rounded with 2 mm is one for small stones too.
CORNER_WINDOW, LEAST_WINDOW_MM = 0.6, 1.3
#: A span whose gaps are wider than this, in pitches, asks the blunter of its corners to give way.
WIDE = 1.2
#: Two corners that turn alike, the ends of one edge, both hold up to so many pitches: without one
#: of them the edge would have a stone at one end only.
WIDER = 1.5
#: Corners that turn by more than this, in degrees, do not give way to a wide gap.
FIRM_DEGREES = 70.0
#: How firm a place is that two rows share: more than any corner, whose turn is at most pi.
FIRMEST = 10.0
#: Tips sharper than this, in degrees, keep the stones beside the tip apart by longer first chords.
SHARP_DEGREES = 60.0
#: A spread (coefficient of variation of the chords) that cannot be seen: less is no better when a
#: common pitch is chosen.
_UNSEEN = 0.008
#: What a mean stretch of 1 costs against a spread of 1: little, as the least spread is asked for.
_STRETCH_COST = 0.02
#: A common pitch is looked for up to this many pitches.
_MOST_STRETCH = 1.12


@dataclass(frozen=True, eq=False)
class Row:
    """Stones along a path: arc lengths ``at`` (n,) in mm, rising; ``pinned`` (n,) tells which
    stand on a corner or an end, ``size`` (n,) indexes the sizes of the rule (0 with one size).
    On a closed path the last is followed by the first.
    """

    path: Polyline
    at: Points
    pinned: npt.NDArray[np.bool_]
    size: Sizes

    @property
    def centres(self) -> Points:
        """Centres (n, 2) in mm."""
        return self.path.at(self.at)

    @property
    def chords(self) -> Points:
        """Distances in mm between neighbours: n - 1 of them, n on a closed path (n >= 3)."""
        centres = self.centres
        if self.path.closed and len(centres) > 2:
            centres = np.concatenate((centres, centres[:1]))
        return np.asarray(np.hypot(*np.diff(centres, axis=0).T), dtype=np.float64)


def lay_row(
    path: Polyline,
    pitch: float,
    *,
    bends: Corners | None = None,
    shared: Sequence[float] = (),
    size_runs: SizeRuns | None = None,
    shared_sizes: Sequence[int] = (),
    beside: Sequence[RowSpan] = (),
) -> Row:
    """Lay a row of stones along a path, neighbours at least ``pitch`` mm apart.

    Between pinned places all chords are equal; the counts are chosen together, so that the
    chords of the whole path differ as little as they can. Pinned are the ends of an open path,
    the corners (``bends``; found when None), and the arc lengths ``shared``, which are places
    where another row has a stone. Where two pinned places are nearer than a pitch the blunter
    corner gives way.
    A path too short for two stones gets one, in its middle.
    ``beside`` are spans of other rows of the same outline: their chords and this row's are to
    differ least. ``size_runs`` are the sizes along the path (``pitch`` is that of the first), and
    ``shared_sizes`` those at the shared places; chords between unlike stones are then in
    proportion to half the sum of their pitches.
    """
    if path.length <= SAME or len(path.points) < 2:
        size = np.zeros(1, dtype=np.intp) if size_runs is None else size_runs.size[:1]
        return Row(path, np.zeros(1), np.ones(1, dtype=np.bool_), size)
    bends = row_corners(path, pitch) if bends is None else bends
    at, turn = _pinned_places(path, pitch, bends, shared)
    spans = _spans(path, at, turn, pitch, size_runs, dict(zip(shared, shared_sizes, strict=False)))
    if not spans:
        return _short_row(path, pitch, size_runs)
    counts = _common_counts([*spans, *beside], pitch)[: len(spans)]
    places: list[Points] = []
    pinned: list[npt.NDArray[np.bool_]] = []
    sizes: list[Sizes] = []
    for span, count in zip(spans, counts, strict=True):
        found, chord = span.split(count, pitch)
        if not len(found) or chord < pitch * (1 - SHORT):
            found, _ = span.split(span.most, pitch)
        sizes.append(span.sizes_of(len(found) - 1)[:-1])
        places.append(span.start + found[:-1])
        pinned.append(np.arange(len(found) - 1) == 0)
    if not path.closed:
        places.append(np.array([spans[-1].stop]))
        pinned.append(np.ones(1, dtype=np.bool_))
        sizes.append(np.array([spans[-1].ends[1]], dtype=np.intp))
    at = np.concatenate(places)
    flags = np.concatenate(pinned)
    size = np.concatenate(sizes)
    if path.closed:
        if len(spans) == 1 and not len(turn):
            flags[:] = False
        at = np.where(at >= path.length, at - path.length, at)
        order = np.argsort(at, kind="stable")
        at, flags, size = at[order], flags[order], size[order]
    return Row(path, at, flags, size)


def row_spans(
    path: Polyline, pitch: float, bends: Corners, shared: Sequence[float]
) -> list[RowSpan]:
    """Return the spans of a row of one size between its pinned places; none where it is short."""
    if path.length <= SAME or len(path.points) < 2:
        return []
    return _spans(path, *_pinned_places(path, pitch, bends, shared), pitch, None, {})


def _pinned_places(
    path: Polyline, pitch: float, bends: Corners, shared: Sequence[float]
) -> tuple[Points, Points]:
    """Return the places to pin, rising, and how firm each is: inf for the ends of an open path,
    FIRMEST for shared places, the turn in radians for corners.
    """
    found = [(float(s), FIRMEST) for s in shared]
    for s, turn in zip(bends.at.tolist(), np.abs(bends.turn).tolist(), strict=True):
        if all(_apart(path, s, float(other)) >= 0.25 * pitch for other in shared):
            found.append((s, turn))
    found.sort()
    table = np.array(found).reshape(-1, 2)
    at, firm = table[:, 0], table[:, 1]
    if not path.closed:
        inside = (at > 1e-3) & (at < path.length - 1e-3)
        at = np.concatenate(([0.0], at[inside], [path.length]))
        firm = np.concatenate(([np.inf], firm[inside], [np.inf]))
    return at, firm


def _apart(path: Polyline, first: float, second: float) -> float:
    step = abs(first - second)
    return min(step, path.length - step) if path.closed else step


def row_corners(path: Polyline, pitch: float) -> Corners:
    """Return the corners of a path as a row of this pitch sees them."""
    return corners(path, max(CORNER_WINDOW * pitch, LEAST_WINDOW_MM))


def _tip(turn: float) -> float:
    """Return how many times the pitch the chords beside a sharp tip must be."""
    if turn > math.pi:
        return 1.0
    angle = math.pi - turn
    if angle >= math.radians(SHARP_DEGREES):
        return 1.0
    return min(1.0 / max(2 * math.sin(angle / 2), 1e-9), 2.0)


def _spans(
    path: Polyline,
    at: Points,
    turn: Points,
    pitch: float,
    size_runs: SizeRuns | None,
    shared: dict[float, int],
) -> list[RowSpan]:
    """Cut a path at its pinned places, the blunter giving way where a span is too short."""
    if not len(at):
        at, turn = np.zeros(1), np.zeros(1)
    known: dict[tuple[float, float], RowSpan] = {}
    for _ in range(len(at) + 1):
        stops = np.concatenate((at[1:], at[:1] + path.length)) if path.closed else at[1:]
        spans = []
        for k, (start, stop) in enumerate(zip(at, stops, strict=False)):
            key = (float(start), float(stop))
            if key not in known:
                tips = (_tip(float(turn[k])), _tip(float(turn[(k + 1) % len(at)])))
                ends = (0, 0) if size_runs is None else _end_sizes(path, key, size_runs, shared)
                known[key] = RowSpan.of(path, *key, tips, pitch, size_runs, ends)
            spans.append(known[key])
        gone = _giving_way(spans, turn, pitch)
        if gone is None:
            return spans
        if gone < 0:
            return []
        twin = _twin(spans, turn, gone)
        if twin is None:
            at, turn = np.delete(at, gone), np.delete(turn, gone)
            continue
        middle = (spans[twin].start + spans[twin].stop) / 2
        at[gone] = middle % path.length if path.closed else middle
        other = twin if gone != twin else (twin + 1) % len(at)
        at, turn = np.delete(at, other), np.delete(turn, other)
        order = np.argsort(at, kind="stable")
        at, turn = at[order], turn[order]
    return []


def _twin(spans: list[RowSpan], turn: Points, gone: int) -> int | None:
    """Return the span too short for two stones between the corner that gives way and its like.

    Such twins (the end of a narrow stroke) share one stone in their middle.
    """
    size = len(turn)
    for k in (gone, (gone - 1) % size):
        if k < len(spans) and not spans[k].most and size > 2:
            one, two = float(turn[k]), float(turn[(k + 1) % size])
            if max(one, two) < math.pi and abs(one - two) < math.radians(ALIKE_DEGREES):
                return k
    return None


def _end_sizes(
    path: Polyline, ends: tuple[float, float], size_runs: SizeRuns, shared: dict[float, int]
) -> tuple[int, int]:
    """Return the sizes of the stones pinned at both ends of a span."""
    found = size_runs.at(ends).tolist()
    for place, size in shared.items():
        for k in (0, 1):
            end = ends[k] - path.length if path.closed and ends[k] > path.length else ends[k]
            if _apart(path, place, end) < SNAP_MM:
                found[k] = size
    return found[0], found[1]


def _giving_way(spans: list[RowSpan], turn: Points, pitch: float) -> int | None:
    """Return the pin that must give way, None when all hold, -1 when there is no row at all."""
    size = len(turn)
    wide = [math.inf if not span.most else span.splits[span.most][1] / pitch for span in spans]
    best: tuple[float, float, int] | None = None
    for k, stretch in enumerate(wide):
        ends = float(turn[k]), float(turn[(k + 1) % size])
        alike = abs(ends[0] - ends[1]) < math.radians(ALIKE_DEGREES)
        if stretch <= (WIDER if alike else WIDE):
            continue
        for pin in (k, (k + 1) % size):
            if not math.isfinite(turn[pin]) or size == 1:
                continue
            if stretch < math.inf and turn[pin] > math.radians(FIRM_DEGREES):
                continue
            key = (0.0 if stretch == math.inf else 1.0, round(float(turn[pin]), 6), pin)
            if best is None or key < best:
                best = key
    if best is not None:
        return best[2]
    return -1 if math.inf in wide else None


def _common_counts(spans: list[RowSpan], pitch: float) -> list[int]:
    """Choose the counts of spans so that their chords differ least, for little stretch."""
    if len(spans) == 1:
        return [spans[0].most]
    tables = []
    for span in spans:
        least = max(int(span.most / _MOST_STRETCH) - 1, 1)
        tables.append([(n, span.chord(n)) for n in range(span.most, least - 1, -1)])
    chords = {round(c, 9) for table in tables for _, c in table}
    targets = sorted({pitch, *(c for c in chords if c <= _MOST_STRETCH * pitch)})
    best: tuple[float, list[int]] | None = None
    for target in targets:
        chosen = [_nearest(table, target) for table in tables]
        count = np.array([n for n, _ in chosen], dtype=np.float64)
        chord = np.array([c for _, c in chosen])
        mean = float((count * chord).sum() / count.sum())
        spread = math.sqrt(float((count * (chord - mean) ** 2).sum() / count.sum())) / mean
        score = round(max(spread, _UNSEEN) + _STRETCH_COST * (mean / pitch - 1), 9)
        if best is None or score < best[0]:
            best = score, [n for n, _ in chosen]
    return best[1] if best else [span.most for span in spans]


def _nearest(table: list[tuple[int, float]], target: float) -> tuple[int, float]:
    return min(table, key=lambda row: (round(abs(row[1] - target), 9), -row[0]))


def _short_row(path: Polyline, pitch: float, size_runs: SizeRuns | None) -> Row:
    """Lay what fits on a path whose pinned ends are too near for equal chords."""
    size = 0 if size_runs is None else int(size_runs.size.max())
    places, _ = divide(path, 0, pitch if size_runs is None else float(size_runs.pitches[size]))
    if len(places) < 2:
        places = np.array([0.0 if path.closed else path.length / 2])
    pinned = (np.arange(len(places)) == 0) & (len(places) > 1) & (not path.closed)
    return Row(path, places, pinned, np.full(len(places), size, dtype=np.intp))
