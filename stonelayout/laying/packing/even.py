"""The ``even`` pattern: as many stones as fit at the pitch, evenly spread, the edge crisp."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.bounds import proved_bound
from stonelayout.geometry.fill_measures import psi6
from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.points import Points
from stonelayout.laying.common.ask import Ask, Laid
from stonelayout.laying.common.fill_symmetry import symmetric_room, symmetries
from stonelayout.laying.common.outline_smoothing import smoothed_part
from stonelayout.laying.common.part_fill import Part, fill_parts, remembered
from stonelayout.laying.rows.middle_row import middle_row
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import FADING

from .disc_insertion import Inserter
from .disc_packer import Evening, Packer, Pressing
from .lattice import best_lattice
from .perturbation_search import search
from .void_smoothing import smoothed


@dataclass(frozen=True)
class EvenEffort:
    """How long to look.

    ``excess``: how many discs too many the grids have that are pressed into the room, for each
    pitch of its outline; ``grids``: how many of them, of 500 discs each, at most, and ``few`` of
    fewer discs; ``sweeps`` of local insertion into vacancies from ``narrowest`` pitches up, each
    place ``tries`` times; ``batches`` of search that may fail, for up to FEW discs; ``evenings``:
    how many pushes are tried to share out the rest; ``steps`` of one relaxation.
    """

    excess: tuple[float, ...]
    grids: int
    few: int
    sweeps: int
    narrowest: float
    tries: int
    batches: int
    evenings: int
    steps: int = 300

    @property
    def finer(self) -> tuple[float, ...]:
        """The excesses, and those half way between."""
        between = ((a + b) / 2 for a, b in itertools.pairwise(self.excess))
        return tuple(
            sorted(
                {
                    *self.excess,
                    *between,
                    *(e / 2 for e in self.excess[:1]),
                    *(e * 1.3 for e in self.excess[-1:]),
                }
            )
        )


EFFORTS = {
    "draft": EvenEffort((), 0, 0, 0, 0.9, 1, 0, 1),
    "good": EvenEffort((0.1, 0.17, 0.28), 3, 12, 3, 0.66, 1, 0, 3, steps=220),
    "best": EvenEffort((0.03, 0.1, 0.17, 0.25, 0.35, 0.5), 36, 72, 8, 0.6, 3, 8, 3),
}
PRESSING = Pressing(rounds=40, wait=4, falling=0.5, share=2.0, most=0.04, fullest=True)
#: A room counts as round when 4 pi A / L^2 is above this.
ROUND = 0.9
#: A room narrower than this share of a pitch is a line: its grid is one row, and stays.
THIN = 1e-4
#: Whole-room search is for this many discs at most.
FEW = 160
#: Fills of more discs than this are not pressed, evened at their edge only, and in one symmetry.
MANY = 2500
#: Of many discs those within BAND pitches of the outline are evened; RIM more are looked at.
BAND, RIM = 6.0, 1.5
EVENING = Evening(FADING, draw=0.5, push=0.25, renewed=True)
#: A room is simplified by this share of a pitch before it is made symmetric; what is lost, with
#: what walls lose, is less than their margin.
ROUGH = 1e-5
#: A fill of higher symmetry is taken when it has at least this share of the stones and is tidier;
#: more when it is not, or has turns of four, which are no tidier than rows.
FAIR, NO_TIDIER = 0.95, 0.98
#: When it has hardly more than that, both are finished before they are compared again.
CLOSE = 0.03
#: A fill of two axes gives way to one of one axis that has more stones and is tidier by so much.
TIDIER = 0.1
#: Discs of a start within this many pitches of one of two mirrors go onto it.
ONTO = 0.25


def lay_even(ask: Ask) -> Laid:
    """Lay as many stones as fit, from the best lattice by local insertion and relaxation.

    Options: ``quality`` (draft, good, best), ``symmetric`` (a mirror-symmetric shape gets a
    mirror-symmetric fill, one with two axes or a star's five arms a fill with these, where that
    is tidier and keeps FAIR of the stones), ``edge_row``, ``margin``. Never fewer stones than the
    best lattice of the same symmetry.
    """
    return fill_parts(ask, fill_even, middle_row, beside=True)


@remembered
def fill_even(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
    """Fill one part evenly, behind an edge row if asked (part_fill.Fill)."""
    part = smoothed_part(part)
    if part.options.get("edge_row"):
        from stonelayout.laying.courses.edge_row import fill_behind_edge_row

        found = fill_behind_edge_row(part, fill_evenly)
    else:
        found = fill_evenly(part)
    return found, np.zeros(len(found), dtype=np.intp)


def fill_evenly(part: Part) -> Points:
    """Return the centres (n, 2) of an even fill of one part, in its frame."""
    pitch = part.sizes[0].pitch
    effort = EFFORTS[part.options.get("quality", "good")]
    mirrors = symmetries(part) if part.options.get("symmetric", True) else (NONE,)
    grid = best_lattice(part.room, pitch, mirrors=mirrors[-1].axes)
    if len(grid) < 2 or part.room.area < THIN * pitch * part.room.length:
        return grid
    if not effort.grids or len(grid) > MANY:
        mirrors = tuple(found for found in mirrors if len(found.group) <= 4)[:1]
    plain = [found for found in mirrors if len(found.group) <= 4]
    fills = [_Filled.of(part.room, pitch, effort, found) for found in plain]
    best = fills[0]
    for fill in fills[1:]:
        tidier = fill.count > best.count and fill.untidiness < best.untidiness - TIDIER
        if tidier or best.count < FAIR * fill.count:
            best = fill
    most = max(fill.count for fill in fills)
    for found in mirrors[: -len(plain)]:
        fill = _Filled.of(part.room, pitch, effort, found)
        tidier = len(found.group) != 8 and fill.untidiness < best.untidiness
        share = FAIR if tidier else NO_TIDIER
        if fill.count >= share * most:
            higher, other = fill.finished(), np.empty((0, 2))
            if fill.count < (share + CLOSE) * most:
                other = best.finished()
            return higher if len(higher) >= share * len(other) else other
    return best.finished()


@dataclass(frozen=True, eq=False)
class _Filled:
    """A fill of one symmetry: the discs between its mirrors, and what placed them."""

    packer: Packer
    inserter: Inserter
    effort: EvenEffort
    mix: Mix

    @property
    def count(self) -> int:
        return self.packer.count(self.mix)

    @property
    def untidiness(self) -> float:
        return untidiness(self.packer, self.mix)

    @classmethod
    def of(cls, room: BaseGeometry, pitch: float, effort: EvenEffort, mirrors: Mirrors) -> _Filled:
        """Press grids into a room, and insert what fits; ``finished`` makes it tidy."""
        axes = mirrors.axes
        room = symmetric_room(room, mirrors, ROUGH * pitch)
        packer = Packer([room], [pitch], mirrors)
        grid = best_lattice(room, pitch, mirrors=axes)
        if len(mirrors) > 1:  # little is left to handle, so more can be tried
            grids, few = 2 * effort.grids, 2 * effort.few
            effort = dataclasses.replace(effort, excess=effort.finer, grids=grids, few=few)
        bound = proved_bound(room, pitch) if effort.batches else math.inf
        starts = (
            []
            if len(grid) > MANY or len(grid) >= bound
            else full_grids(room, grid, pitch, effort, axes)
        )
        near = (ONTO if len(mirrors) > 1 else 1e-6) * pitch
        fitting = packer.press([mirrors.between(start, near) for start in starts], PRESSING)
        if len(mirrors.group) <= 4:  # the grid has the symmetry of the axes
            fitting.append(Mix.of(mirrors.between(grid, 1e-6 * pitch)))
        most = max(map(packer.count, fitting), default=0)
        fullest = [one for one in fitting if packer.count(one) == most]
        mix = Mix.of(np.empty((0, 2)))
        if most:
            mix = min(fullest, key=lambda one: untidiness(packer, one))
        if packer.count(mix) >= bound:  # no more can fit
            effort = dataclasses.replace(effort, batches=0, sweeps=0)
        if effort.batches and packer.count(mix) <= FEW:
            mix = search(packer, mix, effort.batches)
        inserter = Inserter(packer, steps=effort.steps, narrowest=effort.narrowest)
        if len(mix):
            mix = _evened(packer, mix, effort, min(effort.evenings, 1))
        for _ in range(effort.sweeps if len(mix) else 0):
            before = len(mix)
            mix, tried = inserter.sweep(mix, effort.tries)
            if not tried or (len(mix) == before and effort.tries == 1):
                break
            mix = _evened(packer, mix, effort, 1)
        return cls(packer, inserter, effort, mix)

    def finished(self) -> Points:
        """Return all discs (n, 2) when what room is left is shared out, and a last one tried."""
        packer, mix, pushes = self.packer, self.mix, self.effort.evenings
        if len(mix) and pushes > 1:
            mix = _evened(packer, mix, self.effort, pushes)
            more = mix
            if self.effort.sweeps:
                more, _ = self.inserter.sweep(mix, self.effort.tries)
            if len(more) > len(mix):
                mix = _evened(packer, more, self.effort, pushes)
            mix = packer.seated(smoothed(packer, mix))
        return packer.everywhere(mix).centres


def untidiness(packer: Packer, mix: Mix) -> float:
    """Return how ragged a fill's edge is, and the disorder of its inside (half of 1 - psi6)."""
    order = psi6(packer.everywhere(mix).centres, packer.pitch)
    return packer.raggedness(mix) + (1 - order) / 2


