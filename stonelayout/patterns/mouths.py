"""Rows along the outline, carried straight across the mouths of thin strokes that butt there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from stonelayout.artwork import Points

from .spans import Span, row_runs
from .threads import Thread

#: The mouth of a stroke too thin for two rows is narrower than this, in pitches.
MOUTH = 1.05
#: Mouths lie on both sides of a stem when they are nearer than so many pitches, and the line
#: between them is upright within this.
STEM, OPPOSITE = 4.0, 0.2
#: The outline goes on beyond a mouth when it is aside by less than this, in pitches, and turns
#: by less than the angle with this cosine.
ASIDE, ON = 0.1, 0.995


@dataclass(frozen=True, eq=False)
class Rim:
    """A row on the outline: its line (n, 2), and whether it goes all round.

    ``mouths`` (k, 2, 2): the straight steps with which it crosses the mouths of thin strokes.
    """

    line: Points
    closed: bool
    mouths: Points

    @property
    def length(self) -> float:
        """Arc length in mm."""
        return float(np.hypot(*np.diff(self.line, axis=0).T).sum())


@dataclass(eq=False)
class _Open:
    """A row that ends: its line, whether a mouth is at its first and last end, mouths crossed.

    ``ring``: mouth by mouth it goes all round; ``onward``: the row that it goes on in.
    """

    line: Points
    first: bool
    last: bool
    mouths: list[Points]
    ring: bool = False
    onward: _Open | None = None


def rims_of(
    spans: list[Span], room: BaseGeometry, threads: list[Thread], pitch: float
) -> list[Rim]:
    """Return the rows on the outline, the longest first.

    One that ends at the mouth of a thin stroke goes on to the row beyond it, or else to the
    outline opposite, so that a stem keeps its rows where a hairline or a serif leaves it; but
    not where one of the ``threads`` runs right across.
    """
    across = shapely.MultiLineString([each.line for each in threads if each.across])
    whole: list[Rim] = []
    rows: list[_Open] = []
    for span in spans:
        _, found = row_runs(span, 0, pitch)
        for low, high in found:
            line = span.points[low:high]
            if high - low == len(span.points) and span.closed:
                whole.append(Rim(line, True, np.empty((0, 2, 2))))
                continue
            first = low == 0 and _at_mouth(spans, span, 0)
            last = high == len(span.points) and _at_mouth(spans, span, -1)
            rows.append(_Open(line, first, last, []))
    for row, onward, crossed in _mouths_between(rows, across, pitch):
        row.mouths += [crossed]
        row.onward = onward
    rows = _chained(rows)
    for row in rows:
        before = after = row.line[:0]
        if row.first:
            before = _opposite(row.line[:2][::-1], room, across, pitch)
        if row.last:
            after = _opposite(row.line[-2:], room, across, pitch)
        line = np.concatenate((before, row.line, after))
        mouths = [*row.mouths]
        mouths += [line[:2]] if len(before) else []
        mouths += [line[-2:]] if len(after) else []
        whole.append(Rim(line, row.ring, np.array(mouths).reshape(-1, 2, 2)))
    return sorted(whole, key=lambda rim: -round(rim.length, 5))


def _at_mouth(spans: list[Span], span: Span, end: int) -> bool:
    """Tell whether a span ends in a notch beyond which the outline belongs to a thin stroke."""
    if span.cap or span.turns[end] >= 0:
        return False
    other = -1 if end == 0 else 0
    return any(
        not beyond.cap
        and beyond.count[other] == 1
        and bool((beyond.points[other] == span.points[end]).all())
        for beyond in spans
    )


def _way(line: Points) -> Points:
    step = line[-1] - line[0]
    way: Points = step / max(float(np.hypot(*step)), 1e-300)
    return way


def _mouths_between(
    rows: list[_Open], across: BaseGeometry, pitch: float
) -> list[tuple[_Open, _Open, Points]]:
    """Return the rows that go on in one another beyond a mouth, and the steps (2, 2) across.

    Not where two mouths lie opposite: there the corners keep both rows of a stem in step.
    """
    found = []
    for row in rows:
        if not row.last:
            continue
        way = _way(row.line[-2:])
        for onward in rows:
            if onward is row or not onward.first:
                continue
            step = onward.line[0] - row.line[-1]
            along, aside = float(step @ way), float(step[0] * way[1] - step[1] * way[0])
            if not 0 < along < MOUTH * pitch or abs(aside) > ASIDE * pitch:
                continue
            crossed = np.stack((row.line[-1], onward.line[0]))
            if _way(onward.line[:2]) @ way > ON and not across.intersects(LineString(crossed)):
                found.append((row, onward, crossed))
    return [
        one
        for one in found
        if not any(_opposed(one[2], other[2], pitch) for other in found if other is not one)
    ]


def _opposed(one: Points, other: Points, pitch: float) -> bool:
    """Tell whether two steps (2, 2) lie side by side."""
    step = other.mean(axis=0) - one.mean(axis=0)
    away = float(np.hypot(*step))
    return away < STEM * pitch and abs(float(step @ _way(one))) < OPPOSITE * away


def _chained(rows: list[_Open]) -> list[_Open]:
    """Join rows to those that they go on in."""
    ahead = {id(row.onward) for row in rows if row.onward is not None}
    starts = [row for row in rows if id(row) not in ahead]
    done: set[int] = set()
    found: list[_Open] = []
    for row in [*starts, *rows]:
        if id(row) in done:
            continue
        chain = [row]
        while (onward := chain[-1].onward) is not None and onward is not row:
            chain.append(onward)
        done |= {id(one) for one in chain}
        line = np.concatenate([one.line for one in chain])
        mouths = [step for one in chain for step in one.mouths]
        ring = chain[-1].onward is row
        found.append(_Open(line, not ring and row.first, not ring and chain[-1].last, mouths, ring))
    return found


def _opposite(end: Points, room: BaseGeometry, across: BaseGeometry, pitch: float) -> Points:
    """Return where the outline is met straight ahead of a row's end, (1, 2); (0, 2) if too far.

    ``end`` (2, 2) are the last points of the row.
    """
    way = _way(end)
    ray = LineString([end[-1] + 1e-6 * pitch * way, end[-1] + MOUTH * pitch * way])
    met = shapely.get_coordinates(shapely.intersection(ray, room.boundary))
    if not len(met) or across.intersects(ray):
        return np.empty((0, 2))
    away = np.hypot(*(met - end[-1]).T)
    return met[[int(away.argmin())]]
