"""The sides of a stroke, carried straight across the junctions where narrower ones butt there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

from .outline_segments import STEP, OutlineSegment
from .thin_strokes import ThinStroke

#: The junction of a stroke too thin for two rows is narrower than this, in pitches.
THIN = 1.05
#: Thin junctions lie on both sides of a stem when they are nearer than so many pitches, and the
#: line between them is upright within this.
STEM, OPPOSITE = 4.0, 0.2
#: The outline goes on beyond a junction when it is aside by less than this, in pitches, and turns
#: by less than the angle with this cosine.
ASIDE, ON = 0.1, 0.995


@dataclass(frozen=True, eq=False)
class Junction:
    """Where a stroke butts against the side of another: the side goes on in another segment.

    ``before`` and ``after``: the numbers of the segments; ``step`` (2, 2): from one to the other.
    """

    before: int
    after: int
    step: Points


def carried_across_junctions(
    segments: list[OutlineSegment], room: BaseGeometry, strokes: list[ThinStroke], pitch: float
) -> tuple[list[OutlineSegment], BaseGeometry]:
    """Return segments that cross the junctions of butting strokes, and the steps across.

    A segment that ends at the junction of another stroke goes on in the segment beyond it, or else,
    if the stroke is thin, to the outline opposite, so that a stem keeps its rows where a bar, a
    hairline or a serif leaves it; but not where one of the ``strokes`` runs right across.
    """
    across = shapely.MultiLineString([each.line for each in strokes if each.across])
    found = _junctions(segments, across, pitch)
    steps = [junction.step for junction in found]
    ahead = {junction.before: junction.after for junction in found}
    inner = set(ahead.values())
    done: set[int] = set()
    merged = []
    for start in [k for k in range(len(segments)) if k not in inner] + sorted(inner):
        chain = [start]
        while (k := ahead.get(chain[-1], start)) != start:
            chain.append(k)
        if start not in done:
            ring = len(chain) > 1 and ahead.get(chain[-1]) == start
            merged.append(_joined([segments[k] for k in chain], ring, pitch))
        done |= set(chain)
    whole = []
    for segment in merged:
        for end in (0, -1):
            step = _opposite(segment, end, segments, room, pitch)
            if step is not None and not across.intersects(LineString(step)):
                steps.append(step)
                segment = _prolonged(segment, end, step, pitch)
        whole.append(segment)
    return whole, shapely.MultiLineString(list(steps))


def _ends_at_junction(segment: OutlineSegment, end: int) -> bool:
    """Tell whether a segment of rows ends in a notch beyond which the outline leaves it."""
    return (
        not segment.cap and not segment.closed and segment.turns[end] < 0 and segment.count[end] > 1
    )


def _beyond_is_thin(segments: list[OutlineSegment], segment: OutlineSegment, end: int) -> bool:
    """Tell whether the outline beyond the end of a segment belongs to a thin stroke."""
    other = -1 if end == 0 else 0
    return any(
        not beyond.cap
        and beyond.count[other] == 1
        and bool((beyond.points[other] == segment.points[end]).all())
        for beyond in segments
    )


def _way(line: Points) -> Points:
    step = line[-1] - line[0]
    way: Points = step / max(float(np.hypot(*step)), 1e-300)
    return way


def _junctions(
    segments: list[OutlineSegment], across: BaseGeometry, pitch: float
) -> list[Junction]:
    """Return the junctions beyond which a segment goes straight on in another.

    A junction no wider than the stroke whose side it interrupts is crossed, but not where two thin
    ones lie opposite: there the corners keep both rows of a stem in step.
    """
    found: list[Junction] = []
    for i, segment in enumerate(segments):
        if not _ends_at_junction(segment, -1):
            continue
        way = _way(segment.points[-2:])
        for j, onward in enumerate(segments):
            if i == j or not _ends_at_junction(onward, 0):
                continue
            step = onward.points[0] - segment.points[-1]
            along, aside = float(step @ way), float(step[0] * way[1] - step[1] * way[0])
            most = 2 * min(segment.half[-1], onward.half[0])
            if not 0 < along < most or abs(aside) > ASIDE * pitch:
                continue
            crossed = np.stack((segment.points[-1], onward.points[0]))
            if _way(onward.points[:2]) @ way > ON and not across.intersects(LineString(crossed)):
                found.append(Junction(i, j, crossed))
    return [
        one
        for one in found
        if not any(_opposed(one.step, other.step, pitch) for other in found if other is not one)
    ]


def _opposed(one: Points, other: Points, pitch: float) -> bool:
    """Tell whether two steps (2, 2) lie side by side."""
    step = other.mean(axis=0) - one.mean(axis=0)
    away = float(np.hypot(*step))
    return away < STEM * pitch and abs(float(step @ _way(one))) < OPPOSITE * away


def _opposite(
    segment: OutlineSegment,
    end: int,
    segments: list[OutlineSegment],
    room: BaseGeometry,
    pitch: float,
) -> Points | None:
    """Return the step (2, 2) from a segment's end, ahead over a thin junction to the outline."""
    if not _ends_at_junction(segment, end) or not _beyond_is_thin(segments, segment, end):
        return None
    place = segment.points[end]
    way = _way(segment.points[-2:] if end else segment.points[1::-1])
    ray = LineString([place + 1e-6 * pitch * way, place + THIN * pitch * way])
    met = shapely.get_coordinates(shapely.intersection(ray, room.boundary))
    if not len(met):
        return None
    return np.stack((place, met[int(np.hypot(*(met - place).T).argmin())]))


