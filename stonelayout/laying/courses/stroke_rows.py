"""Rows along the limbs of a shape: its strokes, each with as many rows as its width takes."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

from .occupancy import Standing
from .outline_segments import Corner, Span, row_runs, runs
from .row_fill import CAPTURE, lay_line
from .stroke_junctions import across_mouths
from .thin_strokes import Thread, threads_of

#: A stone stands on the outline's row within this share of a pitch.
ON_ROW = 0.02
#: Rows copy the outline's places while their chords stay below this many pitches.
COPY_STRETCH = 1.10
#: A gap along a row wider than this, in pitches, is a hole; so much less of it is better.
WIDE, HOLE = 1.3, 0.1
#: Between two rows at least this far apart, in pitches, a third stands in their gaps, where the
#: stroke bends by less than this over its own width, in radians.
QUINCUNX, QUINCUNX_BEND = 1.6, 0.05
#: That stroke's half width varies by less than this, in pitches.
QUINCUNX_TAPER = 0.06
#: A thread is drawn out as far as the outline, and a little beyond, if that is within ACROSS
#: pitches, else by BUTT pitches.
ACROSS, BEYOND, BUTT = 2.2, 1e-3, 0.5
#: A thread ends at a mouth when it is within so many pitches of it.
NEAR_MOUTH = 0.6
#: Rows that turn round a notch meet as if it turned by no more than this, in radians.
NOTCH = 2.0
#: Two ends face each other across a joint at most so many pitches long, when they are aside by
#: less than so many, and the cosine between their directions is less than this.
CROSSING, ASIDE, FACING = 4.0, 0.25, -0.97
#: The width is measured along this share of such a stretch, not only carried through joints.
MEASURED = 0.6
#: Rows this far apart, in pitches, get a stone where they turn at a corner; nearer ones form a
#: grid there.
MITRE = 1.15


def lay_limbs(
    standing: Standing, room: BaseGeometry, spans: list[Span], corners: list[Corner]
) -> None:
    """Lay corner stones, then the rows of all spans: outermost rows first, longest spans first."""
    pitch = standing.pitch
    order = longest_first(spans)
    threads = [each for j in order for each in threads_of(spans[j], pitch)]
    met = facing(threads, pitch)
    thin = [drawn_out(room, pitch, each, met[k]) for k, each in enumerate(threads)]
    cornered = [c for c in corners if not _thin_at(spans, c)]
    spans, mouths = across_mouths(spans, room, thin, pitch)
    order = longest_first(spans)
    thin = [held_up(each, mouths, pitch) for each in thin]
    lay_corners(standing, [c for c in cornered if not at_mouth(c, mouths)])
    lay_threads(standing, thin, True)
    for j in order:
        lay_quincunx(standing, room, spans[j])
    for j in order:
        lay_runs(standing, spans[j], *row_runs(spans[j], 0, pitch))
    lay_threads(standing, thin, False)
    outer = [on_row(standing, span) for span in spans]
    deepest = max((int(span.count.max()) for span in spans), default=1)
    for k in range(1, deepest):
        lay_mitres(standing, spans, k)
        for j in order:
            lay_inner(standing, spans[j], outer[j], *row_runs(spans[j], k, pitch))


def longest_first(spans: list[Span]) -> list[int]:
    """Return the order in which spans are laid."""
    return sorted(range(len(spans)), key=lambda k: (-round(spans[k].length, 5), k))


def at_mouth(corner: Corner, mouths: BaseGeometry) -> bool:
    """Tell whether a corner is an end of a step across a mouth."""
    return bool(shapely.dwithin(mouths, shapely.points(corner.place), 1e-6))


def lay_inner(
    standing: Standing, span: Span, s: Points, line: Points, where: list[tuple[int, int]]
) -> None:
    """Lay an inner row in step with the outline's row, unless that tears holes in it."""
    if not where:
        return
    before = len(standing.centres)
    copy_across(standing, span, s, line, where)
    lay_runs(standing, span, line, where)
    torn = holes(standing, line, where)
    if torn > 0 and len(standing.centres) > before:
        copied = standing.take_back(before)
        lay_runs(standing, span, line, where)
        if holes(standing, line, where) > torn - HOLE:
            standing.take_back(before)
            standing.put(copied)


