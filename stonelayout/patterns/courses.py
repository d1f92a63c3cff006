"""The pattern `courses`: rows parallel to the outline that fit the local width."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.artwork import Points
from stonelayout.regions import inset_mitred

from .base import Ask, Laid
from .parts import Part, fill_parts, inset, mirrored, polygons
from .pieces import lay_line
from .saturate import saturate
from .spans import Corner, Span, centre_lines, row_runs, runs, spans_of
from .standing import Standing

#: Distances are compared with this slack, relative, well inside neighbours.ROUNDING: rows that
#: stand exactly a pitch apart must not be refused because of a last digit.
SLACK = 2e-10
#: Centres are kept this much further inside than asked, in mm, where a region is made symmetric.
SNAP_MM = 1e-6
#: Arcs of an inset are chords; the room for single stones is inset by this share more.
CHORDS = 1.2e-5
#: Rounding of places on the outline of a room, in mm.
EDGE_MM = 4e-10
#: A stone stands on the outline's row within this share of a pitch.
ON_ROW = 0.02
#: Rows further apart than this, in pitches, are staggered.
STAGGER = 1.22
#: Rows copy the outline's places while their chords stay below this many pitches.
COPY_STRETCH = 1.10


def lay_courses(ask: Ask) -> Laid:
    """Lay rows parallel to the outline, evenly spaced over the local width, then fill up.

    Uses the first size and the option ``margin`` (mm). Stones keep their pitch, and their
    distance from obstacles; centres lie at least D / 2 + margin inside the region.
    """
    return fill_parts(ask, fill_courses)


def fill_courses(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
    """Fill one part with rows (patterns.parts.Fill)."""
    spec = part.sizes[0]
    least = spec.diameter / 2 + float(part.options.get("margin", 0.0))
    room = symmetric_room(part, least)
    if room.is_empty and part.room.is_empty:
        return np.empty((0, 2)), np.empty(0, dtype=np.intp)
    wide = inset(part.outline, least * (1 + CHORDS))
    edge = shapely.buffer(room, EDGE_MM, join_style="mitre", mitre_limit=1.5)
    both = wide
    for axis in (0, 1):
        if part.mirrors[axis]:
            both = shapely.intersection(both, mirrored(both, axis))
    standing = Standing(
        shapely.union(edge, both),
        spec.pitch * (1 - SLACK),
        part.mirrors,
        part.obstacles,
        part.distance[:, 0] if len(part.obstacles) else np.empty(0),
    )
    for piece in polygons(room):
        lay_rows(standing, piece)
    saturate(standing)
    if any(part.mirrors):  # what is left fits once, not in pairs
        standing.let_go(shapely.union(edge, wide))
        saturate(standing)
    return standing.centres, np.zeros(len(standing.centres), dtype=np.intp)


def symmetric_room(part: Part, least: float) -> BaseGeometry:
    """Return the room for centres, notches kept sharp, exactly symmetric where the part is."""
    off = [
        shapely.hausdorff_distance(part.outline, mirrored(part.outline, axis)) if like else 0.0
        for axis, like in zip((0, 1), part.mirrors, strict=True)
    ]
    near = max(off) < EDGE_MM
    room = inset_mitred(part.outline, least if near else least + SNAP_MM)
    for axis in (0, 1):
        if part.mirrors[axis] and not room.is_empty:
            if not near:
                room = shapely.intersection(room, mirrored(room, axis))
                room = shapely.simplify(room, SNAP_MM / 2)
            x0, y0, x1, y1 = room.bounds
            low = (0.0, y0 - 1) if axis == 0 else (x0 - 1, 0.0)
            kept = shapely.intersection(room, shapely.box(*low, x1 + 1, y1 + 1))
            room = shapely.union(kept, mirrored(kept, axis))
    return room


def lay_rows(standing: Standing, room: BaseGeometry) -> None:
    """Lay corner stones, then the rows of all spans: outermost rows first, longest spans first."""
    pitch = standing.pitch
    spans, corners = spans_of(room, pitch)
    order = sorted(range(len(spans)), key=lambda k: (-round(spans[k].length, 5), k))
    lay_corners(standing, [c for c in corners if not _thin_at(spans, c)])
    for j in order:
        for line, _, closed in centre_lines(spans[j], pitch):
            lay_line(standing, line, closed)
    deepest = max((int(span.count.max()) for span in spans), default=1)
    for k in range(deepest):
        for j in order:
            span = spans[j]
            line, where = row_runs(span, k, pitch)
            if k and where:
                copy_across(standing, span, line, where, k)
            for low, high in where:
                whole = span.closed and high - low == len(line)
                lay_line(standing, line[low:high], whole)


def _thin_at(spans: list[Span], corner: Corner) -> bool:
    """Tell whether a corner ends a span that is too thin there for two rows."""
    return any(
        not span.cap
        and span.count[end] == 1
        and np.hypot(*(span.points[end] - corner.place)) < 1e-9
        for span in spans
        for end in (0, -1)
    )


def copy_across(
    standing: Standing, span: Span, line: Points, where: list[tuple[int, int]], k: int
) -> None:
    """Lay row k beside the stones of the outline's row, or between them where rows stand apart."""
    pitch = standing.pitch
    outline = shapely.linestrings(span.points)
    stones = standing.centres
    near = shapely.distance(shapely.points(stones), outline) < ON_ROW * pitch
    s = np.sort(shapely.line_locate_point(outline, shapely.points(stones[near])))
    if len(s) < 3:
        return
    wide = np.interp(s, span.s, span.gap) > STAGGER * pitch
    if k % 2 and wide.mean() > 0.5:
        s = (s[1:] + s[:-1]) / 2
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


def lay_corners(standing: Standing, corners: list[Corner]) -> None:
    """Lay stones on corners, convex ones first, the sharpest first."""
    for corner in sorted(corners, key=lambda c: (c.turn < 0, -round(abs(c.turn), 6))):
        place = standing.snapped(corner.place[None], 1e-7)
        standing.add(place)