def _evened(packer: Packer, mix: Mix, effort: EvenEffort, pushes: int) -> Mix:
    """Share out what room is left over, without giving up any distance."""
    from scipy.spatial import cKDTree

    def rough(mix: Mix) -> float:
        return untidiness(packer, mix)

    if len(mix) <= MANY:
        return packer.evened(mix, EVENING, pushes, effort.steps, rough)
    away = np.asarray(cKDTree(packer.voids.outlines[0]).query(mix.centres)[0]) / packer.pitch
    near = away < BAND + RIM
    evened = packer.evened(mix[near], EVENING, 1, effort.steps, rough, away[near] < BAND)
    return mix[~near].with_more(evened.centres)


def full_grids(
    room: BaseGeometry, grid: Points, pitch: float, effort: EvenEffort, axes: tuple[bool, bool]
) -> list[Points]:
    """Return grids that are too full: of several pitches and angles, plain and fitted."""
    found: list[Points] = []
    roundness = 4 * math.pi * room.area / room.length**2
    if effort.batches and not any(axes) and roundness > ROUND and len(grid) <= FEW:
        found.append(ring_start(room, len(grid)))
    most = min(effort.few, max(1, effort.grids * 500 // len(grid)))
    for fit in (False, True) if len(grid) <= FEW else (False,):
        for angles in (None, (0.0,), (math.pi / 2,)):
            for excess in effort.excess:
                if len(found) == most:
                    return found
                scale = (1 + excess * room.length / pitch / len(grid)) ** -0.5
                start = best_lattice(room, pitch * scale, angles=angles, mirrors=axes)
                start = _fitted(room, start) if fit else start
                if not any(
                    len(start) == len(other) and np.abs(start - other).max() < 0.01 * pitch
                    for other in found
                ):
                    found.append(start)
    return found


def ring_start(room: BaseGeometry, least: int) -> Points:
    """Return rings of 6j discs about the middle, more than ``least`` in all.

    The start of curved hexagonal packings (Lubachevsky and Graham, arXiv math/0406098).
    """
    count = math.ceil((math.sqrt(12 * least - 3) - 3) / 6)
    middle = shapely.get_coordinates(shapely.centroid(room))
    radius = math.sqrt(room.area / math.pi)
    rings = [middle]
    for j in range(1, count + 1):
        turn = np.arange(6 * j) * (math.tau / (6 * j))
        rings.append(middle + radius * j / count * np.stack((np.cos(turn), np.sin(turn)), axis=1))
    return np.concatenate(rings)


def _fitted(room: BaseGeometry, grid: Points) -> Points:
    """Stretch a grid to the room's bounds."""
    low, high = grid.min(axis=0), grid.max(axis=0)
    bounds = np.array(room.bounds).reshape(2, 2)
    stretch = (bounds[1] - bounds[0]) / np.maximum(high - low, 1e-9)
    fitted: Points = (grid - (low + high) / 2) * stretch + bounds.mean(axis=0)
    return fitted
