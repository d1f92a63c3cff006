"""Laying one row among the stones that stand: the free stretches, filled with equal chords."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stonelayout.geometry.equal_chords import SHORT, most_equal, split
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

from .occupancy import Standing

#: A stone that blocks a row is part of it when it stands this near to its line, in pitches.
CAPTURE = 0.3
#: Chords are stretched by no more than this where a stone beside the row holds it up.
EASED = 1.1
#: A stretch of a row within so many pitches of an axis of symmetry runs along it.
ON_AXIS = 0.02
#: Steps along a row when its free stretches are sought, in pitches.
STEP = 0.05


@dataclass(frozen=True, eq=False)
class Piece:
    """A free stretch of a row, from ``start`` to ``stop`` (arc lengths in mm).

    ``first``, ``last``: the stones in its line that block it there, (2,), None at any other end.
    ``aside``: whether a stone beside its line blocks it there.
    """

    start: float
    stop: float
    first: Points | None
    last: Points | None
    aside: tuple[bool, bool] = (False, False)


def free_pieces(standing: Standing, path: Polyline) -> list[Piece]:
    """Return the stretches of a path where stones could stand, the longest first."""
    if path.length <= 0:
        return []
    count = max(math.ceil(path.length / (STEP * standing.pitch)), 2)
    s = np.linspace(0, path.length, count + 1)
    points = path.at(s)
    away, who = standing.nearest(points)
    free = (away >= standing.pitch) & standing.inside(points)
    edge = np.flatnonzero(np.diff(np.concatenate(([False], free, [False])).astype(np.int8)))
    found = []
    for low, high in zip(edge[::2], edge[1::2] - 1, strict=True):
        start, first = float(s[low]), None
        stop, last = float(s[high]), None
        by = low > 0 and bool(away[low - 1] < standing.pitch), False
        if low > 0:
            start, first = _end(
                standing,
                path,
                float(s[low]),
                float(s[low - 1]),
                int(who[low - 1]),
                by[0],
            )
        if high < count:
            by = by[0], bool(away[high + 1] < standing.pitch)
            stop, last = _end(
                standing,
                path,
                float(s[high]),
                float(s[high + 1]),
                int(who[high + 1]),
                by[1],
            )
        aside = by[0] and first is None, by[1] and last is None
        found.append(Piece(start, stop, first, last, aside))
    if path.closed and len(found) > 1 and free[0] and free[-1]:
        head, tail = found[0], found[-1]
        aside = tail.aside[0], head.aside[1]
        stop = head.stop + path.length
        found = [*found[1:-1], Piece(tail.start, stop, tail.first, head.last, aside)]
    return sorted(found, key=lambda piece: (round(piece.start - piece.stop, 6), piece.start))


def _end(
    standing: Standing, path: Polyline, free: float, blocked: float, who: int, by_stone: bool
) -> tuple[float, Points | None]:
    """Find where between a free and a blocked place a row may start; and the stone, if captured."""
    if not by_stone:
        for _ in range(6):
            s = np.linspace(free, blocked, 9)
            last = int(np.argmin(np.append(standing.inside(path.at(s)), False))) - 1
            last = max(last, 0)
            free, blocked = float(s[last]), float(s[min(last + 1, 8)])
        return free, None
    place, least = standing.place_of(who)
    free = _leaving(path, place, least * (1 + 1e-11), free, blocked)
    if who < 0:
        return free, None
    reach = 1.2 * standing.pitch
    near = np.linspace(free - reach, free + reach, 49)
    if not path.closed:
        near = np.clip(near, 0, path.length)
    if float(np.hypot(*(path.at(near) - place).T).min()) < CAPTURE * standing.pitch:
        return free, place
    return free, None


def _leaving(path: Polyline, place: Points, least: float, free: float, blocked: float) -> float:
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


def piece_stones(path: Polyline, piece: Piece, pitch: float) -> Points:
    """Return new stones on a piece: as many equal chords of ``pitch`` mm or more as fit.

    Where stones beside the row hold it up, what the chords exceed the pitch is shared with them.
    """
    part = path.between(piece.start, piece.stop) if piece.stop > piece.start else None
    line = part.points if part is not None else path.at([piece.start])
    if piece.first is not None:
        line = np.concatenate((piece.first[None], line))
    if piece.last is not None:
        line = np.concatenate((line, piece.last[None]))
    chain = Polyline.of(line)
    least = pitch * (1 + SHORT)
    places, chord = most_equal(chain, least)
    if len(places) and any(piece.aside):
        count = len(places) - 1
        held = sum(piece.aside)
        share = count * (chord - least) / (count + held)
        share = max(share, count * (chord - EASED * least) / held)
        low, high = (share if held else 0.0 for held in piece.aside)
        nearer = chain.between(low, chain.length - high)
        moved, _ = split(nearer, count, least)
        if len(moved):
            chain, places = nearer, moved
    if len(places):
        stones = chain.at(places)
        low = 0 if piece.first is None else 1
        high = len(stones) if piece.last is None else len(stones) - 1
        if high > low:
            return stones[low:high]
        return np.empty((0, 2))
    middle = (piece.start + piece.stop) / 2
    return path.at([middle])


def lay_line(
    standing: Standing, line: Points, closed: bool = False, pitch: float | None = None
) -> int:
    """Lay stones on every free stretch of a row; returns how many.

    ``pitch`` in mm, where stones of the row shall stand further apart than the least pitch.
    """
    pitch = standing.pitch if pitch is None else pitch
    path = Polyline.of(line, closed)
    if len(path.points) < 2:
        return 0
    total = 0
    for piece in free_pieces(standing, path):
        probe = path.at(np.arange(piece.start, piece.stop + 1e-9, 0.25 * standing.pitch))
        if not (standing.nearest(probe)[0] >= standing.pitch).any():
            continue  # the image of a piece just laid
        if path.closed and piece.stop - piece.start >= path.length * (1 - 1e-9):
            total += standing.add(_ring_stones(standing, path))
        else:
            for part in _apart_from_images(standing, path, piece):
                stones = piece_stones(path, part, pitch)
                total += standing.add(_evened(standing, stones))
    for stretch in _stretches_on_axes(standing, path):
        total += lay_line(standing, stretch, pitch=pitch)
    return total


def _stretches_on_axes(standing: Standing, path: Polyline) -> list[Points]:
    """Return the stretches of a row, not the whole, that run along an axis of symmetry."""
    found: list[Points] = []
    if not standing.mirrors:
        return found
    count = max(math.ceil(path.length / (STEP * standing.pitch)), 2)
    s = np.linspace(0, path.length, count + 1)
    points = path.at(s)
    for normal in standing.mirrors.lines:
        on = np.abs(points @ normal) < ON_AXIS * standing.pitch
        edge = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
        for low, high in zip(edge[::2], edge[1::2] - 1, strict=True):
            if high - low < count and s[high] - s[low] > standing.pitch:
                found.append(points[low : high + 1])
    return found


def _ring_stones(standing: Standing, path: Polyline) -> Points:
    """Return stones all round a closed path, from its start, symmetric where the part is."""
    chain = Polyline.of(path.points)  # its ends coincide
    places, _ = most_equal(chain, standing.pitch * (1 + SHORT))
    count = len(places) - 1
    order = max(len(standing.mirrors.lines), 1)
    if count % order and count > order + 1:
        places, _ = split(chain, count - count % order, standing.pitch * (1 + SHORT))
    if len(places) < 3:
        return path.at([0.0])
    return chain.at(places[:-1])


def _along_axis(standing: Standing, path: Polyline, piece: Piece, normal: Points) -> bool:
    points = path.at(np.linspace(piece.start, piece.stop, 9))
    return bool((np.abs(points @ normal) < 0.1 * standing.pitch).all())


def _apart_from_images(standing: Standing, path: Polyline, piece: Piece) -> list[Piece]:
    """Cut a piece where its own mirror image would be too near, unless it is that image."""
    pieces = [piece]
    for normal in standing.mirrors.lines:
        found: list[Piece] = []
        for one in pieces:
            count = max(int((one.stop - one.start) / (STEP * standing.pitch)), 2)
            s = np.linspace(one.start, one.stop, count + 1)
            points = path.at(s)
            across = points @ normal
            middle = abs(float(path.at([(one.start + one.stop) / 2])[0] @ normal))
            symmetric = (
                middle < 1e-3 * standing.pitch
                and abs(across[0] + across[-1]) < 0.01 * standing.pitch
            )
            if symmetric or _along_axis(standing, path, one, normal):
                found.append(one)
                continue
            apart = 2 * np.abs(across) >= standing.pitch
            edge = np.flatnonzero(
                np.diff(np.concatenate(([False], apart, [False])).astype(np.int8))
            )
            for low, high in zip(edge[::2], edge[1::2] - 1, strict=True):
                found.append(
                    Piece(
                        float(s[low]),
                        float(s[high]),
                        one.first if low == 0 else None,
                        one.last if high == count else None,
                        (one.aside[0] and low == 0, one.aside[1] and high == count),
                    )
                )
        pieces = found
    return pieces


def _evened(standing: Standing, stones: Points) -> Points:
    """Make stones that are their own mirror image, but for rounding, exactly so."""
    for normal in standing.mirrors.lines:
        across = (stones @ normal)[:, None] * normal
        if (np.abs(stones @ normal) < 0.1 * standing.pitch).all():
            stones = stones - across
        elif len(stones):
            image = (stones - 2 * across)[::-1]
            if np.abs(image - stones).max() < 1e-5 * standing.pitch:
                stones = (stones + image) / 2
    return stones
