"""Insertion of discs of one size: room is made for one more by moving those around a void."""

from __future__ import annotations

import dataclasses

import numpy as np

from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import relax
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

#: Radius of a window in pitches at the first, second, third try of a place.
WINDOWS = (4.0, 5.0, 7.0)
#: Discs are shaken by this many pitches at a second try.
SHAKEN = 0.06
#: A place where a try failed is taken as this much narrower: others come first.
NARROWED = 0.9


class Inserter:
    """Inserts discs, one sweep after another, and remembers where it failed.

    Voids narrower than ``narrowest`` pitches are not tried; the holes of a perfect 60 degree
    grid have 0.577.
    """

    def __init__(self, packer: Packer, *, steps: int, narrowest: float) -> None:
        self.packer, self.steps, self.narrowest = packer, steps, narrowest * packer.pitch
        self.rng = np.random.default_rng(0)
        self.failures = Failures(packer.pitch)

    def sweep(self, mix: Mix, tries: int) -> tuple[Mix, int]:
        """Try the voids once; return the discs, and how many places were tried."""
        packer = self.packer
        places, width = packer.voids.find(packer.everywhere(mix), self.narrowest)
        places, ours = packer.mirrors.onto(places, ON_MIRROR * packer.pitch)
        changes = [Change(place) for place in places[ours]]
        turns = np.array([self.failures.turn(mix, change) for change in changes], dtype=int)
        order = np.argsort(-(width[ours] * NARROWED**turns), kind="stable")
        some = [
            dataclasses.replace(changes[k], turn=int(turns[k])) for k in order if turns[k] < tries
        ]
        mix, _ = search(
            mix,
            some,
            self._cut,
            lambda trials: relax(trials, packer.wall, self.steps, hasty=True),
            failures=self.failures,
        )
        return mix, len(some)

    def _cut(self, mix: Mix, change: Change) -> Window:
        packer = self.packer
        radius = WINDOWS[min(change.turn, len(WINDOWS) - 1)] * packer.pitch
        window = cut_window(mix, change, radius, RIM * packer.pitch, packer.mirrors)
        if not change.turn:
            return window
        trial = window.trial
        shaken = packer.mirrors.shaken(trial.centres, SHAKEN * packer.pitch, self.rng)
        start = np.where(trial.free[:, None], shaken, trial.centres)
        return dataclasses.replace(window, trial=dataclasses.replace(trial, centres=start))
