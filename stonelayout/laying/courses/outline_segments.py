"""Segments of an outline between its corners, with the half width and the rows that fit there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points
from stonelayout.geometry.regions import Outline, largest_disc, rings_of, sample_ring, shrink_balls
from stonelayout.laying.courses.outline_corners import OutlineCorner, corner_vertices

Flags = npt.NDArray[np.bool_]
#: Runs of samples as (start, stop).
Runs = list[tuple[int, int]]


@dataclass(frozen=True)
class ContactDegrees:
    """From which angle on, in degrees between its two contacts, a ball measures a width.

    ``side``: of a stroke; ``end``: where the other contact lies on the segment beyond a convex
    corner, which may be the end of the stroke and not its other side; ``doubtful``: where no ball
    of any segment measures a width otherwise.
    """

    side: float
    end: float
    doubtful: float


#: Step of the samples along an outline, in pitches.
STEP = 0.06
#: Least angles between the two contacts of a ball that measures a width.
CONTACT_DEGREES = ContactDegrees(side=128.0, end=148.0, doubtful=115.0)
#: A width measured along less than this, in pitches, was measured past a corner: not the width.
SHORT_MEASURE = 0.2
#: An inner row is not laid along less than this, in pitches: deep in a bend rows fold into pieces.
SHORT_ROW = 0.25
#: A taper is measured over so many pitches, and carried on to the end of a stroke when the half
#: width changes by less than STEEP on the way.
TAPER, STEEP = 2.0, 0.25
#: In a bend of more than this, in radians a pitch, the outline is a polygon, and its two sides
#: agree on a width to so many pitches only.
BENT, FACETS = 0.01, 2e-3
#: A row in the middle starts so many pitches before it has its full room.
EARLY = 1.6


@dataclass(eq=False)
class OutlineSegment:
    """Samples of an outline from corner to corner (all round a ring without corners).

    ``points``, ``inward`` (n, 2); ``s`` (n,) arc length in mm; ``half`` (n,) half the local
    width in mm, ``valid`` where it was measured rather than carried through a junction, ``sided``
    where another side lies right opposite; ``count`` (n,) rows across and ``gap`` (n,) mm between
    them. ``turns``: turning in radians at the two ends, positive where convex. ``cap``: no width
    was measured along it, as at the end of a stroke.
    """

    points: Points
    inward: Points
    s: Points
    closed: bool
    turns: tuple[float, float]
    half: Points
    valid: Flags
    count: npt.NDArray[np.intp]
    gap: Points
    sided: Flags
    cap: bool = False

    @property
    def length(self) -> float:
        """Arc length in mm."""
        return float(self.s[-1])

    @cached_property
    def tree(self) -> Any:
        """A k-d tree of the samples."""
        from scipy.spatial import KDTree

        return KDTree(self.points)

    @cached_property
    def curve(self) -> BaseGeometry:
        """The samples as a prepared line."""
        line = LineString(self.points)
        shapely.prepare(line)
        return line

    def beside(self, line: Points, s: Points) -> Points:
        """Return the places (k, 2) of a line (n, 2) through samples beside arc lengths s (k,)."""
        return np.column_stack([np.interp(s, self.s, line[:, axis]) for axis in (0, 1)])

    def bend(self, pitch: float) -> Points:
        """Return the curvature at the samples, over two pitches, in radians per mm (n,)."""
        angle = np.unwrap(np.arctan2(self.inward[:, 1], self.inward[:, 0]))
        low, high = np.maximum(self.s - pitch, 0), np.minimum(self.s + pitch, self.s[-1])
        turn = np.interp(high, self.s, angle) - np.interp(low, self.s, angle)
        found: Points = np.abs(turn) / np.maximum(high - low, 1e-9)
        return found


def measured_segments(
    room: Polygon, pitch: float
) -> tuple[list[OutlineSegment], list[OutlineCorner]]:
    """Cut the outline of a room at its corners, and measure how wide the room is along it."""
    segments, corners = outline_segments(room, pitch)
    if segments:
        _measure(segments, corners, pitch, largest_disc(room, 0.01 * pitch) * 1.01 + 0.02 * pitch)
    return segments, corners


def outline_segments(
    room: BaseGeometry, pitch: float
) -> tuple[list[OutlineSegment], list[OutlineCorner]]:
    """Cut the outline of a room at its corners."""
    segments: list[OutlineSegment] = []
    corners: list[OutlineCorner] = []
    for ring in rings_of(room):
        points, index, turn = corner_vertices(ring, pitch)
        start = int(index[0]) if len(index) else _start(points)
        points = np.roll(points, -start, axis=0)
        index = index - start
        place, along, _ = sample_ring(points, STEP * pitch)
        corners += [OutlineCorner(points[k], float(a)) for k, a in zip(index, turn, strict=True)]
        # sample numbers at which segments start: where a corner's vertex begins a side
        cuts = [0]
        for k in index[1:]:
            hits = np.flatnonzero((place == points[k]).all(axis=1))
            cuts.append(int(hits[-1]) if len(hits) else cuts[-1])
        cuts.append(len(place))
        for j, (low, high) in enumerate(pairwise(cuts)):
            p, t = place[low:high], along[low:high]
            last = points[index[(j + 1) % len(index)]] if len(index) else points[0]
            if np.hypot(*(p[-1] - last)) > 1e-12:
                p, t = (
                    np.concatenate((p, last[None])),
                    np.concatenate((t, t[-1:] if len(index) else t[:1])),
                )
            ends = (float(turn[j]), float(turn[(j + 1) % len(index)])) if len(index) else (0.0, 0.0)
            s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))))
            n = len(p)
            segments.append(
                OutlineSegment(
                    p,
                    np.column_stack((-t[:, 1], t[:, 0])),
                    s,
                    not len(index),
                    ends,
                    np.zeros(n),
                    np.zeros(n, bool),
                    np.ones(n, np.intp),
                    np.zeros(n),
                    np.zeros(n, bool),
                )
            )
    return segments, corners


def _start(points: Points) -> int:
    """Return where a ring without corners starts: where it meets an axis of the frame."""
    off = np.round(np.abs(points).min(axis=1), 7)
    return int(np.lexsort((points[:, 0], points[:, 1], off))[0])


def _measure(
    segments: list[OutlineSegment], corners: list[OutlineCorner], pitch: float, largest: float
) -> None:
    owner = np.repeat(np.arange(len(segments)), [len(s.points) for s in segments])
    points = np.concatenate([s.points for s in segments])
    inward = np.concatenate([s.inward for s in segments])
    along = np.column_stack((inward[:, 1], -inward[:, 0]))
    everything = Outline(points, along, owner, np.zeros(len(points), bool))
    radius, other, angle = shrink_balls(everything, 0.3 * pitch, largest)
    reflex = np.array([c.place for c in corners if c.turn < 0]).reshape(-1, 2)
    bulges = np.zeros(len(points), dtype=np.bool_)
    for place in reflex:
        bulges |= np.hypot(*(points[other] - place).T) < 0.09 * pitch
    need = np.full(len(points), CONTACT_DEGREES.side)
    ends: dict[bytes, list[int]] = {}
    for k, segment in enumerate(segments):
        for end in (0, -1):
            ends.setdefault(segment.points[end].tobytes(), []).append(k)
    stops = np.cumsum([len(segment.points) for segment in segments])
    for k, segment in enumerate(segments):
        mine = slice(stops[k] - len(segment.points), stops[k])
        for end, turn in zip((0, -1), segment.turns, strict=True):
            if turn > 0:
                across = [j for j in ends[segment.points[end].tobytes()] if j != k]
                need[mine][np.isin(owner[other[mine]], across)] = CONTACT_DEGREES.end
    sound = ~bulges & (other != np.arange(len(points)))
    for stop, segment in zip(stops, segments, strict=True):
        if not segment.closed:  # a corner's own ball touches the side that it begins
            sound[[stop - len(segment.points), stop - 1]] = False
    valid = sound & (angle > need)
    if not valid.any():
        valid = sound & (angle > CONTACT_DEGREES.doubtful)
    for k, segment in enumerate(segments):
        mine = slice(stops[k] - len(segment.points), stops[k])
        segment.valid, segment.half = valid[mine], radius[mine]
        segment.sided = sound[mine] & (angle[mine] > CONTACT_DEGREES.end)
        drop_short_measures(segment, pitch)
        if segment.valid.any():
            complete_widths(segment, pitch)
            plan_rows(segment, pitch)
        else:
            segment.gap = np.full(len(segment.points), pitch)
            segment.cap = True


def drop_short_measures(segment: OutlineSegment, pitch: float) -> None:
    """Forget half widths that were measured along less than SHORT_MEASURE pitches."""
    for low, high in true_runs(segment.valid):
        if segment.s[high - 1] - segment.s[low] < min(SHORT_MEASURE * pitch, segment.length / 2):
            segment.valid[low:high] = False


def complete_widths(segment: OutlineSegment, pitch: float) -> None:
    """Carry the half width through places where it was not measured, and smooth it."""
    s, valid = segment.s, segment.valid
    half = np.interp(s, s[valid], segment.half[valid])
    for low, high in true_runs(~valid):  # the edge row runs on to where a thin stroke butts
        if low > 0 and high < len(valid):
            ends = half[[low - 1, high]]
            if 2 * ends.min() < pitch <= 2 * ends.max():
                half[low:high] = ends.max()
    if not segment.closed:
        _extend_tapers(segment, half, pitch)
    even = np.linspace(0, segment.length, max(int(segment.length / (STEP * pitch)) + 1, 2))
    half = np.interp(even, s, half)
    size = max(round(1 / STEP) | 1, 3)
    half = np.median(_windows(half, size, segment.closed), axis=1)
    half = _windows(half, size, segment.closed).mean(axis=1)
    segment.half = np.interp(s, even, half)


def _extend_tapers(segment: OutlineSegment, half: Points, pitch: float) -> None:
    """Carry a taper on to the free ends of a stroke, in place."""
    measured = np.flatnonzero(segment.valid)
    for end, turn, step in ((0, segment.turns[0], 1), (-1, segment.turns[1], -1)):
        last = measured[0] if end == 0 else measured[-1]
        way = np.abs(segment.s - segment.s[last])
        near = segment.valid & (way <= TAPER * pitch)
        if turn <= 0 or way[near].max() < 0.5 * TAPER * pitch:
            continue
        slope = float(np.polyfit(way[near], segment.half[near], 1)[0])
        beyond = slice(0, last) if step > 0 else slice(last + 1, None)
        if abs(slope) < STEEP and way[end] < 2 * segment.half[last]:
            half[beyond] -= slope * way[beyond]


def _windows(values: Points, size: int, closed: bool) -> Points:
    """Return the ``size`` values about each of n, (n, size); beyond an open end the last one."""
    before = size // 2
    padded = np.pad(values, (before, size - 1 - before), mode="wrap" if closed else "edge")
    return np.lib.stride_tricks.sliding_window_view(padded, size)


def plan_rows(segment: OutlineSegment, pitch: float) -> None:
    """Choose how many rows fit across at each sample, and the gap between them."""
    even = np.linspace(0, segment.length, max(int(segment.length / (STEP * pitch)) + 1, 2))
    half = np.interp(even, segment.s, segment.half)
    bent = np.interp(even, segment.s, segment.bend(pitch) * pitch) > BENT
    n = np.floor(2 * half / pitch + np.where(bent, FACETS, 1e-11)).astype(np.intp) + 1
    n = _without_dips(n, int(3 / STEP))
    gap = 2 * half / np.maximum(n - 1, 1)
    gap = np.where(n > 1, gap, pitch)
    size = int(1.5 / STEP)
    for _ in range(2):
        gap = _windows(gap, size, segment.closed).mean(axis=1)
    near = np.clip(np.searchsorted(even, segment.s), 0, len(even) - 1)
    segment.count = n[near]
    segment.gap = np.interp(segment.s, even, gap)


def _without_dips(n: npt.NDArray[np.intp], least: int) -> npt.NDArray[np.intp]:
    """Lower runs shorter than ``least`` samples between two lower ones to the higher of those."""
    n = n.copy()
    for _ in range(20):
        edges = np.flatnonzero(np.diff(n)) + 1
        starts = np.concatenate(([0], edges))
        stops = np.concatenate((edges, [len(n)]))
        changed = False
        for k in range(1, len(starts) - 1):
            low, high = n[starts[k] - 1], n[stops[k]]
            here = n[starts[k]]
            if stops[k] - starts[k] < least and low < here > high:
                n[starts[k] : stops[k]] = max(low, high)
                changed = True
                break
        if not changed:
            break
    return n


def row_runs(segment: OutlineSegment, k: int, pitch: float) -> tuple[Points, Runs]:
    """Return row k of a segment, 0 on the outline: its points (n, 2), the runs where it stands."""
    if k == 0:
        wide = np.ones(len(segment.points), dtype=np.bool_) if segment.cap else segment.count > 1
        return segment.points, true_runs(wide)

    wanted = (2 * k <= segment.count - 1) | (~segment.valid & (k <= segment.count - 2))
    middle = true_runs(segment.count == 2 * k + 1)
    for low, high in middle:  # a row in the middle starts as early as stones find room there
        reach = EARLY * pitch
        near = (segment.s >= segment.s[low] - reach) & (segment.s <= segment.s[high - 1] + reach)
        wanted |= near & (segment.count == 2 * k)
    wanted &= segment.count > 1
    if not wanted.any():
        return segment.points, []
    offset = np.minimum(k * segment.gap, segment.half)
    line = segment.points + offset[:, None] * segment.inward
    some = np.flatnonzero(wanted)
    least = offset[some] - 0.12 * pitch
    across = shapely.points(line[some])
    near = shapely.dwithin(segment.curve, across, least)  # type: ignore[call-overload] # arrays work
    wanted[some] = ~near
    ahead = np.diff(line, axis=0)
    along = np.diff(segment.points, axis=0)
    forward = (ahead * along).sum(axis=1) > -1e-15
    wanted &= np.concatenate((forward, [True])) & np.concatenate(([True], forward))
    found = true_runs(wanted)
    return line, [(a, b) for a, b in found if segment.s[b - 1] - segment.s[a] > SHORT_ROW * pitch]


def true_runs(flags: Flags) -> Runs:
    """Return the runs of True as (start, stop)."""
    edge = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]
