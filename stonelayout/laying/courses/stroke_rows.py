"""Rows along the strokes of a shape, each with as many as its width takes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

from .occupancy import Occupancy
from .outline_corners import OutlineCorner
from .outline_segments import OutlineSegment, Runs, row_runs, true_runs
from .row_fill import CAPTURE, lay_line
from .stroke_junctions import carried_across_junctions
from .thin_strokes import ThinStroke, thin_strokes_of


@dataclass(frozen=True)
class Quincunx:
    """Where a third row stands in the gaps of two, as the middle one of five points.

    The two are at least ``apart`` pitches from each other, the stroke bends by less than ``bend``
    radians over its own width, its half width varies by less than ``taper`` pitches, and it was
    measured, not only carried through junctions, along a share ``measured`` of the stretch.
    """

    apart: float
    bend: float
    taper: float
    measured: float


@dataclass(frozen=True)
class FacingEnds:
    """Which ends of thin strokes face each other across a junction.

    It is at most ``reach`` pitches long, the ends are ``aside`` by less than so many pitches, and
    the cosine between their directions is less than ``opposed``.
    """

    reach: float
    aside: float
    opposed: float


@dataclass(frozen=True)
class Extension:
    """How far thin strokes are extended at their ends, in pitches.

    As far as the outline and ``beyond`` if that is within ``across``, else by ``butt``.
    """

    across: float
    beyond: float
    butt: float


#: A stone stands on the outline's row within this share of a pitch.
ON_ROW = 0.02
#: Rows copy the outline's places while their chords stay below this many pitches.
COPY_STRETCH = 1.10
#: What gaps along a row exceed this by, in pitches, counts against it (``excess_gaps``); a row laid
#: anew is better than a copied one by this much or more. With none, inner rows of serif letters
#: leave the step of the outline's row for hardly smaller gaps.
WIDE, BETTER = 1.3, 0.1
#: Tuned by eye, as all numbers here, on letters and crossings (benchmarks/gallery.py).
QUINCUNX = Quincunx(apart=1.6, bend=0.05, taper=0.06, measured=0.6)
FACING = FacingEnds(reach=4.0, aside=0.25, opposed=-0.97)
EXTENSION = Extension(across=2.2, beyond=1e-3, butt=0.5)
#: A thin stroke ends at a junction when it is within so many pitches of it.
NEAR_JUNCTION = 0.6
#: Rows that turn round a notch meet as if it turned by no more than this, in radians.
NOTCH = 2.0
#: Rows this far apart, in pitches, get a stone where they turn at a corner; nearer ones form a
#: grid there.
MITRE = 1.15


def lay_stroke_rows(
    occupancy: Occupancy,
    room: BaseGeometry,
    segments: list[OutlineSegment],
    corners: list[OutlineCorner],
) -> None:
    """Lay corner stones, then the rows of all segments: outer rows and long segments first."""
    pitch = occupancy.pitch
    order = longest_first(segments)
    strokes = [each for j in order for each in thin_strokes_of(segments[j], pitch)]
    met = gaps_across_junctions(strokes, pitch)
    thin = [extended(room, pitch, each, met[k]) for k, each in enumerate(strokes)]
    cornered = [c for c in corners if not _thin_at(segments, c)]
    segments, junctions = carried_across_junctions(segments, room, thin, pitch)
    order = longest_first(segments)
    thin = [butted(each, junctions, pitch) for each in thin]
    lay_corners(occupancy, [c for c in cornered if not at_junction(c, junctions)])
    lay_thin_strokes(occupancy, thin, True)
    for j in order:
        lay_quincunx(occupancy, room, segments[j])
    for j in order:
        lay_row(occupancy, segments[j], *row_runs(segments[j], 0, pitch))
    lay_thin_strokes(occupancy, thin, False)
    outer = [places_on_outline(occupancy, segment) for segment in segments]
    deepest = max((int(segment.count.max()) for segment in segments), default=1)
    for k in range(1, deepest):
        lay_mitre_stones(occupancy, segments, k)
        for j in order:
            lay_inner(occupancy, segments[j], outer[j], *row_runs(segments[j], k, pitch))


def longest_first(segments: list[OutlineSegment]) -> list[int]:
    """Return the order in which segments are laid."""
    return sorted(range(len(segments)), key=lambda k: (-round(segments[k].length, 5), k))


def at_junction(corner: OutlineCorner, junctions: BaseGeometry) -> bool:
    """Tell whether a corner is an end of a step across a junction."""
    return bool(shapely.dwithin(junctions, shapely.points(corner.place), 1e-6))


def lay_inner(
    occupancy: Occupancy,
    segment: OutlineSegment,
    s: Points,
    line: Points,
    where: Runs,
) -> None:
    """Lay an inner row in step with the outline's row, unless that leaves wider gaps in it."""
    if not where:
        return
    before = len(occupancy.centres)
    copy_outline_row(occupancy, segment, s, line, where)
    lay_row(occupancy, segment, line, where)
    excess = excess_gaps(occupancy, line, where)
    if excess > 0 and len(occupancy.centres) > before:
        copied = occupancy.remove_after(before)
        lay_row(occupancy, segment, line, where)
        if excess_gaps(occupancy, line, where) > excess - BETTER:
            occupancy.remove_after(before)
            occupancy.put(copied)