def facing(threads: list[Thread], pitch: float) -> Points:
    """Return how far the ends of threads are from others that face them beyond a joint, in mm.

    Shape (k, 2); inf where no straight end within CROSSING pitches faces an end.
    """
    found = np.full((len(threads), 2), np.inf)
    ends = [
        (k, e, thread.line[-e], thread.ways[e])
        for k, thread in enumerate(threads)
        for e in (0, 1)
        if not thread.closed and thread.straight[e]
    ]
    for (k, e, place, way), (other, f, there, back) in combinations(ends, 2):
        step = there - place
        along = float(step @ way)
        aside = abs(float(step[0] * way[1] - step[1] * way[0]))
        if 0 < along < CROSSING * pitch and aside < ASIDE * pitch and way @ back < FACING:
            found[k, e] = min(found[k, e], along)
            found[other, f] = min(found[other, f], along)
    return found


def drawn_out(room: BaseGeometry, pitch: float, thread: Thread, met: Points) -> Thread:
    """Draw the open ends of a thread out straight, to the outline if it is straight and near.

    One whose ends both reach the outline, or the ends ``met`` (2,) mm beyond a joint, runs
    through what it meets there.
    """
    if thread.closed:
        return thread
    ends = []
    across = True
    places = thread.line[0], thread.line[-1]
    for end, way, straight, other in zip(places, thread.ways, thread.straight, met, strict=True):
        ray = shapely.linestrings([end, end + ACROSS * pitch * way])
        rim = shapely.intersection(ray, room.boundary)
        reach = BUTT * pitch
        if np.isfinite(other):
            reach = float(other)
        elif rim.is_empty or not straight:
            across = False
        else:
            reach = float(shapely.distance(shapely.points(end), rim)) + BEYOND * pitch
        ends.append(end + way * reach)
    line = np.concatenate((ends[0][None], thread.line, ends[1][None]))
    return replace(thread, line=line, through=thread.through or across, across=across)


def held_up(thread: Thread, mouths: BaseGeometry, pitch: float) -> Thread:
    """Let a thread butt where it ends at a mouth that the rows of another stroke cross."""
    ends = shapely.points(thread.line[[0, -1]])
    at_mouth = bool(shapely.dwithin(mouths, ends, NEAR_MOUTH * pitch).any())
    return replace(thread, through=False) if at_mouth and not thread.across else thread


def lay_threads(standing: Standing, threads: list[Thread], through: bool) -> None:
    """Lay the rows of thin strokes: those that run through joints, or those that butt there."""
    for thread in threads:
        if thread.through == through:
            lay_line(standing, thread.line, thread.closed)


def _thin_at(spans: list[Span], corner: Corner) -> bool:
    """Tell whether a corner ends a span that is too thin there for two rows."""
    return any(
        not span.cap
        and span.count[end] == 1
        and np.hypot(*(span.points[end] - corner.place)) < 1e-9
        for span in spans
        for end in (0, -1)
    )


def lay_runs(standing: Standing, span: Span, line: Points, where: list[tuple[int, int]]) -> None:
    """Lay a row of a span on the runs where it stands."""
    for low, high in where:
        part = line[low:high]
        if low == 0:
            part = np.concatenate((_round_notch(span, line, 0), part))
        if high == len(line):
            part = np.concatenate((part, _round_notch(span, line, -1)))
        lay_line(standing, part, span.closed and high - low == len(line))


def _round_notch(span: Span, line: Points, end: int) -> Points:
    """Return where a row that turns round a notch at the end of a span meets its mitre, (1, 2).

    (0, 2) at any other end.
    """
    inner = line[end] - span.points[end]
    away = float(np.hypot(*inner))
    if span.closed or span.turns[end] >= 0 or away == 0:
        return line[:0]
    ahead = np.array([inner[1], -inner[0]]) * (1 if end else -1)
    met: Points = line[end] + ahead * math.tan(min(-span.turns[end], NOTCH) / 2)
    return met[None]


def holes(standing: Standing, line: Points, where: list[tuple[int, int]]) -> float:
    """Return by how many pitches in all the gaps along a row are wider than they should be."""
    pitch = standing.pitch
    total = 0.0
    for low, high in where:
        part = line[low:high]
        s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(part, axis=0).T))))
        away, who = standing.nearest(part)
        near = away < CAPTURE * pitch
        order = np.lexsort((away[near], who[near]))
        _, first = np.unique(who[near][order], return_index=True)
        gaps = np.diff(np.sort(s[near][order][first])) / pitch
        total += float(np.maximum(gaps - WIDE, 0).sum())
    return total


