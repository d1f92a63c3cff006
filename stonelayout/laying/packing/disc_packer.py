"""Packing one room: press a grid that is too full until it fits; then, for few discs, search.

Pressing: a grid with more discs than can fit is relaxed, so that it fills the room to its outline
from all sides; then the most strained discs are taken out, a few at a time, until none overlap.
Searching: the least strained packing of one disc more is relaxed again and again, each time with
a few of its most strained discs moved to vacancies (after arXiv 2405.16618).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.fill_measures import psi6
from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.relaxation import Trial, relax
from stonelayout.laying.solvers.room_distance import DEEP, Wall
from stonelayout.laying.solvers.voids import Vacancies

from .corner_pinning import at_corners

#: Rounds of pressing, and steps in each.
ROUNDS, STEPS = 40, 50
#: A packing with less strain than NEARLY (E / d^2) is relaxed for WAIT rounds more before discs
#: are taken out, and for as long as a round leaves less than FALLING of its strain.
NEARLY, WAIT, FALLING = 0.02, 4, 0.5
#: Discs taken out in one round stand at least this many pitches apart.
APART = 2.5
#: How many discs are taken out in a round, for each unit of E / d^2, and at most as a share.
SHARE, MOST = 2.0, 0.04
#: Packings that come this close to fitting (E / d^2) are tried again, shaken, by a search.
CLOSE, SHAKES, RETRIES = 1e-4, (0.01, 0.03, 0.06), 4
#: Discs nearer to the wall than AT_WALL pitches are pinned to it once they are drawn there; those
#: at most FLUSH from it are flush.
AT_WALL, FLUSH = 0.12, 0.005
#: Disorder of a grid before it is pressed, in pitches.
DISORDER = 0.02
#: Trials of a search batch, the pool they come from, and discs moved at most.
BATCH, POOL, MOVED = 24, 6, 3


@dataclass(frozen=True, eq=False)
class _Pressed:
    """A packing that is being pressed: rounds waited, and its last strain (E / d^2)."""

    centres: Points
    turns: int = 0
    rest: float = 0.0


class Packer:
    """Packs discs of one pitch into one room: only those between the mirrors are handled."""

    def __init__(self, room: BaseGeometry, pitch: float, mirrors: Mirrors = NONE) -> None:
        self.room, self.pitch, self.mirrors = room, pitch, mirrors
        self.wall = Wall(room, pitch)
        self.vacancies = Vacancies(room, self.wall, pitch)
        self.rng = np.random.default_rng(0)
        self.close: list[Points] = []

    def trial(self, centres: Points, free: npt.NDArray[np.bool_] | None = None) -> Trial:
        """Return a trial in which all discs move, or those free; those on a mirror stay there."""
        free = np.ones(len(centres), dtype=np.bool_) if free is None else free
        return Trial(centres, free, self.mirrors)

    def from_outline(self, centres: Points) -> Points:
        """Return distances (n,) in mm to the room's outline, to a tenth of a pitch."""
        from scipy.spatial import cKDTree

        return np.asarray(cKDTree(self.vacancies.outline).query(centres)[0])

    def count(self, centres: Points) -> int:
        """Return how many discs a packing has, images included."""
        return int(self.mirrors.copies(centres).sum())

    def strain(self, centres: Points) -> Points:
        """Return each disc's overlaps, in pitches, shape (n,)."""
        from scipy.spatial import cKDTree

        pairs = cKDTree(centres).query_pairs(self.pitch, output_type="ndarray")
        length = np.hypot(*(centres[pairs[:, 0]] - centres[pairs[:, 1]]).T)
        short = np.maximum(self.pitch - length, 0)
        n = len(centres)
        total: Points = np.maximum(-self.wall.depth(centres)[0], 0.0)
        total = total + np.bincount(pairs[:, 0], short, n) + np.bincount(pairs[:, 1], short, n)
        heights, on = centres @ self.mirrors.normals.T, self.mirrors.on(centres)
        own = np.where(on, 0.0, np.maximum(self.pitch - 2 * heights, 0.0))
        strain: Points = (total + 2 * own.sum(axis=1)) / self.pitch
        return strain

    def widest(self, centres: Points) -> float:
        """Return the clearance of the widest vacancy in mm, 0 if none is worth the name."""
        everything = self.mirrors.everywhere(centres)
        _, clearance = self.vacancies.find(everything, 0.6 * self.pitch)
        return float(clearance[0]) if len(clearance) else 0.0

    def at_wall(self, centres: Points) -> npt.NDArray[np.bool_]:
        """Tell which discs stand at the wall, or nearly, shape (n,)."""
        return np.asarray(self.wall.depth(centres, deep=True)[0] < AT_WALL * self.pitch)

    def pinned(self, centres: Points, free: npt.NDArray[np.bool_]) -> Trial:
        """Return a trial in which discs near the wall are kept to it, and to its corners."""
        reach = AT_WALL * self.pitch
        centres, loose = at_corners(self.wall, centres, free, self.mirrors, reach)
        return Trial(centres, loose, self.mirrors, free & self.at_wall(centres))

    def off_wall(self, centres: Points) -> tuple[int, int]:
        """Return how many discs are near the wall, and how many of these do not stand at it."""
        depth = self.wall.depth(centres, deep=True)[0] / self.pitch
        return int((depth < DEEP).sum()), int(((depth > FLUSH) & (depth < DEEP)).sum())

    def untidiness(self, centres: Points) -> float:
        """Return what the eye minds: discs that nearly stand at the wall, gaps, disorder.

        Their share of the discs near the wall, the widest gap in pitches, half of 1 - psi6.
        """
        near, off = self.off_wall(centres)
        order = psi6(self.mirrors.everywhere(centres), self.pitch)
        return off / max(1, near) + self.widest(centres) / self.pitch + (1 - order) / 2

    def press(self, starts: Sequence[Points]) -> list[Points]:
        """Press packings that are too full until they fit; return those that do.

        What has fewer discs than one that fits is given up.
        """
        fitting: list[Points] = []
        # a little disorder, so that rows which are a trifle too long can buckle
        pending = [_Pressed(self._shaken(start, DISORDER)) for start in starts if len(start)]
        most = 0
        for _ in range(ROUNDS):
            pending = [one for one in pending if self.count(one.centres) >= most]
            if not pending:
                break
            trials = [self.trial(one.centres) for one in pending]
            results = relax(trials, self.wall, STEPS)
            was, pending = pending, []
            for one, (centres, rest) in zip(was, results, strict=True):
                if rest == 0:
                    fitting.append(centres)
                    most = max(most, self.count(centres))
                elif rest < NEARLY and (one.turns < WAIT or rest < FALLING * one.rest):
                    pending.append(_Pressed(centres, one.turns + 1, rest))
                elif len(centres) > 1:
                    if rest < CLOSE:
                        self.close.append(centres)
                    pending.append(_Pressed(self._thinned(centres, rest)))
        return fitting

    def _thinned(self, centres: Points, rest: float) -> Points:
        strain = self.strain(centres)
        most = max(1, min(round(rest * SHARE), int(MOST * len(centres))))
        drop: list[int] = []
        for i in np.argsort(-strain, kind="stable"):
            if len(drop) == most:
                break
            away = np.hypot(*(centres[drop] - centres[i]).T)
            if not drop or away.min() > APART * self.pitch:
                drop.append(int(i))
        return np.delete(centres, drop, axis=0)

    def search(self, centres: Points, batches: int) -> Points:
        """Try to place one disc more, and one more, until ``batches`` in a row have failed."""
        centres = self._retry(centres)
        failed = 0
        pool: list[tuple[float, Points]] = []
        while failed < batches:
            if not pool:
                starts = [self._added(centres) for _ in range(BATCH // 2)]
                starts += [self._scattered(len(centres) + 1) for _ in range(BATCH - len(starts))]
            else:
                starts = [self._hop(pool[k % len(pool)][1]) for k in range(BATCH)]
            results = relax([self.trial(s) for s in starts], self.wall, 400)
            solved = [x for x, rest in results if rest == 0]
            if solved:
                centres = solved[0]
                pool, failed = [], 0
                continue
            failed += 1
            pool = _best(pool + [(rest, x) for x, rest in results])
        return centres

    def _retry(self, centres: Points) -> Points:
        """Shake the packings that nearly fitted, those with most discs first."""
        close = sorted(self.close, key=self.count, reverse=True)
        for packing in [p for p in close if self.count(p) > self.count(centres)][:RETRIES]:
            shaken = [self._shaken(packing, by) for by in SHAKES for _ in range(BATCH // 6)]
            for found, rest in relax([self.trial(x) for x in shaken], self.wall, 1500):
                if rest == 0 and self.count(found) > self.count(centres):
                    centres = found
        return centres

    def _added(self, centres: Points) -> Points:
        """One more disc, in one of the widest vacancies, and a little disorder."""
        places, _ = self.vacancies.find(centres, 0.4 * self.pitch)
        place = places[self.rng.integers(min(len(places), 8))]
        start = np.concatenate((centres, [place]))
        return self._shaken(start, float(self.rng.choice([0.0, 0.05, 0.15])))

    def _shaken(self, centres: Points, by: float) -> Points:
        return self.mirrors.shaken(centres, by * self.pitch, self.rng)

    def _scattered(self, count: int) -> Points:
        x0, y0, x1, y1 = self.room.bounds
        found = np.empty((0, 2))
        for _ in range(1000):
            points = self.rng.uniform((x0, y0), (x1, y1), (4 * count, 2))
            found = np.concatenate((found, points[shapely.contains_xy(self.room, points)]))
            if len(found) >= count:
                break
        return self.mirrors.folded(found[:count])

    def _hop(self, centres: Points) -> Points:
        """Move a few of the most strained discs to the widest vacancies."""
        strain = self.strain(centres)
        k = int(self.rng.integers(1, MOVED + 1))
        worst = np.argsort(-strain, kind="stable")[: max(k, len(centres) // 8)]
        moved = self.rng.choice(worst, size=min(k, len(worst)), replace=False)
        rest = np.delete(centres, moved, axis=0)
        for _ in moved:
            places, _width = self.vacancies.find(rest, 0.4 * self.pitch)
            if not len(places):
                return self._shaken(centres, 0.1)
            place = places[self.rng.integers(min(len(places), 6))]
            rest = np.concatenate((rest, [place]))
        return rest


def _best(pool: list[tuple[float, Points]]) -> list[tuple[float, Points]]:
    """Keep the least strained packings, no two of the same energy."""
    kept: list[tuple[float, Points]] = []
    for rest, centres in sorted(pool, key=lambda item: item[0]):
        if all(abs(rest - other) > 1e-6 * rest for other, _ in kept):
            kept.append((rest, centres))
        if len(kept) == POOL:
            break
    return kept