def gaps_across_junctions(strokes: list[ThinStroke], pitch: float) -> Points:
    """Return how far the ends of strokes are from others that face them across a junction, in mm.

    Shape (k, 2); inf where no straight end within FACING.reach pitches faces an end.
    """
    found = np.full((len(strokes), 2), np.inf)
    ends = [
        (k, e, stroke.line[-e], stroke.ways[e])
        for k, stroke in enumerate(strokes)
        for e in (0, 1)
        if not stroke.closed and stroke.straight[e]
    ]
    for (k, e, place, way), (other, f, there, back) in combinations(ends, 2):
        step = there - place
        along = float(step @ way)
        aside = abs(float(step[0] * way[1] - step[1] * way[0]))
        if (
            0 < along < FACING.reach * pitch
            and aside < FACING.aside * pitch
            and way @ back < FACING.opposed
        ):
            found[k, e] = min(found[k, e], along)
            found[other, f] = min(found[other, f], along)
    return found


def extended(room: BaseGeometry, pitch: float, stroke: ThinStroke, met: Points) -> ThinStroke:
    """Extend a thin stroke at its open ends, to the outline if it is straight and that is near.

    One whose ends both reach the outline, or the ends ``met`` (2,) mm across a junction, runs
    through what it meets there.
    """
    if stroke.closed:
        return stroke
    ends = []
    across = True
    places = stroke.line[0], stroke.line[-1]
    for end, way, straight, other in zip(places, stroke.ways, stroke.straight, met, strict=True):
        ray = shapely.linestrings([end, end + EXTENSION.across * pitch * way])
        rim = shapely.intersection(ray, room.boundary)
        reach = EXTENSION.butt * pitch
        if np.isfinite(other):
            reach = float(other)
        elif rim.is_empty or not straight:
            across = False
        else:
            reach = float(shapely.distance(shapely.points(end), rim)) + EXTENSION.beyond * pitch
        ends.append(end + way * reach)
    line = np.concatenate((ends[0][None], stroke.line, ends[1][None]))
    return replace(stroke, line=line, through=stroke.through or across, across=across)


def butted(stroke: ThinStroke, junctions: BaseGeometry, pitch: float) -> ThinStroke:
    """Let a thin stroke butt where it ends at a junction that the rows of another stroke cross."""
    ends = shapely.points(stroke.line[[0, -1]])
    at_junction = bool(shapely.dwithin(junctions, ends, NEAR_JUNCTION * pitch).any())
    return replace(stroke, through=False) if at_junction and not stroke.across else stroke


