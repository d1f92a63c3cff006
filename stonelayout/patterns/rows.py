"""Rows: stones at equal straight-line distances along a curve, with a stone on each corner."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.polylines import Corners, Path, Points, corners

from .divider import divide

#: A chord this much under the pitch, relative, counts as the pitch: rounding, and no more.
SHORT = 5e-10
#: Chords of a span are equal within this, relative.
EQUAL = 1e-11
#: Newton steps at most; two to eight do on curves that can be solved so.
_STEPS = 40
#: In so many first steps the direction of the curve is taken over a stretch about each place,
#: half as long each time, so that the wiggles of a traced outline do not mislead.
_SMOOTH_STEPS = 5
#: Counts tried at most for one span, from the largest down.
_COUNTS = 16
#: Window of corners on each side, in pitches, and no less than this, in mm, so that a corner
#: rounded with 2 mm is one for small stones too.
CORNER_WINDOW, LEAST_WINDOW_MM = 0.6, 1.3
#: A span whose gaps are wider than this, in pitches, asks the blunter of its corners to give way.
WIDE = 1.2
#: Corners that turn by more than this, in degrees, do not give way to a wide gap.
FIRM_DEGREES = 70.0
#: How firm a place is that two rows share: more than any corner, whose turn is at most pi.
FIRMEST = 10.0
#: Tips sharper than this, in degrees, keep the stones beside the tip apart by longer first chords.
SHARP_DEGREES = 60.0
#: What a mean stretch of 1 costs against a spread (CV) of 1 when a common pitch is chosen.
_STRETCH_COST = 0.15
#: A common pitch is looked for up to this many pitches.
_MOST_STRETCH = 1.1
#: Counts below the largest that are looked at for each span.
_FEWER = 3


@dataclass(frozen=True, eq=False)
class Row:
    """Stones along a path: arc lengths ``at`` (n,) in mm, rising; ``pinned`` (n,) tells which
    stand on a corner or an end. On a closed path the last is followed by the first.
    """

    path: Path
    at: Points
    pinned: npt.NDArray[np.bool_]

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
            return (places, chord) if bool((np.diff(places) > 0).all()) else _NONE
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
            return _NONE
        change = -moves[-1, 0] / moves[-1, 1]
        move = moves[:, 0] + change * moves[:, 1]
        scale = min(1.0, most / max(float(np.abs(move).max()), 1e-300))
        places[1:-1] += scale * move[:-1]
        chord += scale * change
    return _NONE


_NONE: tuple[Points, float] = (np.empty(0), math.nan)


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
    return _NONE


@dataclass
class _Span:
    """A stretch between pinned places: arc lengths, and for each its best splits by count."""

    start: float
    stop: float
    part: Path
    first: float
    last: float
    splits: dict[int, tuple[Points, float]]
    most: int

    @classmethod
    def of(
        cls, path: Path, start: float, stop: float, ends: tuple[float, float], pitch: float
    ) -> _Span:
        part = path.between(start, stop)
        span = cls(start, stop, part, *ends, {}, 0)
        if max(ends) > 1.0:
            span.most = span._most_with_tips(pitch)
        if not span.most:
            span.first = span.last = 1.0
            places, chord = most_equal(part, pitch)
            span.most = max(len(places) - 1, 0)
            if span.most:
                span.splits[span.most] = places, chord
        return span

    def _ratios(self, count: int) -> Points:
        ratio = np.ones(count)
        ratio[0] = self.first
        ratio[-1] = max(self.last, ratio[-1] if count == 1 else self.last)
        return ratio

    def _most_with_tips(self, pitch: float) -> int:
        count = int(self.part.length / pitch * (1 + 1e-9) - (self.first + self.last - 2))
        for tried in range(count, max(count - 8, 0), -1):
            found = equal_chords(self.part, tried, self._ratios(tried))
            if len(found[0]) and found[1] >= pitch * (1 - SHORT):
                self.splits[tried] = found
                return tried
        return 0

    def split(self, count: int, pitch: float) -> tuple[Points, float]:
        """Return the split into so many chords (empty, nan when there is none)."""
        if count not in self.splits:
            if max(self.first, self.last) > 1.0:
                self.splits[count] = equal_chords(self.part, count, self._ratios(count))
            else:
                self.splits[count] = split(self.part, count, pitch)
        return self.splits[count]

    def chord(self, count: int) -> float:
        """Return about the chord of a split into so many."""
        if count in self.splits:
            return self.splits[count][1]
        return self.splits[self.most][1] * self.most / count


def lay_row(
    path: Path,
    pitch: float,
    *,
    bends: Corners | None = None,
    shared: Sequence[float] = (),
) -> Row:
    """Lay a row of stones along a path, neighbours at least ``pitch`` mm apart.

    Between pinned places all chords are equal; the counts are chosen together, so that the
    chords of the whole path differ as little as they can. Pinned are the ends of an open path,
    the corners (``bends``; found when None), and the arc lengths ``shared``, which are places
    where another row has a stone. Where two pinned places are nearer than a pitch the blunter
    corner gives way.
    A path too short for two stones gets one, in its middle.
    """
    if path.length <= SAME or len(path.points) < 2:
        return Row(path, np.zeros(1), np.ones(1, dtype=np.bool_))
    bends = row_corners(path, pitch) if bends is None else bends
    at, turn = _pinned_places(path, pitch, bends, shared)
    spans = _spans(path, at, turn, pitch)
    if not spans:
        return _short_row(path, pitch)
    counts = _common_counts(spans, pitch)
    places: list[Points] = []
    pinned: list[npt.NDArray[np.bool_]] = []
    for span, count in zip(spans, counts, strict=True):
        found, chord = span.split(count, pitch)
        if not len(found) or chord < pitch * (1 - SHORT):
            found, _ = span.split(span.most, pitch)
        places.append(span.start + found[:-1])
        pinned.append(np.arange(len(found) - 1) == 0)
    if not path.closed:
        places.append(np.array([spans[-1].stop]))
        pinned.append(np.ones(1, dtype=np.bool_))
    at = np.concatenate(places)
    flags = np.concatenate(pinned)
    if path.closed:
        if len(spans) == 1 and not len(turn):
            flags[:] = False
        at = np.where(at >= path.length, at - path.length, at)
        order = np.argsort(at, kind="stable")
        at, flags = at[order], flags[order]
    return Row(path, at, flags)


#: A path shorter than this, in mm, is a dot.
SAME = 1e-6


def _pinned_places(
    path: Path, pitch: float, bends: Corners, shared: Sequence[float]
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


def _apart(path: Path, first: float, second: float) -> float:
    step = abs(first - second)
    return min(step, path.length - step) if path.closed else step


def row_corners(path: Path, pitch: float) -> Corners:
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


def _spans(path: Path, at: Points, turn: Points, pitch: float) -> list[_Span]:
    """Cut a path at its pinned places, the blunter giving way where a span is too short."""
    if not len(at):
        at, turn = np.zeros(1), np.zeros(1)
    known: dict[tuple[float, float], _Span] = {}
    for _ in range(len(at) + 1):
        stops = np.concatenate((at[1:], at[:1] + path.length)) if path.closed else at[1:]
        spans = []
        for k, (start, stop) in enumerate(zip(at, stops, strict=False)):
            key = (float(start), float(stop))
            if key not in known:
                ends = (_tip(float(turn[k])), _tip(float(turn[(k + 1) % len(at)])))
                known[key] = _Span.of(path, *key, ends, pitch)
            spans.append(known[key])
        gone = _giving_way(spans, turn, pitch)
        if gone is None:
            return spans
        if gone < 0:
            return []
        at, turn = np.delete(at, gone), np.delete(turn, gone)
    return []


def _giving_way(spans: list[_Span], turn: Points, pitch: float) -> int | None:
    """Return the pin that must give way, None when all hold, -1 when there is no row at all."""
    size = len(turn)
    wide = [math.inf if not span.most else span.splits[span.most][1] / pitch for span in spans]
    best: tuple[float, float, int] | None = None
    for k, stretch in enumerate(wide):
        if stretch <= WIDE:
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


def _common_counts(spans: list[_Span], pitch: float) -> list[int]:
    """Choose the counts of spans so that their chords differ least, for little stretch."""
    if len(spans) == 1:
        return [spans[0].most]
    tables = [
        [(n, span.chord(n)) for n in range(span.most, max(span.most - _FEWER, 1) - 1, -1)]
        for span in spans
    ]
    chords = {round(c, 9) for table in tables for _, c in table}
    targets = sorted({pitch, *(c for c in chords if c <= _MOST_STRETCH * pitch)})
    best: tuple[float, list[int]] | None = None
    for target in targets:
        chosen = [_nearest(table, target) for table in tables]
        count = np.array([n for n, _ in chosen], dtype=np.float64)
        chord = np.array([c for _, c in chosen])
        mean = float((count * chord).sum() / count.sum())
        spread = math.sqrt(float((count * (chord - mean) ** 2).sum() / count.sum())) / mean
        score = round(spread + _STRETCH_COST * (mean / pitch - 1), 9)
        if best is None or score < best[0]:
            best = score, [n for n, _ in chosen]
    return best[1] if best else [span.most for span in spans]


def _nearest(table: list[tuple[int, float]], target: float) -> tuple[int, float]:
    return min(table, key=lambda row: (round(abs(row[1] - target), 9), -row[0]))


def _short_row(path: Path, pitch: float) -> Row:
    """Lay what fits on a path whose pinned ends are too near for equal chords."""
    if path.closed:
        places, _ = divide(path, 0, pitch)
        if len(places) > 1:
            return Row(path, places, np.zeros(len(places), dtype=np.bool_))
        return Row(path, np.zeros(1), np.zeros(1, dtype=np.bool_))
    places, _ = divide(path, 0, pitch)
    if len(places) > 1:
        return Row(path, places, np.arange(len(places)) == 0)
    return Row(path, np.array([path.length / 2]), np.zeros(1, dtype=np.bool_))
