"""Rectangles on a strip: the best-fit heuristic, tried under several preferences.

E. K. Burke, G. Kendall, G. Whitwell, "A new placement heuristic for the orthogonal stock-cutting
problem", Operations Research 52 (2004) 655-671: fill the lowest gap of the skyline with the
rectangle that fits it best; where none fits, raise the gap to its lower neighbour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: A rectangle's sides, in whole units.
Sides = tuple[int, int]
#: Preferences tried in turn; which is best depends on the mix of rectangles.
PREFERENCES = ("wide", "tall", "large", "level", "long", "near")


@dataclass(frozen=True)
class PackedRectangle:
    """Where rectangle ``index`` stands: its left and lower edge; ``turned`` by 90 degrees."""

    index: int
    x: int
    y: int
    turned: bool


def pack_strips(
    sides: Sequence[Sides], width: int, height: int, *, turn: bool = True
) -> list[list[PackedRectangle]]:
    """Pack rectangles into strips of this width and greatest height, using little height in all.

    All lengths are whole units. Every rectangle must fit a strip by itself; ValueError if not.
    """
    fit = [
        [(w, h, t) for w, h, t in _ways(side, turn) if w <= width and h <= height] for side in sides
    ]
    if not all(fit):
        raise ValueError("a rectangle is larger than a strip")
    best: list[list[PackedRectangle]] = []
    best_used = math.inf
    for prefer in PREFERENCES:
        for at_taller in (True, False):
            strips = _strips(fit, width, height, prefer, at_taller)
            used = sum(top(strip, sides) for strip in strips)
            if used < best_used:
                best, best_used = strips, used
    return best


def top(strip: Sequence[PackedRectangle], sides: Sequence[Sides]) -> int:
    """Return the height that the rectangles of a strip reach."""
    return max(
        (s.y + (sides[s.index][0] if s.turned else sides[s.index][1]) for s in strip), default=0
    )


def _ways(side: Sides, turn: bool) -> list[tuple[int, int, bool]]:
    w, h = side
    return [(w, h, False), (h, w, True)] if turn and w != h else [(w, h, False)]


def _strips(
    fit: Sequence[Sequence[tuple[int, int, bool]]],
    width: int,
    height: int,
    prefer: str,
    at_taller: bool,
) -> list[list[PackedRectangle]]:
    # Equal rectangles are one kind: a gap is matched against kinds, not against every copy.
    kinds: dict[tuple[tuple[int, int, bool], ...], list[int]] = {}
    for index in range(len(fit) - 1, -1, -1):
        kinds.setdefault(tuple(fit[index]), []).append(index)
    ordered = dict(sorted(kinds.items()))
    strips = []
    while any(ordered.values()):
        # Each strip takes one rectangle at least: all fit by themselves.
        strips.append(_fill(ordered, width, height, prefer, at_taller))
    return strips


def _fill(
    kinds: dict[tuple[tuple[int, int, bool], ...], list[int]],
    width: int,
    height: int,
    prefer: str,
    at_taller: bool,
) -> list[PackedRectangle]:
    """Fill one strip from the kinds, taking out what was placed. ``skyline``: [x, y, width]."""
    skyline = [[0, 0, width]]
    strip: list[PackedRectangle] = []
    while True:
        k = min(range(len(skyline)), key=lambda i: (skyline[i][1], skyline[i][0]))
        x, y, gap = skyline[k]
        left = skyline[k - 1][1] if k else math.inf
        right = skyline[k + 1][1] if k + 1 < len(skyline) else math.inf
        depth = min(left, right) - y
        fits = [
            (_rate(prefer, w, h, gap, depth), w, h, turned, copies)
            for ways, copies in kinds.items()
            if copies
            for w, h, turned in ways
            if w <= gap and y + h <= height
        ]
        if not fits:
            if math.isinf(depth):
                return strip
            skyline[k][1] = int(y + depth)
        else:
            _, w, h, turned, copies = max(fits, key=lambda one: one[0])
            at_left = left >= right or not at_taller
            strip.append(PackedRectangle(copies.pop(), x if at_left else x + gap - w, y, turned))
            rest = [[x + w, y, gap - w]] if at_left else [[x, y, gap - w]]
            placed = [[strip[-1].x, y + h, w]]
            new = placed + rest if at_left else rest + placed
            skyline[k : k + 1] = [part for part in new if part[2]]
        skyline = _levelled(skyline)


def _rate(prefer: str, w: int, h: int, gap: int, depth: float) -> tuple[float, ...]:
    """Rate a fit, the higher the better: sides of the rectangle, width and depth of the gap."""
    match prefer:
        case "wide":
            return w == gap, w, h
        case "tall":
            return w == gap, h, w
        case "large":
            return w * h, w
        case "level":
            return w == gap, h == depth, w, h
        case "long":
            return w == gap, max(w, h), w
        case _:
            return w == gap, -abs(h - depth) if math.isfinite(depth) else 0, w


def _levelled(skyline: list[list[int]]) -> list[list[int]]:
    """Join neighbours of one height."""
    joined: list[list[int]] = []
    for x, y, width in skyline:
        if joined and joined[-1][1] == y:
            joined[-1][2] += width
        else:
            joined.append([x, y, width])
    return joined