def lay_thin_strokes(occupancy: Occupancy, strokes: list[ThinStroke], through: bool) -> None:
    """Lay the rows of thin strokes: those that run through junctions, or those that butt there."""
    for stroke in strokes:
        if stroke.through == through:
            lay_line(occupancy, stroke.line, stroke.closed)


def _thin_at(segments: list[OutlineSegment], corner: OutlineCorner) -> bool:
    """Tell whether a corner ends a segment that is too thin there for two rows."""
    return any(
        not segment.cap
        and segment.count[end] == 1
        and np.hypot(*(segment.points[end] - corner.place)) < 1e-9
        for segment in segments
        for end in (0, -1)
    )


def lay_row(occupancy: Occupancy, segment: OutlineSegment, line: Points, where: Runs) -> None:
    """Lay a row of a segment on the runs where it stands."""
    for low, high in where:
        part = line[low:high]
        if low == 0:
            part = np.concatenate((_round_notch(segment, line, 0), part))
        if high == len(line):
            part = np.concatenate((part, _round_notch(segment, line, -1)))
        lay_line(occupancy, part, segment.closed and high - low == len(line))


def _round_notch(segment: OutlineSegment, line: Points, end: int) -> Points:
    """Return where a row that turns round a notch at the end of a segment meets its mitre, (1, 2).

    (0, 2) at any other end.
    """
    inner = line[end] - segment.points[end]
    away = float(np.hypot(*inner))
    if segment.closed or segment.turns[end] >= 0 or away == 0:
        return line[:0]
    ahead = np.array([inner[1], -inner[0]]) * (1 if end else -1)
    met: Points = line[end] + ahead * math.tan(min(-segment.turns[end], NOTCH) / 2)
    return met[None]


def excess_gaps(occupancy: Occupancy, line: Points, where: Runs) -> float:
    """Return by how many pitches in all the gaps along a row are wider than they should be."""
    pitch = occupancy.pitch
    total = 0.0
    for low, high in where:
        part = line[low:high]
        s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(part, axis=0).T))))
        away, who = occupancy.nearest(part)
        near = away < CAPTURE * pitch
        order = np.lexsort((away[near], who[near]))
        _, first = np.unique(who[near][order], return_index=True)
        gaps = np.diff(np.sort(s[near][order][first])) / pitch
        total += float(np.maximum(gaps - WIDE, 0).sum())
    return total


def copy_outline_row(
    occupancy: Occupancy,
    segment: OutlineSegment,
    s: Points,
    line: Points,
    where: Runs,
) -> None:
    """Lay a row beside the outline's row, whose stones stand at ``s``, where both run alike."""
    pitch = occupancy.pitch
    if len(s) < 3:
        return
    at = segment.beside(line, s)
    usable = np.zeros(len(s), dtype=np.bool_)
    for low, high in where:
        usable |= (s >= segment.s[low] - 1e-9) & (s <= segment.s[high - 1] + 1e-9)
    usable &= occupancy.nearest(at)[0] >= pitch
    chord = np.hypot(*np.diff(at, axis=0).T)
    linked = usable[1:] & usable[:-1] & (chord >= pitch) & (chord <= COPY_STRETCH * pitch)
    for low, high in true_runs(linked):
        if high - low >= 2:
            occupancy.add(at[low : high + 1])


def places_on_outline(occupancy: Occupancy, segment: OutlineSegment) -> Points:
    """Return the arc lengths in mm along a segment of the stones on the outline, rising."""
    pitch, stones = occupancy.pitch, occupancy.centres
    if not len(stones):
        return np.empty(0)
    away, k = segment.tree.query(stones, distance_upper_bound=0.1 * pitch)
    near = np.isfinite(away)
    stones, k = stones[near], np.atleast_1d(np.asarray(k, dtype=np.intp))[near]
    best, at = np.full(len(stones), np.inf), np.zeros(len(stones))
    for first in (np.maximum(k - 1, 0), np.minimum(k, len(segment.points) - 2)):
        start = segment.points[first]
        side = segment.points[first + 1] - start
        share = ((stones - start) * side).sum(axis=1) / np.maximum((side**2).sum(axis=1), 1e-300)
        share = np.clip(share, 0, 1)
        off = np.hypot(*(stones - start - share[:, None] * side).T)
        nearer = off < best
        best = np.where(nearer, off, best)
        at = np.where(
            nearer, segment.s[first] + share * (segment.s[first + 1] - segment.s[first]), at
        )
    found: Points = np.sort(at[best < ON_ROW * pitch])
    return found


