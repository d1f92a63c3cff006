"""Strokes as regions: width, caps, joins with SVG's mitre limit, dashes.

The boundary is built as renderers do: offset sides with joins on the outer side of every corner,
so that it winds once around every piece of the stroke; the nonzero rule makes the region exact.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import Flat
from stonelayout.geometry.points import Points

from .fill_rules import EMPTY, fill

#: More dashes than a drawing needs; a file that asks for more is refused.
MOST_DASHES: Final = 100_000
#: Lines of more points than this are simplified before they are stroked.
_LONG: Final = 4000
#: Finest angle of a round part, in radians: enough for pens of 80 m at the usual chord error.
_LEAST_TURN: Final = 1e-3


@dataclass(frozen=True)
class Pen:
    """How a line is drawn; ``error`` is the chord error of its round parts."""

    width: float
    cap: str = "butt"
    join: str = "miter"
    mitre_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    offset: float = 0.0
    error: float = 0.005


def stroke(lines: Sequence[Flat], pen: Pen) -> BaseGeometry:
    """Return the region that the pen covers. Raises ArtworkError for too many dashes."""
    if pen.dashes:
        lines = [piece for line in lines for piece in dashed(line, pen.dashes, pen.offset)]
    regions = []
    for line in lines:
        region = fill(_boundary(line, pen))
        if not region.is_empty:
            regions.append(region)
    if not regions:
        return EMPTY
    return regions[0] if len(regions) == 1 else shapely.normalize(shapely.union_all(regions))


def _boundary(line: Flat, pen: Pen) -> list[Points]:
    half = pen.width / 2.0
    line = _simplified(line, pen.error / 4.0)
    points = line.points
    if len(points) == 1:
        return _dot(points[0], half, pen)
    forward, backward = _sides(line, half, pen)
    if line.closed:
        return [np.array(forward), np.array(backward)]
    start = _cap(points[0], points[0] - points[1], half, pen)
    end = _cap(points[-1], points[-1] - points[-2], half, pen)
    return [np.array([*forward, *end, *backward, *start])]


def _simplified(line: Flat, error: float) -> Flat:
    """Drop points of a long line that lie within ``error`` of it: noise makes joins by the 10^5.

    Lines of usual length are left as they are.
    """
    if len(line.points) <= _LONG:
        return line
    points = np.concatenate((line.points, line.points[:1])) if line.closed else line.points
    kept = shapely.get_coordinates(shapely.simplify(shapely.LineString(points), error))
    if line.closed:
        kept = kept[:-1]
    if len(kept) < 2:
        return line
    joints = dict(zip(map(tuple, line.points.tolist()), line.joints.tolist(), strict=True))
    flags = np.array([joints[point] for point in map(tuple, kept.tolist())], dtype=np.bool_)
    return Flat(kept, flags, line.closed)


def _dot(point: Points, half: float, pen: Pen) -> list[Points]:
    if pen.cap == "round":
        count = max(8, math.ceil(math.tau / _turn_step(half, pen.error)))
        angle = np.arange(count) * (math.tau / count)
        return [point + half * np.column_stack((np.cos(angle), np.sin(angle)))]
    if pen.cap == "square":
        return [point + half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])]
    return []


def _turn_step(half: float, error: float) -> float:
    """Return the angle whose chord on radius ``half`` is within ``error`` of the arc."""
    if error >= half:
        return math.pi / 4.0
    return min(math.pi / 4.0, max(_LEAST_TURN, 2.0 * math.acos(1.0 - error / half)))


def _arc(x: float, y: float, ux: float, uy: float, turn: float, pen: Pen) -> list[list[float]]:
    """Return the points inside an arc about (x, y) from offset (ux, uy), turning by ``turn``."""
    half = math.hypot(ux, uy)
    count = math.ceil(abs(turn) / _turn_step(half, pen.error))
    out = []
    for k in range(1, count):
        c, s = math.cos(turn * k / count), math.sin(turn * k / count)
        out.append([x + c * ux - s * uy, y + s * ux + c * uy])
    return out


def _cap(point: Points, outward: Points, half: float, pen: Pen) -> list[list[float]]:
    """Return the cap's points between the two sides, walking from the left side to the right."""
    dx, dy = outward / math.hypot(*outward) * half
    x, y = point
    if pen.cap == "round":
        return _arc(x, y, dy, -dx, math.pi, pen)
    if pen.cap == "square":
        return [[x + dy + dx, y - dx + dy], [x - dy + dx, y + dx + dy]]
    return []


