"""Shorter tours: 2-opt and Or-opt with neighbour lists, and kicks; plain loops for a compiler.

A tour is an array of nodes, in place; the last node index, n, stands at no distance from all
others, so that the closed tour is an open path through the n points. All changes are reversals of
a stretch given by position and length, each of which undoes itself.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

#: A change must shorten the path by this in mm, or rounding could loop for ever.
LEAST_GAIN = 1e-9
#: Improving rounds over all nodes stop here; a run of 20,000 nodes takes far fewer.
MOST_STEPS = 50_000_000


def _gap(i: int, j: int, xs: Any, ys: Any) -> float:
    if i == len(xs) or j == len(xs):
        return 0.0
    dx, dy = xs[i] - xs[j], ys[i] - ys[j]
    return float((dx * dx + dy * dy) ** 0.5)


def _reverse(tour: Any, pos: Any, start: int, length: int) -> None:
    size = len(tour)
    i, j = start % size, (start + length - 1) % size
    for _ in range(length // 2):
        a, b = tour[i], tour[j]
        tour[i], tour[j] = b, a
        pos[b], pos[a] = i, j
        i = i + 1 if i + 1 < size else 0
        j = j - 1 if j > 0 else size - 1


def _two_opt(tour: Any, pos: Any, near: Any, xs: Any, ys: Any, a: int, log: Any) -> float:
    """Try to replace an edge at a; returns the gain and logs the reversal made."""
    size = len(tour)
    for side in (1, -1):
        next_a = tour[(pos[a] + side) % size]
        edge = _gap(a, next_a, xs, ys)
        for c in near[a]:
            first = edge - _gap(a, c, xs, ys)
            if first <= LEAST_GAIN:
                break
            next_c = tour[(pos[c] + side) % size]
            gain: float = first + _gap(c, next_c, xs, ys) - _gap(next_a, next_c, xs, ys)
            if gain > LEAST_GAIN and c != next_a and next_c != a:
                # With side 1: a [next_a .. c] next_c; with side -1: next_c [c .. next_a] a.
                low, high = (pos[next_a], pos[c]) if side == 1 else (pos[c], pos[next_a])
                length = (high - low) % size + 1
                if 2 * length > size:
                    low, length = (high + 1) % size, size - length
                _reverse(tour, pos, low, length)
                log[0, 0], log[0, 1] = low, length
                log[3, 0] = 1
                log[4, 0], log[4, 1], log[5, 0], log[5, 1] = a, next_a, c, next_c
                return gain
    return 0.0


def _swap(tour: Any, pos: Any, start: int, first: int, second: int, flip: int, log: Any) -> None:
    """Exchange two stretches that follow each other; flip 1 or 2 leaves that one reversed.

    Both are reversed as one, then each by itself.
    """
    size = len(tour)
    count = 0
    _reverse(tour, pos, start, first + second)
    log[count, 0], log[count, 1] = start % size, first + second
    count += 1
    if flip != 2:
        _reverse(tour, pos, start, second)
        log[count, 0], log[count, 1] = start % size, second
        count += 1
    if flip != 1:
        _reverse(tour, pos, start + second, first)
        log[count, 0], log[count, 1] = (start + second) % size, first
        count += 1
    log[3, 0] = count


def _or_opt(tour: Any, pos: Any, near: Any, xs: Any, ys: Any, a: int, log: Any) -> float:
    """Try to move one to three nodes that begin at a beside one of its neighbours."""
    size = len(tour)
    for side in (1, -1):
        for length in (1, 2, 3):
            if size < length + 3:
                continue
            # The segment runs from a (its head) away from c, against `side`'s direction.
            tail = tour[(pos[a] + side * (length - 1)) % size]
            before = tour[(pos[a] - side) % size]
            after = tour[(pos[tail] + side) % size]
            removed = (
                _gap(before, a, xs, ys) + _gap(tail, after, xs, ys) - _gap(before, after, xs, ys)
            )
            if removed <= LEAST_GAIN:
                continue
            for c in near[a]:
                reach = _gap(a, c, xs, ys)
                if reach >= removed - LEAST_GAIN:
                    break
                if side * (pos[c] - pos[a]) % size < length:
                    continue  # c is in the segment
                for other_side in (1, -1):
                    e = tour[(pos[c] + other_side) % size]
                    if side * (pos[e] - pos[a]) % size < length:
                        continue  # the edge c-e is one that is removed
                    gain: float = removed - reach - _gap(tail, e, xs, ys) + _gap(c, e, xs, ys)
                    if gain <= LEAST_GAIN:
                        continue
                    # Forward view: the segment occupies [low, low + length).
                    low = pos[a] if side == 1 else pos[tail]
                    head_first = side == 1
                    # The edge (left, right) in forward order receives the segment.
                    left = pos[c] if other_side == 1 else pos[e]
                    c_left = other_side == 1
                    ahead = (left - (low + length - 1)) % size
                    behind = size - length - ahead
                    # a must end beside c: reversed when head and c are on unlike sides.
                    keep = head_first == c_left
                    if ahead <= behind:
                        _swap(tour, pos, low, length, ahead, 0 if keep else 1, log)
                    else:
                        _swap(tour, pos, low - behind, behind, length, 0 if keep else 2, log)
                    log[4, 0], log[4, 1], log[5, 0], log[5, 1] = before, after, c, e
                    log[6, 0], log[6, 1] = a, tail
                    return gain
    return 0.0


def _settle(
    tour: Any,
    pos: Any,
    near: Any,
    xs: Any,
    ys: Any,
    queue: Any,
    queued: Any,
    count: int,
    history: Any,
    log: Any,
) -> tuple[float, int]:
    """Improve about the queued nodes until none is left; returns the gain and log length."""
    size, points = len(queue), len(xs)
    first, made, total = 0, 0, 0.0
    steps = 0
    while count > 0 and steps < MOST_STEPS:
        steps += 1
        a = queue[first]
        first = first + 1 if first + 1 < size else 0
        count -= 1
        queued[a] = 0
        while True:
            log[6, 0] = log[6, 1] = a
            gain = _two_opt(tour, pos, near, xs, ys, a, log)
            if gain == 0.0:
                gain = _or_opt(tour, pos, near, xs, ys, a, log)
            if gain == 0.0:
                break
            total += gain
            for k in range(log[3, 0]):
                if made < len(history):
                    history[made, 0], history[made, 1] = log[k, 0], log[k, 1]
                made += 1
            for k in range(4, 7):
                for side in (0, 1):
                    node = log[k, side]
                    if node < points and queued[node] == 0 and node != a:
                        queued[node] = 1
                        queue[(first + count) % size] = node
                        count += 1
    return total, made


def _queue_all(tour: Any, points: int, queue: Any, queued: Any) -> int:
    count = 0
    for node in tour:
        if node != points:
            queue[count] = node
            queued[node] = 1
            count += 1
    return count


def search(tour: Any, near: Any, xs: Any, ys: Any, kicks: int, longest: int, enough: float) -> None:
    """Shorten the tour in place: settle all, then keep each kick that shortens it.

    Stops when the path is no longer than ``enough``.
    """
    size, points = len(tour), len(xs)
    pos = np.empty(size, dtype=np.int64)
    for k in range(size):
        pos[tour[k]] = k
    log = np.zeros((7, 2), dtype=np.int64)
    history = np.zeros((100_000, 2), dtype=np.int64)
    queue = np.zeros(points + 1, dtype=np.int64)
    queued = np.zeros(size, dtype=np.int64)
    count = _queue_all(tour, points, queue, queued)
    _settle(tour, pos, near, xs, ys, queue, queued, count, history, log)
    if size < 8:
        return
    room = -enough
    for k in range(size):
        room += _gap(tour[k], tour[(k + 1) % size], xs, ys)
    state = 12345
    longest = min(longest, (size - 2) // 2)
    for _ in range(kicks):
        if room <= 0.0:
            return
        state = (state * 1103515245 + 12345) % 2147483648
        start = (state // 8) % size
        state = (state * 1103515245 + 12345) % 2147483648
        one = 1 + (state // 65536) % longest
        state = (state * 1103515245 + 12345) % 2147483648
        two = 1 + (state // 65536) % longest
        p, q = tour[(start - 1) % size], tour[start]
        r, s = tour[(start + one - 1) % size], tour[(start + one) % size]
        t, u = tour[(start + one + two - 1) % size], tour[(start + one + two) % size]
        cost = (
            _gap(p, s, xs, ys)
            + _gap(t, q, xs, ys)
            + _gap(r, u, xs, ys)
            - _gap(p, q, xs, ys)
            - _gap(r, s, xs, ys)
            - _gap(t, u, xs, ys)
        )
        _swap(tour, pos, start, one, two, 0, log)
        kick = log[:3].copy()
        count = 0
        for node in (p, q, r, s, t, u):
            if node < points and queued[node] == 0:
                queued[node] = 1
                queue[count] = node
                count += 1
        gain, made = _settle(tour, pos, near, xs, ys, queue, queued, count, history, log)
        if gain < cost + LEAST_GAIN and made <= len(history):
            for k in range(made - 1, -1, -1):
                _reverse(tour, pos, history[k, 0], history[k, 1])
            for k in range(2, -1, -1):
                _reverse(tour, pos, kick[k, 0], kick[k, 1])
        else:
            room -= gain - cost


@cache
def compiled_search() -> Callable[..., None] | None:
    """Return ``search`` compiled by numba, kept on disk; None without the optional extra."""
    try:
        from numba import njit
        from numba.extending import register_jitable
    except ImportError:
        return None
    for part in (_gap, _reverse, _two_opt, _swap, _or_opt, _settle, _queue_all):
        register_jitable(part)
    found: Callable[..., None] = njit(cache=True)(search)
    return found
