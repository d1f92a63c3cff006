"""Packing the rooms of one part with discs of one size or several, largest first.

Pressing: a grid with more discs than can fit is relaxed, so that it fills the room to its outline
from all sides; then the most strained discs give way, a few at a time, until none overlap: each
becomes one size smaller, the smallest are taken out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import EXCESS, Soft, Trial, relax, share_out
from stonelayout.laying.solvers.room_distance import DEEP, WALL_MARGIN, Wall, Walls
from stonelayout.laying.solvers.voids import Voids

#: Steps of each round of pressing.
STEPS = 50
#: A packing with less strain than this (E / d^2) is relaxed for some rounds more before discs give
#: way.
NEARLY = 0.02
#: Packings with less strain than this (E / d^2) nearly fit: a search may try them again.
CLOSE = 1e-4
#: Discs that give way in one round stand at least this many pitches apart.
APART = 2.5
#: Disorder of a grid before it is pressed, in pitches: rows that are a trifle too long can buckle.
DISORDER = 0.02
#: Discs nearer to the wall than AT_WALL pitches are pinned to it once they are drawn there; those
#: at most FLUSH from it are flush.
AT_WALL, FLUSH = 0.12, 0.005
#: A corner this near to a mirror, in pitches, is on it: less than room_distance.WALL_MARGIN.
ON_MIRROR = 1e-5
#: Voids narrower than this, in pitches of the smallest size, are none: those of a perfect 60
#: degree grid have 0.577.
NO_VOID = 0.6
#: How strongly discs near the wall are drawn to it.
PULL = 0.5
#: How far the pushes reach, in pitches, that share out what room is left; the tidiest is taken.
REACHES = (1.22, 1.12, 1.4)
#: Rounds of putting discs onto the wall: one may stand in another's way at first.
SEATINGS = 3

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Pressing:
    """How a packing that is too full gives way.

    It does after ``wait`` rounds with little strain, and later if the last round left less than
    ``falling`` of the strain; ``share`` discs give way in a round for each unit of E / d^2, at most
    ``most`` of all. With ``fullest`` a packing with fewer discs than one that fits is given up.
    """

    rounds: int
    wait: int
    falling: float
    share: float
    most: float
    fullest: bool


@dataclass(frozen=True)
class Evening:
    """How room is shared out: the ``weights`` of one push, and steps as shares of a relaxation's.

    ``draw`` of what draws discs onto the wall first, ``push`` for each weight; with ``renewed``
    discs near the wall are pinned to it anew after each push.
    """

    weights: tuple[float, ...]
    draw: float
    push: float
    renewed: bool


@dataclass(frozen=True, eq=False)
class _Pressed:
    """A packing that is being pressed: rounds waited, and its last strain (E / d^2)."""

    mix: Mix
    turns: int = 0
    rest: float = 0.0


@lru_cache(maxsize=2)
def wall_of(rooms: tuple[BaseGeometry, ...], pitches: tuple[float, ...]) -> Wall:
    """Return the walls of rooms: the same for all symmetries of a part with two axes at most."""
    return Walls(rooms, np.array(pitches)) if len(rooms) > 1 else Wall(rooms[0], pitches[0])


class Packer:
    """Packs discs between mirrors: only those between these are handled. No room may be empty.

    ``pitches`` in mm, one for each room, the largest first: two discs keep the mean of theirs.
    Shares of a pitch are of the largest.
    """

    def __init__(
        self, rooms: Sequence[BaseGeometry], pitches: Sequence[float], mirrors: Mirrors = NONE
    ) -> None:
        self.rooms, self.mirrors = tuple(rooms), mirrors
        self.pitches, self.pitch = np.array(pitches), float(max(pitches))
        self.wall = wall_of(self.rooms, tuple(map(float, pitches)))
        self.voids = Voids(rooms, self.wall)
        self.rng = np.random.default_rng(0)
        self.close: list[Mix] = []

    def trial(self, mix: Mix, free: Flags | None = None) -> Trial:
        """Return a trial in which all discs move, or those free; those on a mirror stay there."""
        free = np.ones(len(mix), dtype=np.bool_) if free is None else free
        return Trial(mix.centres, free, self.mirrors, size=mix.size)

    def everywhere(self, mix: Mix) -> Mix:
        """Return all discs with their images."""
        return mix.everywhere(self.mirrors)

    def count(self, mix: Mix) -> int:
        """Return how many discs a packing has, images included."""
        return int(self.mirrors.copies(mix.centres).sum())

    def shaken(self, mix: Mix, by: float) -> Mix:
        """Return discs moved at random by ``by`` pitches."""
        return mix.moved(self.mirrors.shaken(mix.centres, by * self.pitch, self.rng))

    def depth(self, mix: Mix) -> Points:
        """Return how deep discs stand in the room of their size in mm, inf if deep, (n,)."""
        return self.wall.depth(mix.centres, mix.size, deep=True)[0]

    def at_edge(self, mix: Mix) -> Flags:
        """Tell which discs stand near the wall of their size, shape (n,)."""
        return np.asarray(self.depth(mix) < DEEP * self.pitch)

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

    def off_wall(self, mix: Mix) -> tuple[int, int]:
        """Return how many discs are near the wall, and how many of these do not stand at it."""
        depth = self.depth(mix) / self.pitch
        return int((depth < DEEP).sum()), int(((depth > FLUSH) & (depth < DEEP)).sum())

    def widest(self, mix: Mix) -> float:
        """Return how wide the widest void is for the smallest size in mm, 0 for a narrow one."""
        least, last = NO_VOID * float(self.pitches.min()), len(self.rooms) - 1
        _, width = self.voids.find(self.everywhere(mix), least, last)
        return float(width[0]) if len(width) else 0.0

    def raggedness(self, mix: Mix) -> float:
        """Return the share of discs near the wall that do not stand at it, plus the widest void.

        The void in pitches.
        """
        near, off = self.off_wall(mix)
        return off / max(1, near) + self.widest(mix) / self.pitch

    def press(
        self,
        starts: Sequence[Points],
        pressing: Pressing,
        yielding: Callable[[Mix], Points] | None = None,
    ) -> list[Mix]:
        """Press discs of the largest size that are too many until they fit; return what fits.

        ``yielding`` (n,): by what share the strain of discs counts when it is told which give way.
        """
        fitting: list[Mix] = []
        pending = [_Pressed(self.shaken(Mix.of(p), DISORDER)) for p in starts if len(p)]
        most = 0
        for _ in range(pressing.rounds):
            if pressing.fullest:
                pending = [one for one in pending if self.count(one.mix) >= most]
            if not pending:
                break
            results = relax([self.trial(one.mix) for one in pending], self.wall, STEPS)
            was, pending = pending, []
            for one, (centres, rest) in zip(was, results, strict=True):
                mix = one.mix.moved(centres)
                falls = one.turns < pressing.wait or rest < pressing.falling * one.rest
                if rest == 0:
                    fitting.append(mix)
                    most = max(most, self.count(mix))
                elif rest < NEARLY and falls:
                    pending.append(_Pressed(mix, one.turns + 1, rest))
                elif len(mix) > 1:
                    if rest < CLOSE:
                        self.close.append(mix)
                    strain = self.strain(mix) * (yielding(mix) if yielding else 1.0)
                    most_now = int(pressing.most * len(mix))
                    give = max(1, min(round(rest * pressing.share), most_now))
                    pending.append(_Pressed(self._relieved(mix, strain, give)))
        return fitting

    def _relieved(self, mix: Mix, strain: Points, count: int) -> Mix:
        """Make the most strained discs one size smaller; the smallest go."""
        chosen: list[int] = []
        for i in np.argsort(-strain, kind="stable"):
            if len(chosen) == count:
                break
            away = np.hypot(*(mix.centres[chosen] - mix.centres[i]).T)
            if not chosen or away.min() > APART * self.pitch:
                chosen.append(int(i))
        size = mix.size.copy()
        size[chosen] += 1
        stays = size < len(self.pitches)
        return Mix(mix.centres[stays], size[stays])

    def pinned(self, mix: Mix, free: Flags | None = None) -> Trial:
        """Return a trial in which discs near the wall are kept to it, and to its corners."""
        free = np.ones(len(mix), dtype=np.bool_) if free is None else free
        reach = AT_WALL * self.pitch
        centres, loose = self._at_corners(mix, free, reach)
        at_wall = self.depth(mix.moved(centres)) < reach
        return Trial(centres, loose, self.mirrors, free & at_wall, mix.size)

    def _at_corners(self, mix: Mix, free: Flags, reach: float) -> tuple[Points, Flags]:
        """Put free discs on the wall's corners within ``reach`` mm; return centres, and who moves.

        A corner takes a disc, the nearest, only as far as it keeps its distance from all others
        that stand still, and from its own images. What stands on a mirror goes to a corner on that
        mirror only.
        """
        away, which = self.wall.nearest_corner(mix.centres, mix.size)
        own, normals = self.pitches[mix.size], self.mirrors.normals
        centres, free = mix.centres.copy(), free.copy()
        on = self.mirrors.on(centres)
        near = np.flatnonzero(free & (away < reach))
        for i in near[np.argsort(away[near], kind="stable")]:
            corner = self.wall.corners[which[i]]
            heights = normals @ corner
            if (np.abs(heights[on[i]]) > ON_MIRROR * own[i]).any():
                continue
            corner = corner - heights[on[i]] @ normals[on[i]]
            apart = np.hypot(*(centres[~free] - corner).T)
            if (apart >= (own[~free] + own[i]) / 2).all() and (heights[~on[i]] >= own[i] / 2).all():
                centres[i], free[i] = corner, False
        return centres, free

    def evened(
        self,
        mix: Mix,
        evening: Evening,
        pushes: int,
        steps: int,
        untidiness: Callable[[Mix], float],
        free: Flags | None = None,
    ) -> Mix:
        """Share out what room is left among free discs; no distance is given up.

        For each of so many ``pushes`` discs near the wall are drawn onto it, then all are pushed
        apart. Of what came of it, and the discs as they were, the tidiest is returned.
        """

        def again(trial: Trial) -> Trial:
            return self.pinned(mix.moved(trial.centres), free)

        reaches = REACHES[:pushes]
        softs = [Soft(reach, evening.weights[0], PULL) for reach in reaches]
        trials = [self.trial(mix, free)] * len(reaches)
        drawn = relax(trials, self.wall, round(evening.draw * steps), softs)
        pinned = [self.pinned(mix.moved(found), free) for found, _ in drawn]

        def pushed(trials: list[Trial], reaches: Sequence[float]) -> list[Trial]:
            return share_out(
                trials,
                self.wall,
                round(evening.push * steps),
                reaches,
                weights=evening.weights,
                renewed=again if evening.renewed else None,
            )

        shared = pushed(pinned, reaches)
        trials = [again(trial) for trial in shared] if evening.renewed else shared
        results = relax(trials, self.wall, 2 * steps)
        left = [k for k, (_, rest) in enumerate(results) if rest > 0]
        if evening.renewed:  # off the wall, where discs cannot be kept to it
            loose = [self.trial(mix.moved(shared[k].centres), free) for k in left]
        else:
            loose = [self.trial(mix.moved(drawn[k][0]), free) for k in left]
            loose = pushed(loose, [reaches[k] for k in left])
        results += relax(loose, self.wall, 2 * steps)
        settled = [mix, *(mix.moved(found) for found, rest in results if rest == 0)]
        return min(settled, key=untidiness)

    def seated(self, mix: Mix) -> Mix:
        """Put discs that nearly stand at the wall onto it, where they are free to.

        A disc on a mirror stays on it.
        """
        for _ in range(SEATINGS):
            moved = False
            depth, inward = self.wall.depth(mix.centres, mix.size, deep=True)
            off = np.flatnonzero((depth > FLUSH * self.pitch) & (depth < DEEP * self.pitch))
            for k in off[np.argsort(depth[off], kind="stable")]:
                step = depth[k] - WALL_MARGIN * self.pitch
                place = self._free_place(mix, int(k), mix.centres[k] - step * inward[k])
                if place is not None:
                    centres = mix.centres.copy()
                    centres[k], moved = place, True
                    mix = mix.moved(centres)
            if not moved:
                break
        return mix

    def _free_place(self, mix: Mix, k: int, place: Points) -> Points | None:
        """Return where a disc stands at a place, None if it may not."""
        normals, on = self.mirrors.normals, self.mirrors.on(mix.centres[k : k + 1])[0]
        place = place - (normals.T * on) @ (normals @ place)
        own = self.pitches[mix.size[k]]
        if (normals @ place < own / 2)[~on].any():
            return None
        others = self.everywhere(mix[np.arange(len(mix)) != k])
        apart = (self.pitches[others.size] + own) / 2 * (1 + EXCESS)
        if (np.hypot(*(others.centres - place).T) < apart).any():
            return None
        depth = self.wall.depth(place[None], mix.size[k : k + 1])[0]
        return place if depth[0] >= WALL_MARGIN * self.pitch / 2 else None