def copy_across(
    standing: Standing, span: Span, s: Points, line: Points, where: list[tuple[int, int]]
) -> None:
    """Lay a row beside the outline's row, whose stones stand at ``s``, where both run alike."""
    pitch = standing.pitch
    if len(s) < 3:
        return
    at = np.column_stack([np.interp(s, span.s, line[:, axis]) for axis in (0, 1)])
    usable = np.zeros(len(s), dtype=np.bool_)
    for low, high in where:
        usable |= (s >= span.s[low] - 1e-9) & (s <= span.s[high - 1] + 1e-9)
    usable &= standing.nearest(at)[0] >= pitch
    chord = np.hypot(*np.diff(at, axis=0).T)
    linked = usable[1:] & usable[:-1] & (chord >= pitch) & (chord <= COPY_STRETCH * pitch)
    for low, high in runs(linked):
        if high - low >= 2:
            standing.add(at[low : high + 1])


def on_row(standing: Standing, span: Span) -> Points:
    """Return the arc lengths in mm along a span of the stones on the outline, rising."""
    pitch, stones = standing.pitch, standing.centres
    if not len(stones):
        return np.empty(0)
    away, k = span.tree.query(stones, distance_upper_bound=0.1 * pitch)
    near = np.isfinite(away)
    stones, k = stones[near], np.atleast_1d(np.asarray(k, dtype=np.intp))[near]
    best, at = np.full(len(stones), np.inf), np.zeros(len(stones))
    for first in (np.maximum(k - 1, 0), np.minimum(k, len(span.points) - 2)):
        start = span.points[first]
        side = span.points[first + 1] - start
        share = ((stones - start) * side).sum(axis=1) / np.maximum((side**2).sum(axis=1), 1e-300)
        share = np.clip(share, 0, 1)
        off = np.hypot(*(stones - start - share[:, None] * side).T)
        nearer = off < best
        best = np.where(nearer, off, best)
        at = np.where(nearer, span.s[first] + share * (span.s[first + 1] - span.s[first]), at)
    found: Points = np.sort(at[best < ON_ROW * pitch])
    return found


def lay_corners(standing: Standing, corners: list[Corner]) -> None:
    """Lay stones on corners, convex ones first, the sharpest first."""
    for corner in sorted(corners, key=lambda c: (c.turn < 0, -round(abs(c.turn), 6))):
        place = standing.snapped(corner.place[None], 1e-7)
        standing.add(place)


def lay_quincunx(standing: Standing, room: BaseGeometry, span: Span) -> None:
    """Lay both edges in step, and a row in their gaps, where two rows would stand far apart."""
    pitch = standing.pitch
    bend = span.bend(pitch) * 2 * span.half
    wanted = (span.count == 2) & (2 * span.half >= QUINCUNX * pitch) & (bend < QUINCUNX_BEND)
    for low, high in runs(wanted):
        long = span.s[high - 1] - span.s[low] >= 3 * pitch
        if not long or span.valid[low:high].mean() < MEASURED:
            continue
        half = float(span.half[low:high].min())
        if float(span.half[low:high].max()) - half > QUINCUNX_TAPER * pitch:
            continue
        apart = 2 * np.sqrt(max(pitch**2 - half**2, 0.0))
        apart = max(apart * (1 + 1e-9), pitch) * (1 + float(bend[low:high].max()) / 2)
        lay_line(standing, span.points[low:high], pitch=apart)
        s = on_row(standing, span)
        s = s[(s >= span.s[low] - pitch) & (s <= span.s[high - 1] + pitch)]
        if len(s) < 3:
            continue
        across = _beside(span, s, 2.0)
        foot = shapely.shortest_line(shapely.points(across), room.boundary)
        feet = shapely.get_coordinates(foot)[1::2]
        near = np.hypot(*(feet - across).T) < 0.1 * pitch
        standing.add(feet[near])
        step = np.diff(s)
        gaps = (s[1:] + s[:-1])[step < 1.6 * pitch] / 2
        standing.add(_beside(span, gaps, 1.0))


def _beside(span: Span, s: Points, times: float) -> Points:
    """Return the places beside arc lengths s, so many half widths inside."""
    line = span.points + times * span.half[:, None] * span.inward
    return np.column_stack([np.interp(s, span.s, line[:, axis]) for axis in (0, 1)])


def lay_mitres(standing: Standing, spans: list[Span], k: int) -> None:
    """Lay stones where row k turns round a convex corner, if rows stand well apart there."""
    pitch = standing.pitch
    starts = {span.points[0].tobytes(): span for span in spans}
    for first in spans:
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
        standing.add((first.points[-1] + corner)[None])
