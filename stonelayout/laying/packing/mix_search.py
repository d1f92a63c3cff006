"""Local growth of a mix of sizes: a disc more in a vacancy a little too small, or a larger disc.

And smaller discs that stand inside, or alone, trade places with larger ones at the edge. Many
windows are relaxed at once, each as a trial of its own; of those solved, the ones that do
not overlap are taken, those that gain most cover first (as `insertion` does for one size).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.relaxation import Trial, relax
from stonelayout.laying.solvers.room_distance import DEEP, Sizes

from .mix_packer import BESIDE, Mix, Mixture

#: Radius of a window in pitches of the largest size; discs up to RIM beyond hold still around it.
WINDOW, RIM = 3.5, 1.2
#: A vacancy may be too small for a disc by this share of the distances it would keep.
TIGHT = 0.16
#: A smaller disc trades places with a larger one so many pitches away, and is tried with so many.
TRADE, PARTNERS = 2.6, 2
#: Places tried are this far apart, in pitches of the size tried.
APART = 0.5
#: A place within this many pitches of a mirror is tried on it.
ON_MIRROR = 0.3
#: Windows relaxed together.
TOGETHER = 48
#: Step of the samples along the rooms' outlines, in pitches.
STEP = 0.1


@dataclass(frozen=True, eq=False)
class _Wish:
    """A disc of ``size`` at ``place``: a new one, or disc number ``grown`` made larger.

    Disc number ``shrunk`` takes the size that ``grown`` had (``was``) then.
    """

    place: Points
    size: int
    grown: int | None
    gain: float
    was: int = 0
    shrunk: int | None = None


class Grower:
    """Grows a mix, one sweep after another, and remembers where it failed."""

    def __init__(self, mixture: Mixture, steps: int, tries: int) -> None:
        self.mixture, self.steps, self.tries = mixture, steps, tries
        self.rng = np.random.default_rng(0)
        self.failed: dict[tuple[int, ...], int] = {}
        lines = [
            shapely.segmentize(shapely.boundary(room), STEP * mixture.pitch)
            for room in mixture.rooms
        ]
        self._rims = [self._between(shapely.get_coordinates(line)) for line in lines]

    def _between(self, places: Points) -> Points:
        heights = places @ self.mixture.mirrors.normals.T
        return places[(heights > -1e-9).all(axis=1)]

    def sweep(self, mix: Mix, *, grow: bool = True) -> tuple[Mix, int]:
        """Try all vacancies, to ``grow`` each disc, and trades, once.

        Return what came of it, and how often something did.
        """
        mix, done = self._fulfilled(
            mix, self._vacancies(mix) + (self._growing(mix) if grow else [])
        )
        mix, traded = self.trade(mix)
        return mix, done + traded

    def trade(self, mix: Mix) -> tuple[Mix, int]:
        """Try trades of places; return what came of it, and how many were made."""
        return self._fulfilled(mix, self._trading(mix))

    def _fulfilled(self, mix: Mix, wishes: list[_Wish]) -> tuple[Mix, int]:
        wishes = [w for w in wishes if self.failed.get(self._key(w, mix), 0) < self.tries]
        wishes.sort(key=lambda wish: -wish.gain)
        done = 0
        for begin in range(0, len(wishes), TOGETHER):
            mix, more = self._attempt(mix, wishes[begin : begin + TOGETHER])
            done += more
        return mix, done

    def _trading(self, mix: Mix) -> list[_Wish]:
        """Return trades that bring smaller discs from inside, or alone, to others at the edge."""
        from scipy.spatial import cKDTree

        own, found = self.mixture, []
        edge, copies = own.at_edge(mix), own.mirrors.copies(mix.centres)
        everything = mix.everywhere(own.mirrors)
        smaller = everything.centres[everything.size > 0]
        alone = own.to_smaller(mix) > BESIDE * own.pitch
        for i in np.flatnonzero((mix.size > 0) & (alone | ~edge)):
            away = np.hypot(*(mix.centres - mix.centres[i]).T)
            partner = edge & (mix.size < mix.size[i]) & (copies == copies[i])
            partners = np.flatnonzero(partner & (away < TRADE * own.pitch))
            others = smaller[np.hypot(*(smaller - mix.centres[i]).T) > 1e-6 * own.pitch]
            lonely = np.ones(len(partners), dtype=np.bool_)
            if len(others):
                beside = cKDTree(others).query(mix.centres[partners])[0]
                lonely = np.asarray(beside) > BESIDE * own.pitch
            order = np.lexsort((away[partners], lonely))
            for k in order[~(lonely[order] & edge[i])][:PARTNERS]:
                j = int(partners[k])
                middle = (mix.centres[i] + mix.centres[j]) / 2
                size, was = int(mix.size[j]), int(mix.size[i])
                found.append(_Wish(middle, size, int(i), 0.0, was, j))
        return found

    def _growing(self, mix: Mix) -> list[_Wish]:
        squares = self.mixture.diameters**2
        return [
            _Wish(mix.centres[i], k - 1, int(i), float(squares[k - 1] - squares[k]), k)
            for i in np.flatnonzero(mix.size)
            if (k := int(mix.size[i]))
        ]

    def _vacancies(self, mix: Mix) -> list[_Wish]:
        own, found = self.mixture, []
        between = self._between(own.places(mix))
        for k, pitch in enumerate(own.pitches):
            places = np.concatenate((between, self._rims[k]))
            clearance = own.clearance(mix, places, pitch)
            wide = clearance > -TIGHT * (pitch + own.pitch) / 2
            places, clearance = places[wide], clearance[wide]
            depth = own.walls.depth(places, np.full(len(places), k), deep=True)[0]
            inside = depth >= -1e-6 * own.pitch
            if k:  # no room is made for smaller discs inside
                inside &= (depth < DEEP * own.pitch) | (clearance > 0)
            places, ours = own.mirrors.onto(places, ON_MIRROR * pitch)
            inside &= ours
            order = np.lexsort((np.round(places[:, 1], 6), -np.round(clearance, 6)))
            order = order[inside[order]]
            cell = np.floor(places[order] / (APART * pitch)).astype(np.int64)
            _, first = np.unique(cell, axis=0, return_index=True)
            gain = float(own.diameters[k] ** 2)
            found += [_Wish(places[i], k, None, gain) for i in order[np.sort(first)]]
        return found

    def _key(self, wish: _Wish, mix: Mix) -> tuple[int, ...]:
        # a place is another one when the discs around it have moved
        near = np.hypot(*(mix.centres - wish.place).T) < 2 * self.mixture.pitch
        mark = float(mix.centres[near].sum()) / self.mixture.pitch + float(mix.size[near].sum())
        cell = np.floor(wish.place / (self.mixture.pitch / 4)).astype(int)
        return int(cell[0]), int(cell[1]), round(mark * 20), wish.size

    def _attempt(self, mix: Mix, wishes: list[_Wish]) -> tuple[Mix, int]:
        trials, tried = [], []
        for wish in wishes:
            if wish.grown is not None and mix.size[wish.grown] != wish.was:
                continue
            if wish.shrunk is not None and mix.size[wish.shrunk] != wish.size:
                continue
            mine, trial, size = self._window(mix, wish)
            tried.append((wish, mine, size))
            trials.append(trial)
        if not trials:
            return mix, 0
        results = relax(trials, self.mixture.walls, self.steps, hasty=True)
        touched = np.zeros(len(mix.size), dtype=np.bool_)
        centres, size, done = mix.centres.copy(), mix.size.copy(), 0
        added: list[tuple[Points, int]] = []
        for (wish, mine, own), (found, rest) in zip(tried, results, strict=True):
            if rest > 0:
                key = self._key(wish, mix)
                self.failed[key] = self.failed.get(key, 0) + 1
            elif not touched[mine].any():
                touched[mine] = True
                done += 1
                centres[mine], size[mine] = found[: len(mine)], own[: len(mine)]
                if wish.grown is None:
                    added.append((found[-1], wish.size))
        grown = Mix(centres, size)
        for place, k in added:
            grown = grown.with_more(place[None], k)
        return grown, done

    def _window(self, mix: Mix, wish: _Wish) -> tuple[Sizes, Trial, Sizes]:
        own = self.mixture
        moved = wish.grown is not None and wish.shrunk is None
        place = mix.centres[wish.grown] if moved else wish.place
        away = np.hypot(*(mix.centres - place).T)
        mine = np.flatnonzero(away < (WINDOW + RIM) * own.pitch)
        free, size = away[mine] < WINDOW * own.pitch, mix.size[mine].copy()
        start = mix.centres[mine]
        if wish.grown is None:
            start = np.concatenate((start, place[None]))
            free, size = np.append(free, True), np.append(size, wish.size)
        else:
            size[mine == wish.grown] = wish.size
            size[mine == wish.shrunk] = wish.was
        return mine, Trial(start, free, own.mirrors, size=size), size
