"""Local growth of a mix of sizes: a disc more in a void a little too small, or a larger disc.

And smaller discs that stand inside, or alone, trade places with larger ones at the edge. What
gains most cover is tried first.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import relax
from stonelayout.laying.solvers.room_distance import DEEP
from stonelayout.laying.solvers.voids import widest
from stonelayout.laying.solvers.window_search import (
    ON_MIRROR,
    RIM,
    Change,
    Failures,
    Window,
    cut_window,
    search,
)

from .disc_packer import Packer
from .mix_value import BESIDE, to_smaller

#: Radius of a window in pitches of the largest size.
WINDOW = 3.5
#: A void may be too small for a disc by this share of the distances it would keep.
TIGHT = 0.16
#: A smaller disc trades places with a larger one so many pitches away, and is tried with so many.
TRADE, PARTNERS = 2.6, 2
#: Places tried are this far apart, in pitches of the size tried.
APART = 0.5


class Grower:
    """Grows a mix, one sweep after another, and remembers where it failed."""

    def __init__(self, packer: Packer, diameters: Points, steps: int, tries: int) -> None:
        self.packer, self.steps, self.tries = packer, steps, tries
        self.squares = diameters**2
        self.failures = Failures(packer.pitch)

    def sweep(self, mix: Mix, *, grow: bool = True) -> tuple[Mix, int]:
        """Try all voids, to ``grow`` each disc, and trades, once.

        Return what came of it, and how often something did.
        """
        mix, done = self._tried(mix, self._voids(mix) + (self._growing(mix) if grow else []))
        mix, traded = self.trade(mix)
        return mix, done + traded

    def trade(self, mix: Mix) -> tuple[Mix, int]:
        """Try trades of places; return what came of it, and how many were made."""
        return self._tried(mix, self._trading(mix))

    def _tried(self, mix: Mix, changes: list[Change]) -> tuple[Mix, int]:
        changes = [dataclasses.replace(c, turn=self.failures.turn(mix, c)) for c in changes]
        changes = [change for change in changes if change.turn < self.tries]
        changes.sort(key=lambda change: -self._gain(change))
        return search(
            mix,
            changes,
            self._cut,
            lambda trials: relax(trials, self.packer.wall, self.steps, hasty=True),
            failures=self.failures,
        )

    def _gain(self, change: Change) -> float:
        added = 0.0 if change.added is None else float(self.squares[change.added])
        gains = [self.squares[takes] - self.squares[was] for _, was, takes in change.resized]
        return float(added + sum(gains))

    def _cut(self, mix: Mix, change: Change) -> Window:
        if len(change.resized) == 1:  # about the disc, wherever it stands by now
            change = dataclasses.replace(change, place=mix.centres[change.resized[0][0]])
        pitch = self.packer.pitch
        return cut_window(mix, change, WINDOW * pitch, RIM * pitch, self.packer.mirrors)

    def _trading(self, mix: Mix) -> list[Change]:
        """Return trades that bring smaller discs from inside, or alone, to others at the edge."""
        from scipy.spatial import cKDTree

        own, found = self.packer, []
        edge, copies = own.at_edge(mix), own.mirrors.copies(mix.centres)
        everything = own.everywhere(mix)
        smaller = everything.centres[everything.size > 0]
        alone = to_smaller(own, mix) > BESIDE * own.pitch
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
                mine, other = int(mix.size[i]), int(mix.size[j])
                found.append(Change(middle, None, ((int(i), mine, other), (j, other, mine))))
        return found

    def _growing(self, mix: Mix) -> list[Change]:
        return [
            Change(mix.centres[i], None, ((int(i), k, k - 1),))
            for i in np.flatnonzero(mix.size)
            if (k := int(mix.size[i]))
        ]

    def _voids(self, mix: Mix) -> list[Change]:
        own, found = self.packer, []
        everything = own.everywhere(mix)
        for k, pitch in enumerate(own.pitches):
            least = pitch - TIGHT * (pitch + own.pitch) / 2
            places, width = own.voids.wide(everything, least, k)
            if k:  # no room is made for smaller discs inside
                sizes = np.full(len(places), k, dtype=np.intp)
                depth = own.wall.depth(places, sizes, deep=True)[0]
                edge = (depth < DEEP * own.pitch) | (width > pitch)
                places, width = places[edge], width[edge]
            places, ours = own.mirrors.onto(places, ON_MIRROR * pitch)
            places, width = places[ours], width[ours]
            found += [Change(places[i], k) for i in widest(places, width, APART * pitch)]
        return found
