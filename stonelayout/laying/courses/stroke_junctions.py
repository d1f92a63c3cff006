"""The sides of a stroke, carried straight across the mouths of others that butt there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

from .outline_segments import STEP, Span
from .thin_strokes import Thread

#: The mouth of a stroke too thin for two rows is narrower than this, in pitches.
THIN = 1.05
#: A mouth is crossed when it is no wider than this share of the stroke whose side it interrupts.
SHARE = 1.0
#: Thin mouths lie on both sides of a stem when they are nearer than so many pitches, and the
#: line between them is upright within this.
STEM, OPPOSITE = 4.0, 0.2
#: The outline goes on beyond a mouth when it is aside by less than this, in pitches, and turns
#: by less than the angle with this cosine.
ASIDE, ON = 0.1, 0.995

Mouth = tuple[int, int, Points]


def across_mouths(
    spans: list[Span], room: BaseGeometry, threads: list[Thread], pitch: float
) -> tuple[list[Span], BaseGeometry]:
    """Return spans that cross the mouths of strokes that butt there, and the steps across.

    A span that ends at the mouth of another stroke goes on in the span beyond it, or else, if
    the stroke is thin, to the outline opposite, so that a stem keeps its rows where a bar, a
    hairline or a serif leaves it; but not where one of the ``threads`` runs right across.
    """
    across = shapely.MultiLineString([each.line for each in threads if each.across])
    found = _mouths(spans, across, pitch)
    steps = [step for _, _, step in found]
    ahead = {i: j for i, j, _ in found}
    inner = set(ahead.values())
    done: set[int] = set()
    merged = []
    for start in [k for k in range(len(spans)) if k not in inner] + sorted(inner):
        chain = [start]
        while (k := ahead.get(chain[-1], start)) != start:
            chain.append(k)
        if start not in done:
            ring = len(chain) > 1 and ahead.get(chain[-1]) == start
            merged.append(_joined([spans[k] for k in chain], ring, pitch))
        done |= set(chain)
    whole = []
    for span in merged:
        for end in (0, -1):
            step = _opposite(span, end, spans, room, pitch)
            if step is not None and not across.intersects(LineString(step)):
                steps.append(step)
                span = _prolonged(span, end, step, pitch)
        whole.append(span)
    return whole, shapely.MultiLineString(list(steps))


def _at_mouth(span: Span, end: int) -> bool:
    """Tell whether a span of rows ends in a notch beyond which the outline leaves it."""
    return not span.cap and not span.closed and span.turns[end] < 0 and span.count[end] > 1


def _beyond_is_thin(spans: list[Span], span: Span, end: int) -> bool:
    """Tell whether the outline beyond the end of a span belongs to a thin stroke."""
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


def _mouths(spans: list[Span], across: BaseGeometry, pitch: float) -> list[Mouth]:
    """Return the spans that go on in one another beyond a mouth, and the steps (2, 2) across.

    Not where two thin mouths lie opposite: there the corners keep both rows of a stem in step.
    """
    found: list[Mouth] = []
    for i, span in enumerate(spans):
        if not _at_mouth(span, -1):
            continue
        way = _way(span.points[-2:])
        for j, onward in enumerate(spans):
            if i == j or not _at_mouth(onward, 0):
                continue
            step = onward.points[0] - span.points[-1]
            along, aside = float(step @ way), float(step[0] * way[1] - step[1] * way[0])
            most = SHARE * 2 * min(span.half[-1], onward.half[0])
            if not 0 < along < most or abs(aside) > ASIDE * pitch:
                continue
            crossed = np.stack((span.points[-1], onward.points[0]))
            if _way(onward.points[:2]) @ way > ON and not across.intersects(LineString(crossed)):
                found.append((i, j, crossed))
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


def _opposite(
    span: Span, end: int, spans: list[Span], room: BaseGeometry, pitch: float
) -> Points | None:
    """Return the step (2, 2) from a span's end at a thin mouth straight ahead to the outline."""
    if not _at_mouth(span, end) or not _beyond_is_thin(spans, span, end):
        return None
    place = span.points[end]
    way = _way(span.points[-2:] if end else span.points[1::-1])
    ray = LineString([place + 1e-6 * pitch * way, place + THIN * pitch * way])
    met = shapely.get_coordinates(shapely.intersection(ray, room.boundary))
    if not len(met):
        return None
    return np.stack((place, met[int(np.hypot(*(met - place).T).argmin())]))


def _crossing(step: Points, one: tuple[Span, int], other: tuple[Span, int], pitch: float) -> Span:
    """Return a span along a step (2, 2) between the ends of two others."""
    length = float(np.hypot(*(step[1] - step[0])))
    share = np.linspace(0, 1, max(int(length / (STEP * pitch)) + 1, 2))
    way = _way(step)
    (a, i), (b, j) = one, other
    size = len(share)
    return Span(
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


def _joined(chain: list[Span], ring: bool, pitch: float) -> Span:
    """Return one span for those of a chain, with straight steps between them."""
    parts = [chain[0]]
    onward = [*chain[1:], chain[0]] if ring else chain[1:]
    for span in onward:
        step = np.stack((parts[-1].points[-1], span.points[0]))
        parts += [_crossing(step, (parts[-1], -1), (span, 0), pitch), span]
    return _whole(parts[:-1] if ring else parts, ring)


def _prolonged(span: Span, end: int, step: Points, pitch: float) -> Span:
    """Return a span that goes on along a step (2, 2) from one of its ends."""
    on = _crossing(step if end else step[::-1], (span, end), (span, end), pitch)
    return _whole([span, on] if end else [on, span], False)


def _whole(parts: list[Span], ring: bool) -> Span:
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
