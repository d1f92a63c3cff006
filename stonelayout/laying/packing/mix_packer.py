"""Packing one room with discs of several sizes: press too many of the largest, shrink at the edge.

As in `packing`, a grid with more discs than can fit is relaxed; but a disc that is too strained
gives way by becoming one size smaller, and the discs at the edge give way first. So the inside
keeps the order of one size, and smaller discs stand where the outline does not suit the largest.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import ON_MM, Mirrors
from stonelayout.geometry.points import Points
from stonelayout.laying.common.part_fill import Part
from stonelayout.laying.solvers.relaxation import EXCESS, Soft, Trial, relax
from stonelayout.laying.solvers.room_distance import DEEP, WALL_MARGIN, Walls
from stonelayout.laying.solvers.voids import circumcentres

from .corner_pinning import at_corners
from .disc_packer import APART, AT_WALL, DISORDER, FLUSH, NEARLY, STEPS

#: Rounds of pressing; a mix that nearly fits is relaxed for WAIT rounds more before discs give way.
ROUNDS, WAIT = 60, 1
#: Discs that give way in a round, for each unit of E / d^2, and at most as a share.
SHARE, MOST = 20.0, 0.06
#: The strain of discs away from the edge counts by this share when it is told which give way; that
#: of discs at the edge within BESIDE pitches of a smaller one by COMPANY, so that few stand alone.
INNER, COMPANY, BESIDE = 0.4, 1.5, 1.25
#: Of mixes the one is best that covers most, where smaller discs count less by these shares: away
#: from the edge; alone at the edge; alone and away from it. All count less by RAGGED where none
#: near the wall stands at it.
INSIDE, ALONE, ASTRAY, RAGGED = 0.25, 0.4, 1.0, 0.08
#: The room left over is shared out by one of these pushes, after one that draws discs to the wall.
PUSHES = tuple((Soft(r, w, 0.5), Soft(r, w)) for r, w in ((1.22, 0.3), (1.12, 0.3), (1.22, 0.02)))


#: Discs are put onto the wall in so many rounds at most.
SEATINGS = 3


@lru_cache(maxsize=2)
def _walls(rooms: tuple[BaseGeometry, ...], pitches: tuple[float, ...]) -> Walls:
    # the same for all symmetries of a part, but those of more than two axes
    return Walls(rooms, np.array(pitches))


@dataclass(frozen=True, eq=False)
class Mix:
    """Discs of several sizes: ``centres`` (n, 2) in mm, ``size`` (n,)."""

    centres: Points
    size: npt.NDArray[np.intp]

    def with_more(self, centres: Points, size: int) -> Mix:
        """Return the mix with more discs of one size."""
        added = np.full(len(centres), size, dtype=np.intp)
        return Mix(np.concatenate((self.centres, centres)), np.concatenate((self.size, added)))

    def everywhere(self, mirrors: Mirrors) -> Mix:
        """Return all discs with their images."""
        found = Mix(np.empty((0, 2)), np.empty(0, dtype=np.intp))
        for k in np.unique(self.size):
            found = found.with_more(mirrors.everywhere(self.centres[self.size == k]), int(k))
        return found

    def between(self, mirrors: Mirrors) -> Mix:
        """Return the discs between the mirrors, and on them."""
        stays = (self.centres @ mirrors.normals.T >= -ON_MM).all(axis=1)
        return Mix(self.centres[stays], self.size[stays])


class Mixture:
    """Packs discs of a part's sizes, largest first, between mirrors; no room may be empty."""

    def __init__(self, part: Part, mirrors: Mirrors) -> None:
        self.mirrors = mirrors
        self.diameters = np.array([spec.diameter for spec in part.sizes])
        self.pitches = np.array([spec.pitch for spec in part.sizes])
        self.pitch = float(self.pitches.max())
        self.rooms = part.rooms
        self.walls = _walls(part.rooms, tuple(self.pitches))
        self.rng = np.random.default_rng(0)

    def trial(self, mix: Mix) -> Trial:
        """Return a trial in which all discs move."""
        free = np.ones(len(mix.size), dtype=np.bool_)
        return Trial(mix.centres, free, self.mirrors, size=mix.size)

    def cover(self, mix: Mix) -> float:
        """Return the squares of all diameters, images included, in mm2."""
        return float((self.mirrors.copies(mix.centres) * self.diameters[mix.size] ** 2).sum())

    def value(self, mix: Mix) -> float:
        """Return the cover less what the eye minds, in mm2."""
        small = mix.size > 0
        alone = small & (self.to_smaller(mix) > BESIDE * self.pitch)
        inside = small & ~self.at_edge(mix)
        price = np.where(alone, np.where(inside, ASTRAY, ALONE), INSIDE * inside)
        squares = self.mirrors.copies(mix.centres) * self.diameters[mix.size] ** 2
        return float((squares * (1 - price)).sum()) * (1 - RAGGED * self.off_wall(mix))

    def at_edge(self, mix: Mix) -> npt.NDArray[np.bool_]:
        """Tell which discs stand near the wall of their size, shape (n,)."""
        return np.asarray(self.depth(mix) < DEEP * self.pitch)

    def depth(self, mix: Mix) -> Points:
        """Return how deep discs stand in the room of their size in mm, inf if deep, (n,)."""
        return self.walls.depth(mix.centres, mix.size, deep=True)[0]

    def strain(self, mix: Mix) -> Points:
        """Return each disc's overlaps, in pitches, shape (n,)."""
        from scipy.spatial import cKDTree

        centres, own = mix.centres, self.pitches[mix.size]
        pairs = cKDTree(centres).query_pairs(self.pitch, output_type="ndarray")
        length = np.hypot(*(centres[pairs[:, 0]] - centres[pairs[:, 1]]).T)
        short = np.maximum((own[pairs[:, 0]] + own[pairs[:, 1]]) / 2 - length, 0)
        n = len(centres)
        total: Points = np.maximum(-self.depth(mix), 0.0)
        total = total + np.bincount(pairs[:, 0], short, n) + np.bincount(pairs[:, 1], short, n)
        heights, on = centres @ self.mirrors.normals.T, self.mirrors.on(centres)
        image = np.where(on, 0.0, np.maximum(own[:, None] - 2 * heights, 0.0))
        strain: Points = (total + 2 * image.sum(axis=1)) / self.pitch
        return strain

    def press(self, starts: Sequence[Points]) -> list[Mix]:
        """Press discs of the largest size that are too many until they fit; return what fits."""
        fitting: list[Mix] = []
        pending = [
            (Mix(self._shaken(start), np.zeros(len(start), dtype=np.intp)), 0)
            for start in starts
            if len(start)
        ]
        for _ in range(ROUNDS):
            if not pending:
                break
            results = relax([self.trial(mix) for mix, _ in pending], self.walls, STEPS)
            before, pending = pending, []
            for (centres, rest), (mix, turns) in zip(results, before, strict=True):
                mix = Mix(centres, mix.size)
                if rest == 0:
                    fitting.append(mix)
                elif rest < NEARLY and turns < WAIT:
                    pending.append((mix, turns + 1))
                elif len(centres) > 1:
                    pending.append((self._relieved(mix, rest), 0))
        return fitting

    def _shaken(self, centres: Points) -> Points:
        # a little disorder, so that rows which are a trifle too long can buckle
        return self.mirrors.shaken(centres, DISORDER * self.pitch, self.rng)

    def _relieved(self, mix: Mix, rest: float) -> Mix:
        """Shrink the most strained discs by one size; the smallest go."""
        beside = np.where(self.to_smaller(mix) < BESIDE * self.pitch, COMPANY, 1.0)
        strain = self.strain(mix) * np.where(self.at_edge(mix), beside, INNER)
        most = max(1, min(round(rest * SHARE), int(MOST * len(strain))))
        shrunk: list[int] = []
        for i in np.argsort(-strain, kind="stable"):
            if len(shrunk) == most:
                break
            away = np.hypot(*(mix.centres[shrunk] - mix.centres[i]).T)
            if not shrunk or away.min() > APART * self.pitch:
                shrunk.append(int(i))
        size = mix.size.copy()
        size[shrunk] += 1
        stays = size < len(self.pitches)
        return Mix(mix.centres[stays], size[stays])

    def to_smaller(self, mix: Mix) -> Points:
        """Return the way from each disc to the next not of the largest size, in mm, shape (n,)."""
        from scipy.spatial import cKDTree

        everything = mix.everywhere(self.mirrors)
        small = everything.centres[everything.size > 0]
        if not len(small):
            return np.full(len(mix.size), np.inf)
        away = np.asarray(cKDTree(small).query(mix.centres, k=2)[0])
        return np.where(mix.size > 0, away[:, 1], away[:, 0])

    def evened(self, mix: Mix, pushes: int, steps: int) -> Mix:
        """Draw discs near the wall onto it and share out what room is left (as `even` does)."""
        best, least = mix, self.raggedness(mix)
        for pull, soft in PUSHES[:pushes]:
            drawn = relax([self.trial(mix)], self.walls, steps, pull)[0][0]
            drawn_mix = Mix(drawn, mix.size)
            for trial in (self.pinned(drawn_mix), self.trial(drawn_mix)):
                pushed = relax([trial], self.walls, steps, soft)[0][0]
                trial = dataclasses.replace(trial, centres=pushed)
                settled, rest = relax([trial], self.walls, 2 * steps)[0]
                if rest == 0:
                    break
            found = Mix(settled, mix.size)
            if rest == 0 and self.raggedness(found) < least:
                best, least = found, self.raggedness(found)
        return best

    def pinned(self, mix: Mix, free: npt.NDArray[np.bool_] | None = None) -> Trial:
        """Return a trial in which discs near the wall are kept to it, and to its corners."""
        free = np.ones(len(mix.size), dtype=np.bool_) if free is None else free
        reach = AT_WALL * self.pitch
        at_wall = free & (self.depth(mix) < reach)
        centres, free = at_corners(self.walls, mix.centres, free, self.mirrors, reach, mix.size)
        return Trial(centres, free, self.mirrors, at_wall, mix.size)

    def seated(self, mix: Mix) -> Mix:
        """Put discs that nearly stand at the wall onto it, where they are free to (as `even`)."""
        for _ in range(SEATINGS):
            moved = False
            depth, inward = self.walls.depth(mix.centres, mix.size, deep=True)
            off = np.flatnonzero((depth > FLUSH * self.pitch) & (depth < DEEP * self.pitch))
            for k in off[np.argsort(depth[off], kind="stable")]:
                step = depth[k] - WALL_MARGIN * self.pitch
                place = self._free_place(mix, int(k), mix.centres[k] - step * inward[k])
                if place is not None:
                    centres = mix.centres.copy()
                    centres[k], moved = place, True
                    mix = Mix(centres, mix.size)
            if not moved:
                break
        return mix

    def _free_place(self, mix: Mix, k: int, place: Points) -> Points | None:
        """Return where a disc stands at a place, None if it may not."""
        on = self.mirrors.on(mix.centres[k : k + 1])[0]
        place = place - (self.mirrors.normals.T * on) @ (self.mirrors.normals @ place)
        own = self.pitches[mix.size[k]]
        if (self.mirrors.normals @ place < own / 2)[~on].any():
            return None
        others = Mix(np.delete(mix.centres, k, axis=0), np.delete(mix.size, k)).everywhere(
            self.mirrors
        )
        apart = (self.pitches[others.size] + own) / 2 * (1 + EXCESS)
        if (np.hypot(*(others.centres - place).T) < apart).any():
            return None
        depth = self.walls.depth(place[None], mix.size[k : k + 1])[0]
        return place if depth[0] >= WALL_MARGIN * self.pitch / 2 else None

    def off_wall(self, mix: Mix) -> float:
        """Return the share of discs near the wall that do not stand at it."""
        depth = self.depth(mix) / self.pitch
        return float(((depth > FLUSH) & (depth < DEEP)).sum() / max(1, (depth < DEEP).sum()))

    def raggedness(self, mix: Mix) -> float:
        """Return the share of discs near the wall that do not stand at it, and the widest gap."""
        places = self.places(mix)
        last = np.full(len(places), len(self.pitches) - 1)
        room = self.clearance(mix, places, 0.0)[self.walls.depth(places, last)[0] >= 0]
        return self.off_wall(mix) + float(room.max(initial=0.0)) / self.pitch

    def places(self, mix: Mix) -> Points:
        """Return the centres (m, 2) of circles through three neighbours, images included."""
        return circumcentres(mix.everywhere(self.mirrors).centres)

    def clearance(self, mix: Mix, places: Points, pitch: float) -> Points:
        """Return how far places (m, 2) are from where a disc of ``pitch`` mm would touch one.

        In mm, shape (m,): the distance to the nearest disc less the mean of the pitches.
        """
        from scipy.spatial import cKDTree

        everything = mix.everywhere(self.mirrors)
        found = np.full(len(places), np.inf)
        for k in np.unique(everything.size):
            tree = cKDTree(everything.centres[everything.size == k])
            away = np.asarray(tree.query(places)[0]) - (self.pitches[k] + pitch) / 2
            found = np.minimum(found, away)
        return found
