"""Laying one row among the stones that stand: the free stretches, filled with equal chords."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stonelayout.geometry.equal_chords import SHORT, most_equal, split
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

from .occupancy import Occupancy
from .outline_segments import true_runs

#: A stone that blocks a row is part of it when it stands this near to its line, in pitches.
CAPTURE = 0.3
#: Chords are stretched by no more than this where a stone beside the row blocks its end.
EASED = 1.1
#: A stretch of a row within so many pitches of an axis of symmetry runs along it.
ON_AXIS = 0.02
#: Steps along a row when its free stretches are sought, in pitches.
STEP = 0.05


@dataclass(frozen=True, eq=False)
class FreeStretch:
    """A free stretch of a row, from ``start`` to ``stop`` (arc lengths in mm).

    ``first``, ``last``: the stones in its line that block it there, (2,), None at any other end.
    ``aside``: whether a stone beside its line blocks it there.
    """

    start: float
    stop: float
    first: Points | None
    last: Points | None
    aside: tuple[bool, bool] = (False, False)


def free_stretches(occupancy: Occupancy, path: Polyline) -> list[FreeStretch]:
    """Return the stretches of a path where stones could stand, the longest first."""
    if path.length <= 0:
        return []
    count = max(math.ceil(path.length / (STEP * occupancy.pitch)), 2)
    s = np.linspace(0, path.length, count + 1)
    points = path.at(s)
    away, who = occupancy.nearest(points)
    free = (away >= occupancy.pitch) & occupancy.inside(points)
    found = []
    for low, after in true_runs(free):
        high = after - 1
        start, first = float(s[low]), None
        stop, last = float(s[high]), None
        by = low > 0 and bool(away[low - 1] < occupancy.pitch), False
        if low > 0:
            start, first = _end(
                occupancy,
                path,
                float(s[low]),
                float(s[low - 1]),
                int(who[low - 1]),
                by[0],
            )
        if high < count:
            by = by[0], bool(away[high + 1] < occupancy.pitch)
            stop, last = _end(
                occupancy,
                path,
                float(s[high]),
                float(s[high + 1]),
                int(who[high + 1]),
                by[1],
            )
        aside = by[0] and first is None, by[1] and last is None
        found.append(FreeStretch(start, stop, first, last, aside))
    if path.closed and len(found) > 1 and free[0] and free[-1]:
        head, tail = found[0], found[-1]
        aside = tail.aside[0], head.aside[1]
        stop = head.stop + path.length
        found = [*found[1:-1], FreeStretch(tail.start, stop, tail.first, head.last, aside)]
    return sorted(
        found, key=lambda stretch: (round(stretch.start - stretch.stop, 6), stretch.start)
    )


def _end(
    occupancy: Occupancy, path: Polyline, free: float, blocked: float, who: int, by_stone: bool
) -> tuple[float, Points | None]:
    """Find where between a free and a blocked place a row may start; and the stone, if captured."""
    if not by_stone:
        for _ in range(6):
            s = np.linspace(free, blocked, 9)
            last = int(np.argmin(np.append(occupancy.inside(path.at(s)), False))) - 1
            last = max(last, 0)
            free, blocked = float(s[last]), float(s[min(last + 1, 8)])
        return free, None
    place, least = occupancy.place_of(who)
    free = _entry_into_circle(path, place, least * (1 + 1e-11), free, blocked)
    if who < 0:
        return free, None
    reach = 1.2 * occupancy.pitch
    near = np.linspace(free - reach, free + reach, 49)
    if not path.closed:
        near = np.clip(near, 0, path.length)
    if float(np.hypot(*(path.at(near) - place).T).min()) < CAPTURE * occupancy.pitch:
        return free, place
    return free, None


def _entry_into_circle(
    path: Polyline, place: Points, least: float, free: float, blocked: float
) -> float:
    """Return where the path, from a free place on, enters the circle of ``least`` about a place."""
    low, high = sorted((free, blocked))
    base = 0.0
    if path.closed:  # between() starts within the first round
        base = math.floor(low / path.length) * path.length
    part = path.between(low - base, high - base)
    points = part.points - place
    s = low + part.along
    if free > blocked:
        points, s = points[::-1], s[::-1]
    within = points[:, 0] ** 2 + points[:, 1] ** 2 < least**2
    k = int(within.argmax())
    if not within[k] or k == 0:
        return free
    # the first root t in [0, 1] of |a + t u| = least
    (ax, ay), (ux, uy) = points[k - 1].tolist(), (points[k] - points[k - 1]).tolist()
    square, half = ux * ux + uy * uy, ax * ux + ay * uy
    root = max(half * half - square * (ax * ax + ay * ay - least * least), 0.0)
    share = min(max(-(half + math.sqrt(root)) / square, 0.0), 1.0)
    return float(s[k - 1] + share * (s[k] - s[k - 1]))


def stretch_stones(path: Polyline, stretch: FreeStretch, pitch: float) -> Points:
    """Return new stones on a stretch: as many equal chords of ``pitch`` mm or more as fit.

    Where stones beside the row block its ends, they share what the chords exceed the pitch by.
    """
    part = path.between(stretch.start, stretch.stop) if stretch.stop > stretch.start else None
    line = part.points if part is not None else path.at([stretch.start])
    if stretch.first is not None:
        line = np.concatenate((stretch.first[None], line))
    if stretch.last is not None:
        line = np.concatenate((line, stretch.last[None]))
    chain = Polyline.of(line)
    least = pitch * (1 + SHORT)
    places, chord = most_equal(chain, least)
    if len(places) and any(stretch.aside):
        count = len(places) - 1
        held = sum(stretch.aside)
        share = count * (chord - least) / (count + held)
        share = max(share, count * (chord - EASED * least) / held)
        low, high = (share if held else 0.0 for held in stretch.aside)
        nearer = chain.between(low, chain.length - high)
        moved, _ = split(nearer, count, least)
        if len(moved):
            chain, places = nearer, moved
    if len(places):
        stones = chain.at(places)
        low = 0 if stretch.first is None else 1
        high = len(stones) if stretch.last is None else len(stones) - 1
        if high > low:
            return stones[low:high]
        return np.empty((0, 2))
    middle = (stretch.start + stretch.stop) / 2
    return path.at([middle])


def lay_line(
    occupancy: Occupancy, line: Points, closed: bool = False, pitch: float | None = None
) -> int:
    """Lay stones on every free stretch of a row; returns how many.

    ``pitch`` in mm, where stones of the row shall stand further apart than the least pitch.
    """
    pitch = occupancy.pitch if pitch is None else pitch
    path = Polyline.of(line, closed)
    if len(path.points) < 2:
        return 0
    total = 0
    for stretch in free_stretches(occupancy, path):
        probe = path.at(np.arange(stretch.start, stretch.stop + 1e-9, 0.25 * occupancy.pitch))
        if not (occupancy.nearest(probe)[0] >= occupancy.pitch).any():
            continue  # the image of a stretch just laid
        if path.closed and stretch.stop - stretch.start >= path.length * (1 - 1e-9):
            total += occupancy.add(_ring_stones(occupancy, path))
        else:
            for part in _apart_from_images(occupancy, path, stretch):
                stones = stretch_stones(path, part, pitch)
                total += occupancy.add(_exactly_symmetric(occupancy, stones))
    for on_axis in _lines_on_axes(occupancy, path):
        total += lay_line(occupancy, on_axis, pitch=pitch)
    return total


def _lines_on_axes(occupancy: Occupancy, path: Polyline) -> list[Points]:
    """Return the stretches of a row, not the whole, that run along an axis of symmetry."""
    found: list[Points] = []
    if not occupancy.mirrors:
        return found
    count = max(math.ceil(path.length / (STEP * occupancy.pitch)), 2)
    s = np.linspace(0, path.length, count + 1)
    points = path.at(s)
    for normal in occupancy.mirrors.lines:
        on = np.abs(points @ normal) < ON_AXIS * occupancy.pitch
        for low, high in true_runs(on):
            if high - low <= count and s[high - 1] - s[low] > occupancy.pitch:
                found.append(points[low:high])
    return found


def _ring_stones(occupancy: Occupancy, path: Polyline) -> Points:
    """Return stones all round a closed path, from its start, symmetric where the part is."""
    chain = Polyline.of(path.points)  # its ends coincide
    places, _ = most_equal(chain, occupancy.pitch * (1 + SHORT))
    count = len(places) - 1
    order = max(len(occupancy.mirrors.lines), 1)
    if count % order and count > order + 1:
        places, _ = split(chain, count - count % order, occupancy.pitch * (1 + SHORT))
    if len(places) < 3:
        return path.at([0.0])
    return chain.at(places[:-1])


def _along_axis(occupancy: Occupancy, path: Polyline, stretch: FreeStretch, normal: Points) -> bool:
    points = path.at(np.linspace(stretch.start, stretch.stop, 9))
    return bool((np.abs(points @ normal) < 0.1 * occupancy.pitch).all())


def _apart_from_images(
    occupancy: Occupancy, path: Polyline, stretch: FreeStretch
) -> list[FreeStretch]:
    """Cut a stretch where its own mirror image would be too near, unless it is that image."""
    stretches = [stretch]
    for normal in occupancy.mirrors.lines:
        found: list[FreeStretch] = []
        for one in stretches:
            count = max(int((one.stop - one.start) / (STEP * occupancy.pitch)), 2)
            s = np.linspace(one.start, one.stop, count + 1)
            points = path.at(s)
            across = points @ normal
            middle = abs(float(path.at([(one.start + one.stop) / 2])[0] @ normal))
            symmetric = (
                middle < 1e-3 * occupancy.pitch
                and abs(across[0] + across[-1]) < 0.01 * occupancy.pitch
            )
            if symmetric or _along_axis(occupancy, path, one, normal):
                found.append(one)
                continue
            apart = 2 * np.abs(across) >= occupancy.pitch
            for low, after in true_runs(apart):
                high = after - 1
                found.append(
                    FreeStretch(
                        float(s[low]),
                        float(s[high]),
                        one.first if low == 0 else None,
                        one.last if high == count else None,
                        (one.aside[0] and low == 0, one.aside[1] and high == count),
                    )
                )
        stretches = found
    return stretches


def _exactly_symmetric(occupancy: Occupancy, stones: Points) -> Points:
    """Make stones that are their own mirror image, but for rounding, exactly so."""
    for normal in occupancy.mirrors.lines:
        across = (stones @ normal)[:, None] * normal
        if (np.abs(stones @ normal) < 0.1 * occupancy.pitch).all():
            stones = stones - across
        elif len(stones):
            image = (stones - 2 * across)[::-1]
            if np.abs(image - stones).max() < 1e-5 * occupancy.pitch:
                stones = (stones + image) / 2
    return stones