def lay_corners(occupancy: Occupancy, corners: list[OutlineCorner]) -> None:
    """Lay stones on corners, convex ones first, the sharpest first."""
    for corner in sorted(corners, key=lambda c: (c.turn < 0, -round(abs(c.turn), 6))):
        place = occupancy.moved_to_mirrors(corner.place[None], 1e-7)
        occupancy.add(place)


def lay_quincunx(occupancy: Occupancy, room: BaseGeometry, segment: OutlineSegment) -> None:
    """Lay both edges in step, and a row in their gaps, where two rows would stand far apart."""
    pitch = occupancy.pitch
    bend = segment.bend(pitch) * 2 * segment.half
    wanted = (
        (segment.count == 2) & (2 * segment.half >= QUINCUNX.apart * pitch) & (bend < QUINCUNX.bend)
    )
    for low, high in true_runs(wanted):
        long = segment.s[high - 1] - segment.s[low] >= 3 * pitch
        if not long or segment.valid[low:high].mean() < QUINCUNX.measured:
            continue
        half = float(segment.half[low:high].min())
        if float(segment.half[low:high].max()) - half > QUINCUNX.taper * pitch:
            continue
        apart = 2 * np.sqrt(max(pitch**2 - half**2, 0.0))
        apart = max(apart * (1 + 1e-9), pitch) * (1 + float(bend[low:high].max()) / 2)
        lay_line(occupancy, segment.points[low:high], pitch=apart)
        s = places_on_outline(occupancy, segment)
        s = s[(s >= segment.s[low] - pitch) & (s <= segment.s[high - 1] + pitch)]
        if len(s) < 3:
            continue
        across = _beside(segment, s, 2.0)
        foot = shapely.shortest_line(shapely.points(across), room.boundary)
        feet = shapely.get_coordinates(foot)[1::2]
        near = np.hypot(*(feet - across).T) < 0.1 * pitch
        occupancy.add(feet[near])
        step = np.diff(s)
        gaps = (s[1:] + s[:-1])[step < 1.6 * pitch] / 2
        occupancy.add(_beside(segment, gaps, 1.0))


def _beside(segment: OutlineSegment, s: Points, times: float) -> Points:
    """Return the places beside arc lengths s, so many half widths inside."""
    return segment.beside(segment.points + times * segment.half[:, None] * segment.inward, s)


def lay_mitre_stones(occupancy: Occupancy, segments: list[OutlineSegment], k: int) -> None:
    """Lay stones where row k turns round a convex corner, if rows stand well apart there."""
    pitch = occupancy.pitch
    starts = {segment.points[0].tobytes(): segment for segment in segments}
    for first in segments:
        second = starts.get(first.points[-1].tobytes())
        if second is None or first.closed or first.cap or second.cap or first.turns[1] <= 0:
            continue
        gaps = first.gap[-1], second.gap[0]
        if min(gaps) < MITRE * pitch or 2 * k > min(first.count[-1], second.count[0]) - 1:
            continue
        one, two = first.inward[-1], second.inward[0]
        if abs(one[0] * two[1] - one[1] * two[0]) < 0.5:
            continue
        # the place k gaps[0] from the first side and k gaps[1] from the second
        corner = np.linalg.solve(np.stack((one, two)), k * np.array(gaps))
        occupancy.add((first.points[-1] + corner)[None])
