"""What a fill of several sizes is worth: its cover, less for stray smaller discs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.voids import circumcentres

from .disc_packer import Packer

#: Smaller discs within this many pitches of the largest size stand beside one another.
BESIDE = 1.25
#: The strain of discs away from the edge counts by this share when it is told which give way; that
#: of discs at the edge beside a smaller one by COMPANY, so that few stand alone.
INNER, COMPANY = 0.4, 1.5


@dataclass(frozen=True)
class Prices:
    """Shares by which the cover counts less.

    That of smaller discs: ``inside``, away from the edge; ``alone`` at the edge; ``astray``, both
    alone and inside. All of it: ``ragged``, where none near the wall stands at it. With one price
    for all small discs inside, a ring is left bald.
    """

    inside: float = 0.25
    alone: float = 0.4
    astray: float = 1.0
    ragged: float = 0.08


PRICES = Prices()


def value(packer: Packer, diameters: Points, mix: Mix) -> float:
    """Return the squares of all ``diameters`` (k,), images included, less PRICES, in mm2."""
    small = mix.size > 0
    alone = small & (to_smaller(packer, mix) > BESIDE * packer.pitch)
    inside = small & ~packer.at_edge(mix)
    price = np.where(alone, np.where(inside, PRICES.astray, PRICES.alone), PRICES.inside * inside)
    near, off = packer.off_wall(mix)
    squares = packer.mirrors.copies(mix.centres) * diameters[mix.size] ** 2
    return float((squares * (1 - price)).sum()) * (1 - PRICES.ragged * off / max(1, near))


def raggedness(packer: Packer, mix: Mix) -> float:
    """Return the share of discs near the wall that do not stand at it, plus the widest void.

    The void between three discs, in pitches: where those on the outline count too, rows along the
    seam of two stripes are left 0.08 mm off it.
    """
    near, off = packer.off_wall(mix)
    everything, last = packer.everywhere(mix), len(packer.rooms) - 1
    places = circumcentres(everything.centres)
    inside = packer.wall.depth(places, np.full(len(places), last, dtype=np.intp))[0] >= 0
    width = packer.voids.width(places[inside], everything, last) - packer.pitches[last] / 2
    return off / max(1, near) + float(width.max(initial=0.0)) / packer.pitch


def to_smaller(packer: Packer, mix: Mix) -> Points:
    """Return the way from each disc to the next not of the largest size, in mm, shape (n,)."""
    from scipy.spatial import cKDTree

    everything = packer.everywhere(mix)
    small = everything.centres[everything.size > 0]
    if not len(small):
        return np.full(len(mix), np.inf)
    away = np.asarray(cKDTree(small).query(mix.centres, k=2)[0])
    return np.where(mix.size > 0, away[:, 1], away[:, 0])


def yielding(packer: Packer, mix: Mix) -> Points:
    """Return by what share the strain of discs counts when it is told which give way, (n,)."""
    beside = np.where(to_smaller(packer, mix) < BESIDE * packer.pitch, COMPANY, 1.0)
    return np.where(packer.at_edge(mix), beside, INNER)
