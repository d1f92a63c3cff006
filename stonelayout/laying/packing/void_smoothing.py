"""Smoothing of voids: those too narrow for another disc are shared out among the discs around."""

from __future__ import annotations

import dataclasses

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import Trial, relax, share_out
from stonelayout.laying.solvers.window_search import Change, Window, cut_window, search

from .disc_packer import Packer

#: Voids wider than so many pitches are narrowed; what they have over WIDE counts. The voids of a
#: perfect 60 degree grid have 0.577.
TRIED, WIDE = 0.76, 0.7
#: Discs stay a pitch from all that stands beyond those within this many pitches of their window:
#: more than window_search.RIM, as pushes move discs further than an insertion does.
RIM = 1.6
#: Steps of each push, and of what restores the distances.
STEPS, LAST = 50, 300
#: A window is better when the sum of the squares of what its voids have over WIDE, and of OFF for
#: each disc near the wall that does not stand at it, falls to this share.
LEFT, OFF = 0.8, 0.004
#: Windows of one round.
MOST = 24


@dataclasses.dataclass(frozen=True)
class Smoothing:
    """One round: how far pushes reach, and how large the windows are, in pitches."""

    reach: float
    radius: float


ROUNDS = (Smoothing(1.3, 3.5), Smoothing(1.5, 5.0), Smoothing(1.5, 3.5))


def smoothed(packer: Packer, mix: Mix) -> Mix:
    """Return discs with the widest voids narrowed; all distances stay kept."""
    for one in ROUNDS:
        mix = _round(packer, mix, one)
    return mix


def _round(packer: Packer, mix: Mix, smoothing: Smoothing) -> Mix:
    """Narrow the widest voids, all at once."""
    pitch, radius = packer.pitch, smoothing.radius * packer.pitch
    places, _ = packer.voids.find(packer.everywhere(mix), TRIED * pitch)
    places = places[packer.mirrors.onto(places, 0.0)[1]][:MOST]

    def cut(mix: Mix, change: Change) -> Window:
        window = cut_window(mix, change, radius, RIM * pitch, packer.mirrors)
        pinned = packer.pinned(mix[window.mine], window.trial.free)
        # a disc that is pinned to a corner is free to leave it, if nothing else fits
        free.append(window.trial.free)
        return dataclasses.replace(window, trial=pinned)

    free: list[np.ndarray] = []

    def solve(trials: list[Trial]) -> list[tuple[Points, float]]:
        shared = share_out(trials, packer.wall, STEPS, [smoothing.reach])
        results = relax(shared, packer.wall, LAST)
        failed = [k for k, (_, rest) in enumerate(results) if rest > 0]
        loose = [dataclasses.replace(shared[k], free=free[k], pinned=None) for k in failed]
        for k, result in zip(failed, relax(loose, packer.wall, LAST), strict=True):
            results[k] = result
        return results

    def suits(window: Window, found: Points) -> bool:
        was, place = mix[window.mine], window.change.place
        out = np.hypot(*(found - place).T)
        strayed = (out > radius + (RIM - 1) * pitch) & (found != was.centres).any(axis=1)
        if strayed.any():
            return False
        now = _roughness(packer, was.moved(found), place, radius)
        return now < LEFT * _roughness(packer, was, place, radius)

    changes = [Change(place, added=None) for place in places]
    return search(mix, changes, cut, solve, suits=suits)[0]


def _roughness(packer: Packer, mix: Mix, middle: Points, radius: float) -> float:
    """Return the sum of squares of what voids have over WIDE, and OFF for each disc off the wall.

    Of voids within ``radius`` mm of a place.
    """
    places, width = packer.voids.find(packer.everywhere(mix), WIDE * packer.pitch)
    near = np.hypot(*(places - middle).T) < radius
    rough = float(((width[near] / packer.pitch - WIDE) ** 2).sum())
    return rough + OFF * packer.off_wall(mix)[1]
