"""Search for one disc more, of one size and few: relax, perturb, relax again.

The least strained packings of one disc more are relaxed again and again, each time with a few of
their most strained discs moved to voids (after arXiv 2405.16618).
"""

from __future__ import annotations

import numpy as np
import shapely

from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import relax

from .disc_packer import Packer

#: Packings that nearly fitted are shaken by these pitches, so many of them, each SHAKEN times.
SHAKES, RETRIES, SHAKEN = (0.01, 0.03, 0.06), 4, 4
#: Trials of a batch, the pool they come from, and discs moved at most.
BATCH, POOL, MOVED = 24, 6, 3
#: Steps of a relaxation: of trials, and of those that nearly fitted.
STEPS, LONG = 400, 1500
#: A disc is put into one of so many of the widest voids of at least this many pitches.
CHOICE, LEAST = (8, 6), 0.4


def search(packer: Packer, mix: Mix, batches: int) -> Mix:
    """Try to place one disc more, and one more, until ``batches`` in a row have failed."""
    mix = _retry(packer, mix)
    failed = 0
    pool: list[tuple[float, Mix]] = []
    while failed < batches:
        if pool:
            starts = [_hop(packer, pool[k % len(pool)][1]) for k in range(BATCH)]
        else:
            starts = [_added(packer, mix) for _ in range(BATCH // 2)]
            starts += [_scattered(packer, len(mix) + 1) for _ in range(BATCH - len(starts))]
        results = relax([packer.trial(start) for start in starts], packer.wall, STEPS)
        found = [(rest, Mix.of(centres)) for centres, rest in results]
        solved = [one for rest, one in found if rest == 0]
        if solved:
            mix, pool, failed = solved[0], [], 0
            continue
        failed += 1
        pool = _best(pool + found)
    return mix


def _retry(packer: Packer, mix: Mix) -> Mix:
    """Shake the packings that nearly fitted, those with most discs first."""
    close = sorted(packer.close, key=packer.count, reverse=True)
    for packing in [p for p in close if packer.count(p) > packer.count(mix)][:RETRIES]:
        shaken = [packer.shaken(packing, by) for by in SHAKES for _ in range(SHAKEN)]
        for found, rest in relax([packer.trial(one) for one in shaken], packer.wall, LONG):
            if rest == 0 and packer.count(Mix.of(found)) > packer.count(mix):
                mix = Mix.of(found)
    return mix


def _added(packer: Packer, mix: Mix) -> Mix:
    """One more disc, in one of the widest voids, and a little disorder."""
    more = mix.with_more(_void(packer, mix, CHOICE[0]))
    return packer.shaken(more, float(packer.rng.choice([0.0, 0.05, 0.15])))


def _scattered(packer: Packer, count: int) -> Mix:
    room = packer.rooms[0]
    x0, y0, x1, y1 = room.bounds
    found = np.empty((0, 2))
    for _ in range(1000):
        points = packer.rng.uniform((x0, y0), (x1, y1), (4 * count, 2))
        found = np.concatenate((found, points[shapely.contains_xy(room, points)]))
        if len(found) >= count:
            break
    return Mix.of(packer.mirrors.folded(found[:count]))


def _hop(packer: Packer, mix: Mix) -> Mix:
    """Move a few of the most strained discs to the widest voids."""
    strain = packer.strain(mix)
    k = int(packer.rng.integers(1, MOVED + 1))
    worst = np.argsort(-strain, kind="stable")[: max(k, len(mix) // 8)]
    moved = packer.rng.choice(worst, size=min(k, len(worst)), replace=False)
    rest = Mix.of(np.delete(mix.centres, moved, axis=0))
    for _ in moved:
        place = _void(packer, rest, CHOICE[1])
        if not len(place):
            return packer.shaken(mix, 0.1)
        rest = rest.with_more(place)
    return rest


def _void(packer: Packer, mix: Mix, choice: int) -> Points:
    """Return one of the widest voids, shape (1, 2), or none, (0, 2)."""
    places, _ = packer.voids.find(mix, LEAST * packer.pitch)
    if not len(places):
        return places
    one = packer.rng.integers(min(len(places), choice))
    return places[one : one + 1]


def _best(pool: list[tuple[float, Mix]]) -> list[tuple[float, Mix]]:
    """Keep the least strained packings, no two of the same energy."""
    kept: list[tuple[float, Mix]] = []
    for rest, mix in sorted(pool, key=lambda item: item[0]):
        if all(abs(rest - other) > 1e-6 * rest for other, _ in kept):
            kept.append((rest, mix))
        if len(kept) == POOL:
            break
    return kept
