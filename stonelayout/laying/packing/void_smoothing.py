"""Healing: vacancies too narrow for another disc are shared out among the discs around them."""

from __future__ import annotations

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.relaxation import EXCESS, relax, share_out
from stonelayout.laying.solvers.room_distance import DEEP, WALL_MARGIN

from .disc_packer import FLUSH, Packer

#: Vacancies wider than so many pitches are healed, and looked at; those of a perfect 60 degree grid
#: have 0.577.
SORE, WIDE = 0.76, 0.7
#: How far a push reaches in each round, and within how many pitches of a vacancy discs move. They
#: stay a pitch from all that stands beyond those RIM further, which hold still around them.
ROUNDS, RIM = ((1.3, 3.5), (1.5, 5.0), (1.5, 3.5)), 1.6
#: Steps of each push, and of what restores the distances.
STEPS, LAST = 50, 300
#: A window is healed when the sum of the squares of what its vacancies have over WIDE, and of OFF
#: for each disc that nearly stands at the wall, falls to this share.
LEFT, OFF = 0.8, 0.004
#: Windows of one round.
TOGETHER = 24


def healed(packer: Packer, centres: Points) -> Points:
    """Return discs (n, 2) with the widest vacancies narrowed; all distances stay kept."""
    for reach, window in ROUNDS:
        centres = _round(packer, centres, reach, window)
    return centres


def seated(packer: Packer, centres: Points) -> Points:
    """Return discs (n, 2), those that nearly stand at the wall put onto it where they are free to.

    A disc on a mirror stays on it.
    """
    depth, inward = packer.wall.depth(centres, deep=True)
    off = (depth > FLUSH * packer.pitch) & (depth < DEEP * packer.pitch)
    least = packer.pitch * (1 + EXCESS)
    for k in np.flatnonzero(off)[np.argsort(depth[off], kind="stable")]:
        place = centres[k] - (depth[k] - WALL_MARGIN * packer.pitch) * inward[k]
        on = packer.mirrors.on(centres[k : k + 1])[0]
        place = place - (packer.mirrors.normals.T * on) @ (packer.mirrors.normals @ place)
        if len(packer.mirrors) > on.sum() and (packer.mirrors.normals @ place)[~on].min() < 0:
            continue
        own = packer.mirrors.everywhere(place[None])
        others = packer.mirrors.everywhere(np.delete(centres, k, axis=0))
        away = np.hypot(*(np.concatenate((own[1:], others)) - place).T)
        if (
            away.min() >= least
            and packer.wall.inside(place[None], WALL_MARGIN * packer.pitch / 2)[0]
        ):
            centres = centres.copy()
            centres[k] = place
    return centres


def _round(packer: Packer, centres: Points, reach: float, radius: float) -> Points:
    """Heal what can be healed at once."""
    everything = packer.mirrors.everywhere(centres)
    places, _ = packer.vacancies.find(everything, SORE * packer.pitch)
    places = places[(places @ packer.mirrors.normals.T > -1e-9).all(axis=1)][:TOGETHER]
    if not len(places):
        return centres
    away = np.hypot(*(centres - places[:, None]).transpose(2, 0, 1)) / packer.pitch
    windows = [np.flatnonzero(far < radius + RIM) for far in away]
    free = [far[window] < radius for far, window in zip(away, windows, strict=True)]
    trials = [
        packer.pinned(centres[window], loose) for window, loose in zip(windows, free, strict=True)
    ]
    trials = share_out(trials, packer.wall, STEPS, [reach])
    results = relax(trials, packer.wall, LAST)
    failed = [k for k, (_, rest) in enumerate(results) if rest > 0]
    if failed:
        loose = [packer.trial(trials[k].centres, free[k]) for k in failed]
        for k, result in zip(failed, relax(loose, packer.wall, LAST), strict=True):
            results[k] = result
    touched = np.zeros(len(centres), dtype=np.bool_)
    for place, window, (found, rest) in zip(places, windows, results, strict=True):
        out = np.hypot(*(found - place).T) / packer.pitch
        strayed = (out > radius + RIM - 1) & (found != centres[window]).any(axis=1)
        if rest > 0 or touched[window].any() or strayed.any():
            continue
        if _sore(packer, found, place, radius) < LEFT * _sore(
            packer, centres[window], place, radius
        ):
            centres = centres.copy()
            centres[window] = found
            touched[window] = True
    return centres


def _sore(packer: Packer, centres: Points, middle: Points, radius: float) -> float:
    """Return the sum of squares of what vacancies have over WIDE, and OFF for each disc off."""
    places, clearance = packer.vacancies.find(
        packer.mirrors.everywhere(centres), WIDE * packer.pitch
    )
    near = np.hypot(*(places - middle).T) < radius * packer.pitch
    sore = float(((clearance[near] / packer.pitch - WIDE) ** 2).sum())
    return sore + OFF * packer.off_wall(centres)[1]
