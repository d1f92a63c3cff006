"""Polylines as curves: positions by arc length, parts, corners by turning over a window."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from .bisection import narrowed
from .points import Points

Flags = npt.NDArray[np.bool_]

#: Vertices nearer to each other than this, in mm, are one.
SAME_MM = 1e-9
#: A corner turns by at least this much within the window, in degrees (algorithm study: 35; a
#: noisy traced outline needs a little more to have none).
CORNER_DEGREES = 40.0
#: Two corners beside each other are alike, the ends of one edge, when their turns differ by less
#: than this, in degrees: then one stone in their middle may do for both.
ALIKE_DEGREES = 10.0
#: Turning balances about a place when its moment is below this share of window times turning.
_BALANCE = 1e-3
#: Steps of an eighth of a window in which a corner is looked for on each side.
_MARCH = 24
#: Pairs of a vertex and a vertex in its window that are handled at once.
_CHUNK = 2_000_000


@dataclass(frozen=True, eq=False)
class Polyline:
    """A polyline in mm. ``points`` (m, 2), m >= 1; a closed one repeats its first point last.

    ``along`` (m,) is the arc length in mm at each vertex.
    """

    points: Points
    closed: bool
    along: Points

    @classmethod
    def of(cls, points: npt.ArrayLike, closed: bool = False) -> Polyline:
        """Make a path from vertices (m, 2), m >= 1; a closed one need not repeat its first."""
        table = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        step = np.hypot(*np.diff(table, axis=0).T)
        table = table[np.concatenate(([True], step > SAME_MM))]
        while closed and len(table) > 1 and np.hypot(*(table[-1] - table[0])) <= SAME_MM:
            table = table[:-1]
        closed = closed and len(table) > 1
        if closed:
            table = np.concatenate((table, table[:1]))
        step = np.hypot(*np.diff(table, axis=0).T)
        return cls(table, closed, np.concatenate(([0.0], np.cumsum(step))))

    @property
    def length(self) -> float:
        """Arc length in mm."""
        return float(self.along[-1])

    def at(self, s: npt.ArrayLike) -> Points:
        """Return the points (k, 2) at arc lengths s (k,); a closed path goes round."""
        found, _ = self.at_with_direction(s)
        return found

    def at_with_direction(self, s: npt.ArrayLike) -> tuple[Points, Points]:
        """Return the points and unit directions, (k, 2) each, at arc lengths s (k,)."""
        s = np.asarray(s, dtype=np.float64).reshape(-1)
        if len(self.points) == 1:
            return np.repeat(self.points, len(s), axis=0), np.zeros((len(s), 2))
        turns = np.floor(s / self.length) * self.length if self.closed else 0.0
        inside = np.where(s == self.length, s, s - turns)
        side = self.along[1:-1].searchsorted(inside, side="right")
        step = self.points[side + 1] - self.points[side]
        unit = step / (self.along[side + 1] - self.along[side])[:, None]
        return self.points[side] + unit * (inside - self.along[side])[:, None], unit

    def between(self, start: float, stop: float) -> Polyline:
        """Return the part from arc length ``start`` to ``stop`` as an open path.

        On a closed path ``stop`` may be up to one length past ``start``, which is in [0, length).
        """
        along, points = self.along, self.points
        if self.closed and stop > self.length:
            along = np.concatenate((along, along[1:] + self.length))
            points = np.concatenate((points, points[1:]))
        first = int(np.searchsorted(along, start + SAME_MM, side="right"))
        last = int(np.searchsorted(along, stop - SAME_MM, side="left"))
        ends = self.at([start, stop])
        return Polyline.of(np.concatenate((ends[:1], points[first:last], ends[1:])))

    def turned(self) -> Polyline:
        """Return the path run the other way."""
        return Polyline.of(self.points[::-1], self.closed)

    def from_place(self, s: float) -> Polyline:
        """Return a closed path that starts at arc length s instead."""
        part = self.between(s % self.length, s % self.length + self.length)
        return Polyline.of(part.points[:-1], closed=True)


def lines_through(paths: Iterable[Polyline]) -> BaseGeometry:
    """Return curves as one geometry; those that are points are left out."""
    lines = [shapely.LineString(path.points) for path in paths if path.length > 0]
    return shapely.MultiLineString(lines)


def turn_between(before: Points, after: Points) -> Points:
    """Return the signed angles (n,) in radians from directions (n, 2) to others, any lengths.

    Positive from x to y; a reversal counts as pi.
    """
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, (before * after).sum(axis=1)))


def turning(path: Polyline) -> tuple[Points, Points]:
    """Return arc lengths and signed turning angles (radians) of the vertices where it turns.

    The ends of an open path do not turn. A reversal counts as pi.
    """
    points = path.points
    if len(points) < 3:
        return np.empty(0), np.empty(0)
    sides = np.diff(points, axis=0)
    place = path.along[1:-1]
    before, after = sides[:-1], sides[1:]
    if path.closed:
        place = np.concatenate((path.along[:1], place))
        before, after = np.concatenate((sides[-1:], before)), sides
    return place, turn_between(before, after)


@dataclass(frozen=True, eq=False)
class Corners:
    """Corners of a path: arc lengths ``at`` (k,), and ``turn`` (k,), signed, in radians."""

    at: Points
    turn: Points


def corners(path: Polyline, window: float, degrees: float = CORNER_DEGREES) -> Corners:
    """Find corners: places where the path turns by ``degrees`` or more within the window.

    The turning of the vertices within ``window`` mm on each side is summed with the weights
    (1 - x^2)^2 (Tukey's biweight), so that the wiggles of a traced outline cancel, a rounded
    corner counts as one, and an even bend (a circle) has none. A corner's place is the weighted
    mean place of the turning about it, which does not depend on where the path starts; two
    corners alike within one window (the end of a narrow stroke) are one, in their middle.
    """
    place, angle = turning(path)
    window = min(window, path.length / (6 if path.closed else 3))
    if not len(place) or window <= 0:
        return Corners(np.empty(0), np.empty(0))
    spread = _Spread.of(place, angle, path.length if path.closed else 0.0)
    seen = spread.seen(window, np.radians(degrees))
    size = spread.sums(place[seen], window)
    order = np.lexsort((place[seen], -np.round(np.abs(size), 9)))
    found: list[tuple[float, float]] = []
    tried: list[float] = []
    twins: set[int] = set()
    for k in order:
        if abs(size[k]) < np.radians(degrees):
            break
        start = float(place[seen][k])
        if any(spread.apart(start, other) < window / 2 for other in tried):
            continue
        tried.append(start)
        s, turn = spread.settle(start, window)
        if abs(turn) < np.radians(degrees):
            continue
        near = [k for k, (other, _) in enumerate(found) if spread.apart(s, other) < window]
        if near:
            other, its = found[near[0]]
            if (
                len(near) == 1
                and near[0] not in twins
                and abs(its - turn) < np.radians(ALIKE_DEGREES)
            ):
                found[near[0]] = spread.between(other, s), its
                twins.add(near[0])
            continue
        overall = _bend(path, s, window)
        if abs(overall) < np.radians(degrees) / 2 or overall * turn < 0 < np.pi - abs(overall):
            continue
        if spread.stands_out(s, turn, window, path.closed, path.length):
            found.append((s, turn if abs(turn) <= np.pi else overall))
    found.sort()
    table = np.array(found).reshape(-1, 2)
    return Corners(table[:, 0], table[:, 1])


def _bend(path: Polyline, s: float, window: float) -> float:
    """Return the angle in radians between the chords of a window before and after s.

    Tight little loops of a noisy outline turn by whole rounds; their chords do not.
    """
    low, high = (s - window, s + window)
    if not path.closed:
        low, high = max(low, 0.0), min(high, path.length)
    back, here, on = path.at([low, s, high])
    before, after = here - back, on - here
    cross = float(before[0] * after[1] - before[1] * after[0])
    return float(np.arctan2(cross, float(before @ after)))


@dataclass(frozen=True, eq=False)
class _Spread:
    """Turning of vertices along a path; ``period`` is its length when closed, else 0.

    ``wide_place`` and ``wide_angle`` hold them three times over for a closed path.
    """

    place: Points
    angle: Points
    period: float
    wide_place: Points
    wide_angle: Points

    @classmethod
    def of(cls, place: Points, angle: Points, period: float) -> _Spread:
        if not period:
            return cls(place, angle, period, place, angle)
        wide = np.concatenate((place - period, place, place + period))
        return cls(place, angle, period, wide, np.tile(angle, 3))

    def seen(self, window: float, least: float) -> npt.NDArray[np.intp]:
        """Return the vertices where the turning, all counted as one sign, could suffice."""
        total = np.concatenate(([0.0], np.cumsum(np.abs(self.wide_angle))))
        low = np.searchsorted(self.wide_place, self.place - window, side="left")
        high = np.searchsorted(self.wide_place, self.place + window, side="right")
        return np.flatnonzero((total[high] - total[low] >= least) & (np.abs(self.angle) > 0))

    def apart(self, first: float, second: float) -> float:
        """Return the distance in mm along the path between two places."""
        step = abs(first - second)
        return min(step, self.period - step) if self.period else step

    def between(self, first: float, second: float) -> float:
        """Return the place half-way between two, the short way round."""
        step = second - first
        if self.period:
            step -= self.period * round(step / self.period)
        return self.wrapped(first + step / 2)

    def weights(self, s: float, window: float) -> tuple[Points, Points]:
        """Return the steps from s to the vertices in its window, and their weighted turning."""
        s = s % self.period if self.period else s
        low = np.searchsorted(self.wide_place, s - window, side="right")
        high = np.searchsorted(self.wide_place, s + window, side="left")
        step = self.wide_place[low:high] - s
        x = step / window
        return step, self.wide_angle[low:high] * (1 - x * x) ** 2

    def sums(self, at: Points, window: float) -> Points:
        """Return the weighted turning at many places (k,)."""
        place, angle = self.wide_place, self.wide_angle
        low = np.searchsorted(place, at - window, side="right")
        high = np.searchsorted(place, at + window, side="left")
        total = np.zeros(len(at))
        start = 0
        while start < len(at):
            counts = np.cumsum(high[start:] - low[start:])
            stop = start + max(1, int(np.searchsorted(counts, _CHUNK)))
            count = high[start:stop] - low[start:stop]
            owner = np.repeat(np.arange(start, min(stop, len(at))), count)
            first = np.repeat(np.cumsum(count) - count, count)
            index = np.arange(len(owner)) - first + low[owner]
            x = (place[index] - at[owner]) / window
            total += np.bincount(owner, angle[index] * (1 - x * x) ** 2, len(at))
            start = stop
        return total

    def settle(self, s: float, window: float) -> tuple[float, float]:
        """Move s to where the turning about it balances; return that place and the turning."""
        step, weight = self.weights(s, window)
        sign = 1.0 if float(weight.sum()) >= 0 else -1.0
        main = int(np.argmax(np.abs(weight)))
        if abs(weight[main]) > 0.7 * abs(float(weight.sum())):
            s += float(step[main])
        else:
            s = self._balanced(s, window, sign)
        return self.wrapped(s), float(self.weights(s, window)[1].sum())

    def _balanced(self, s: float, window: float, sign: float) -> float:
        """Return the middle of the places near s where the turning about them balances.

        On an arc longer than the window it balances all along: hence the middle.
        """

        def pull(at: float) -> float:
            step, weight = self.weights(at, window)
            same = sign * weight > 0
            return float((step[same] * np.abs(weight[same])).sum())

        def beyond(level: float, way: float, at: float) -> bool:
            return (pull(at) - level) * way > 0

        slack = _BALANCE * window * abs(float(self.weights(s, window)[1].sum()))
        ends = []
        for level in (slack, -slack):
            way = 1.0 if pull(s) >= level else -1.0
            low = high = s
            for _ in range(_MARCH):
                high = low + way * window / 8
                if not beyond(level, way, high):
                    break
                low = high
            ends.append(sum(narrowed(functools.partial(beyond, level, way), low, high, 42)) / 2)
        return (ends[0] + ends[1]) / 2

    def wrapped(self, s: float) -> float:
        """Return a place within one period."""
        if not self.period:
            return s
        s %= self.period
        return 0.0 if self.period - s < SAME_MM else s

    def stands_out(self, s: float, turn: float, window: float, closed: bool, length: float) -> bool:
        """Tell whether the path is much straighter on both sides than at s."""
        for side in (-1.75 * window, 1.75 * window):
            if not closed and not 0 <= s + side <= length:
                continue
            _, weight = self.weights(s + side, window)
            if float(weight.sum()) * np.sign(turn) > 0.62 * abs(turn) and abs(turn) < np.pi / 3:
                return False
        return True