def _sides(line: Flat, half: float, pen: Pen) -> tuple[list[list[float]], list[list[float]]]:
    """Return both offset sides with their joins, each at (dy, -dx) from its way of travel.

    The first goes along the line, the second back.
    """
    points, closed = line.points, line.closed
    step = (np.concatenate((points[1:], points[:1])) if closed else points[1:]) - points[
        : len(points) if closed else -1
    ]
    length = np.hypot(step[:, 0], step[:, 1])
    way = step / length[:, None]
    offset = np.column_stack((way[:, 1], -way[:, 0])) * half
    previous = np.arange(-1, len(way) - 1)
    at, joints = points[: len(way)], line.joints[: len(way)]
    back, before = way[previous], offset[previous]
    cos = back[:, 0] * way[:, 0] + back[:, 1] * way[:, 1]
    sin = back[:, 0] * way[:, 1] - back[:, 1] * way[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        tip = (before + offset) / (1.0 + cos)[:, None]
        reach = np.abs(sin) / (1.0 + cos) * np.hypot(before[:, 0], before[:, 1])
    meets = (cos > -1.0) & (reach <= np.minimum(length[previous], length) / 2.0)
    pointed = np.zeros(len(at), dtype=np.bool_)
    if pen.join in ("miter", "miter-clip", "arcs"):
        pointed = np.sqrt(np.maximum(0.0, (1.0 + cos) / 2.0)) * pen.mitre_limit >= 1.0
    pointed = np.where(joints, pointed, cos > 0.9)
    sides = []
    for sign, first, second in ((1.0, before, offset), (-1.0, -offset, -before)):
        turn = sign * sin
        straight = (turn >= 0.0) & (turn < 1e-12) & (cos > 0.0)
        rows = at + sign * tip
        if straight.any():
            rows[straight] = at[straight] + first[straight]
        special = ~(np.where(turn < 0.0, meets, pointed) | straight)
        ends = rows[:0], rows[:0]
        if not closed:
            ends = points[:1] + sign * offset[:1], points[-1:] + sign * offset[-1:]
            rows, special = rows[1:], special[1:]
        corners = {}
        skipped = 0 if closed else 1
        for k in (np.flatnonzero(special) + skipped).tolist():
            corners[k - skipped] = _corner(
                at[k].tolist(), first[k].tolist(), second[k].tolist(), float(cos[k]),
                float(turn[k]), pen.join if joints[k] else "smooth", pen,
            )  # fmt: skip
        sides.append(_spliced(ends, rows.tolist(), corners, sign < 0.0))
    return sides[0], sides[1]


def _spliced(
    ends: tuple[Points, Points],
    rows: list[list[float]],
    corners: dict[int, list[list[float]]],
    backward: bool,
) -> list[list[float]]:
    """Put the corners with several points into a side, its ends about it."""
    places = sorted(corners, reverse=backward)
    order = -1 if backward else 1
    first, last = (end.tolist() for end in (reversed(ends) if backward else ends))
    out: list[list[float]] = [*first]
    done = len(rows) - 1 if backward else 0
    for k in places:
        out += rows[done:k:order]
        out += corners[k]
        done = k + order
    if done >= 0:
        out += rows[done::order]
    return [*out, *last]


def _corner(
    at: Sequence[float],
    before: Sequence[float],
    after: Sequence[float],
    cos: float,
    sin: float,
    join: str,
    pen: Pen,
) -> list[list[float]]:
    """Return the side's points where one won't do. ``sin`` > 0 turns away from this side."""
    x, y = at
    a, b = [x + before[0], y + before[1]], [x + after[0], y + after[1]]
    if sin < 0.0:
        return [a, [x, y], b]
    if join in ("smooth", "round"):
        turn = math.atan2(sin, cos) if cos > -1.0 else math.pi
        return [a, *_arc(x, y, before[0], before[1], turn, pen), b]
    if join == "miter-clip":
        return [a, *_clipped_tip(x, y, before, after, pen.mitre_limit), b]
    return [a, b]


def _clipped_tip(
    x: float, y: float, before: Sequence[float], after: Sequence[float], limit: float
) -> list[list[float]]:
    """Return the two points where a tip is cut across, half a limit of widths from the corner."""
    half = math.hypot(*before)
    mx, my = before[0] + after[0], before[1] + after[1]
    middle = math.hypot(mx, my)
    if middle < 1e-9 * half:
        return []
    mx, my = mx / middle, my / middle
    out = []
    # along the side from its end, in the way of travel and against it
    for (ux, uy), turn in ((before, 1.0), (after, -1.0)):
        wx, wy = -uy / half * turn, ux / half * turn
        along = (limit * half - (ux * mx + uy * my)) / (wx * mx + wy * my)
        if along < 0.0:
            return []
        out.append([x + ux + wx * along, y + uy + wy * along])
    return out


def dashed(line: Flat, dashes: Sequence[float], offset: float = 0.0) -> list[Flat]:
    """Cut a line into its dashes (SVG 2, "Computing the shape of the stroke")."""
    pattern = list(dashes) * (1 + len(dashes) % 2)
    period = sum(pattern)
    points, joints = line.points, line.joints
    if line.closed:
        points = np.concatenate((points, points[:1]))
        joints = np.concatenate((joints, joints[:1]))
    if len(points) < 2 or period <= 0.0:
        return [line]
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    total = float(along[-1])
    if total / period * len(pattern) > MOST_DASHES:
        raise ArtworkError(f"a dashed line with over {MOST_DASHES:,} dashes is too fine to read")
    spans = _dash_spans(total, pattern, period, offset)
    if not spans:
        return []
    whole = spans == [(0.0, total)]
    if whole:
        return [line]
    pieces = [_piece(points, joints, along, a, b) for a, b in spans]
    if line.closed and len(pieces) > 1 and spans[0][0] == 0.0 and spans[-1][1] == total:
        first, last = pieces[0], pieces.pop()
        joined = np.concatenate((last.points, first.points[1:]))
        at_start = np.concatenate((last.joints[:-1], joints[:1], first.joints[1:]))
        pieces[0] = Flat(joined, at_start, closed=False)
    return pieces


def _dash_spans(
    total: float, pattern: list[float], period: float, offset: float
) -> list[tuple[float, float]]:
    at = -(offset % period)
    spans: list[tuple[float, float]] = []
    index = 0
    while at < total:
        length = pattern[index % len(pattern)]
        if index % 2 == 0:
            low, high = max(at, 0.0), min(at + length, total)
            if high > low or (length == 0.0 and 0.0 <= at <= total):
                spans.append((low, high))
        at += length
        index += 1
    return spans


def _piece(
    points: Points, joints: npt.NDArray[np.bool_], along: Points, a: float, b: float
) -> Flat:
    ends = np.column_stack([np.interp((a, b), along, points[:, axis]) for axis in (0, 1)])
    inside = (along > a) & (along < b)
    if a == b:
        return Flat(ends[:1], np.ones(1, dtype=np.bool_), closed=False)
    chain = np.concatenate((ends[:1], points[inside], ends[1:]))
    keep = np.concatenate(([True], (np.diff(chain, axis=0) != 0.0).any(axis=1)))
    flags = np.concatenate(([True], joints[inside], [True]))
    return Flat(chain[keep], flags[keep], closed=False)