def _crossing(
    step: Points, one: tuple[OutlineSegment, int], other: tuple[OutlineSegment, int], pitch: float
) -> OutlineSegment:
    """Return a segment along a step (2, 2) between the ends of two others."""
    length = float(np.hypot(*(step[1] - step[0])))
    share = np.linspace(0, 1, max(int(length / (STEP * pitch)) + 1, 2))
    way = _way(step)
    (a, i), (b, j) = one, other
    size = len(share)
    return OutlineSegment(
        points=step[0] + share[:, None] * (step[1] - step[0]),
        inward=np.tile([-way[1], way[0]], (size, 1)),
        s=share * length,
        closed=False,
        turns=(0.0, 0.0),
        half=a.half[i] + share * (b.half[j] - a.half[i]),
        valid=np.ones(size, dtype=np.bool_),
        count=np.where(share < 0.5, a.count[i], b.count[j]),
        gap=a.gap[i] + share * (b.gap[j] - a.gap[i]),
        sided=np.zeros(size, dtype=np.bool_),
    )


def _joined(chain: list[OutlineSegment], ring: bool, pitch: float) -> OutlineSegment:
    """Return one segment for those of a chain, with straight steps between them."""
    parts = [chain[0]]
    onward = [*chain[1:], chain[0]] if ring else chain[1:]
    for segment in onward:
        step = np.stack((parts[-1].points[-1], segment.points[0]))
        parts += [_crossing(step, (parts[-1], -1), (segment, 0), pitch), segment]
    return _whole(parts[:-1] if ring else parts, ring)


def _prolonged(segment: OutlineSegment, end: int, step: Points, pitch: float) -> OutlineSegment:
    """Return a segment that goes on along a step (2, 2) from one of its ends."""
    on = _crossing(step if end else step[::-1], (segment, end), (segment, end), pitch)
    return _whole([segment, on] if end else [on, segment], False)


def _whole(parts: list[OutlineSegment], ring: bool) -> OutlineSegment:
    if len(parts) == 1:
        return parts[0]
    starts = np.cumsum([0.0] + [part.length for part in parts[:-1]])

    def all_of(name: str) -> Points:
        values = [getattr(part, name) for part in parts]
        if name == "s":
            values = [value + start for value, start in zip(values, starts, strict=True)]
        # each part begins where the one before it ends
        kept = [values[0]] + [value[1:] for value in values[1:]]
        return np.concatenate(kept)

    return replace(
        parts[0],
        closed=ring,
        turns=(parts[0].turns[0], parts[-1].turns[1]),
        points=all_of("points"),
        inward=all_of("inward"),
        s=all_of("s"),
        half=all_of("half"),
        valid=all_of("valid").astype(np.bool_),
        count=all_of("count").astype(np.intp),
        gap=all_of("gap"),
        sided=all_of("sided").astype(np.bool_),
    )
