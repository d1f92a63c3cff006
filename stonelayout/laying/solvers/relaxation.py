"""Relaxation: push discs apart, and into their room, until none overlap; many trials at once.

The energy of a trial is E = sum over pairs of max(0, d - r)^2 + sum over discs of
max(0, margin - depth)^2, or of (margin - depth)^2 for pinned discs: zero when every pair is d
apart, for unlike sizes the mean of theirs, and every centre is in its room (as in X. Lai, J.-K.
Hao, R. Xiao, Z.-H. Fu, "Perturbation-based thresholding search for packing equal circles and
spheres", 2022, and arXiv 2405.16618). It is minimised by L-BFGS (`lbfgs`), all trials together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.points import Points

from .lbfgs import Descent
from .room_distance import DEEP, WALL_MARGIN, SidesNear, Wall

#: Distances are solved for with this relative excess, so that what remains of the energy at
#: SOLVED leaves them long enough.
EXCESS = 1e-6
#: A trial is solved when its energy is below (SOLVED d)^2.
SOLVED = 4e-7
#: Weights of a push that shares out room: it fades, so that no distance is given up at its end.
FADING = (0.3, 0.06, 0.01)
_SKIN = 0.25
#: A trial is close when E / d^2 is below this.
_CLOSE = 1e-4
#: With ``hasty`` a trial gives up when E / d^2 is above the second figure after so many steps:
#: of 106 windows that were solved in trials on letters and a star, one would have been lost.
_HASTE = ((24, 1.8e-2), (36, 9e-3), (48, 6e-3), (72, 3e-3), (120, 4e-4))


@dataclass(frozen=True, eq=False)
class Trial:
    """Discs of one trial: ``centres`` (n, 2); ``free`` (n,) tells which may move.

    Discs stand for their images in the ``mirrors`` too: one stands on a mirror and stays there, or
    its own image is at least a pitch away. ``pinned`` (n,): discs that are to stand on the wall.
    ``size`` (n,): which of the sizes of `room_distance.Walls` each disc has.
    """

    centres: Points
    free: npt.NDArray[np.bool_]
    mirrors: Mirrors = NONE
    pinned: npt.NDArray[np.bool_] | None = None
    size: npt.NDArray[np.intp] | None = None


@dataclass(frozen=True)
class Soft:
    """A weak push between discs nearer than ``reach`` pitches, to even out what room is left.

    Discs within DEEP pitches of the wall are drawn to it, and to its corners, with ``pull``.
    """

    reach: float
    weight: float
    pull: float = 0.0


class _Batch:
    """Several trials in one table, moved far apart so that they cannot touch."""

    def __init__(
        self,
        trials: Sequence[Trial],
        wall: Wall,
        softs: Sequence[Soft] | None,
        only_free: bool,
    ) -> None:
        self.counts = np.array([len(trial.centres) for trial in trials])
        x = np.concatenate([trial.centres for trial in trials])
        self.free = np.concatenate([trial.free for trial in trials]).astype(np.float64)
        self.normals = trials[0].mirrors.normals
        self.held = trials[0].mirrors.on(x)
        self.free[self.held.sum(axis=1) > 1] = 0.0
        self.walled = self.free > 0 if only_free else np.ones(len(self.free), dtype=np.bool_)
        self.pinned = np.concatenate(
            [np.zeros(len(t.free), bool) if t.pinned is None else t.pinned for t in trials]
        )
        self.soft = soft = softs[0] if softs else None
        self.deep = bool(self.pinned.any() or (soft and soft.pull))
        self.d, self.wall = wall.pitch * (1 + EXCESS), wall
        self.size = np.concatenate(
            [np.zeros(len(t.free), np.intp) if t.size is None else t.size for t in trials]
        )
        self.own = wall.pitches[self.size] * (1 + EXCESS)
        reaches = np.array([one.reach for one in softs or (Soft(1.0, 0.0),)])
        self.least, self.most = float(reaches.min()), float(reaches.max())
        self.reach = np.repeat(np.broadcast_to(reaches, len(trials)), self.counts)
        self.margin = WALL_MARGIN * wall.pitch
        wide = float(np.ptp(x[:, 0])) + 8 * self.d * self.most
        self.apart = np.repeat(np.arange(len(trials)) * wide, self.counts)
        self._count()
        self.near: SidesNear | None = None
        self.start = x

    def _count(self) -> None:
        self.first = (np.cumsum(self.counts) - self.counts).astype(np.intp)
        self.moves = self.free[:, None]
        on = [(normal, self.held[:, k]) for k, normal in enumerate(self.normals)]
        self.off = [(normal, np.flatnonzero(~held & (self.free > 0))) for normal, held in on]
        self.on = [(normal, np.flatnonzero(held)) for normal, held in on]
        self._listed: Points | None = None

    def _list(self, x: Points) -> None:
        from scipy.spatial import cKDTree

        tree = cKDTree(x + np.stack((self.apart, np.zeros(len(x))), axis=1))
        pairs = tree.query_pairs(self.d * self.most * (1 + _SKIN), output_type="ndarray")
        moves = self.free > 0
        pairs = pairs[moves[pairs[:, 0]] | moves[pairs[:, 1]]]
        pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
        self.i, self.j = pairs.T.astype(np.intp).copy()
        self.lengths = (self.own[self.i] + self.own[self.j]) / 2
        self.reaches = self.lengths * self.reach[self.i]
        self.squares = self.reaches**2
        self._listed = x

    def energy(self, x: Points) -> tuple[Points, Points]:
        """Return each trial's energy (g,) and the gradient (n, 2)."""
        if self._listed is None or (
            float(np.abs(x - self._listed).max()) > self.d * self.least * _SKIN / 2 / 1.415
        ):
            self._list(x)
        n = len(x)
        gradient = np.empty((n, 2))
        px, py = x[:, 0], x[:, 1]
        dx, dy = px[self.i] - px[self.j], py[self.i] - py[self.j]
        square = dx * dx + dy * dy
        touch = np.flatnonzero(square < self.squares)
        i, j = self.i[touch], self.j[touch]
        length = np.maximum(np.sqrt(square[touch]), 1e-12)
        short = self.lengths[touch] - length
        if self.soft:
            short = np.maximum(short, 0.0)
            slack = self.reaches[touch] - length
            cost = short * short + self.soft.weight * slack * slack
            push = 2 * (short + self.soft.weight * slack) / length
        else:
            cost, push = short * short, 2 * short / length
        for axis, step in enumerate((dx, dy)):
            force = push * step[touch]
            gradient[:, axis] = np.bincount(j, force, n) - np.bincount(i, force, n)
        each = np.bincount(i, cost, n).astype(np.float64)
        for normal, free in self.off:
            height = x[free] @ normal
            own = np.flatnonzero(height < self.own[free] / 2)
            if len(own):
                short = self.own[free[own]] - 2 * height[own]
                each[free[own]] += short**2
                gradient[free[own]] -= 4 * short[:, None] * normal
        self.near = self.wall.sides_near(x, self.size, deep=self.deep, last=self.near)
        near, depth, inward = self.near.depth(x)
        out = self.margin - depth
        some = (out > 0) & self.walled[near]
        if self.deep:
            some |= self.pinned[near]
        outside = near[some]
        gradient[outside] -= 2 * out[some, None] * inward[some]
        each[outside] += out[some] ** 2
        if self.soft and self.soft.pull:
            self._pull(self.soft.pull, x, (near, -out, inward), each, gradient)
        gradient *= self.moves
        for normal, held in self.on:
            if len(held):
                gradient[held] -= (gradient[held] @ normal)[:, None] * normal
        return np.add.reduceat(each, self.first), gradient

    def _pull(
        self,
        pull: float,
        x: Points,
        at_wall: tuple[npt.NDArray[np.intp], Points, Points],
        each: Points,
        gradient: Points,
    ) -> None:
        """Draw discs near the wall to it: pull (s^2 - s^4 / 2 r^2) at a distance s < r."""
        far = (DEEP * self.wall.pitch) ** 2
        near, depth, inward = at_wall
        some = (depth > 0) & (depth**2 < far)
        near, depth, inward = near[some], depth[some], inward[some]
        square = depth**2
        each[near] += pull * (square - square**2 / (2 * far) - far / 2)
        slope = 2 * pull * depth * (1 - square / far)
        gradient[near] += slope[:, None] * inward
        away, corner = self.wall.nearest_corner(x, self.size)
        near = np.flatnonzero(away**2 < far)
        square = away[near] ** 2
        each[near] += pull * (square - square**2 / (2 * far) - far / 2)
        slope = 2 * pull * (1 - square / far)
        gradient[near] += slope[:, None] * (x[near] - self.wall.corners[corner[near]])

    def keep(self, trials: npt.NDArray[np.bool_]) -> None:
        """Go on with some of the trials."""
        rows = np.repeat(trials, self.counts)
        listed, number = self._listed, np.cumsum(rows) - 1
        self.counts = self.counts[trials]
        for name in ("free", "walled", "apart", "reach", "size", "own", "held", "pinned"):
            setattr(self, name, getattr(self, name)[rows])
        self._count()
        if listed is not None:
            self._listed = listed[rows]
            kept = rows[self.i]
            self.i, self.j = number[self.i[kept]], number[self.j[kept]]
            for name in ("lengths", "reaches", "squares"):
                setattr(self, name, getattr(self, name)[kept])


def relax(
    trials: Sequence[Trial],
    wall: Wall,
    steps: int,
    soft: Soft | Sequence[Soft] | None = None,
    *,
    hasty: bool = False,
    only_free: bool = False,
) -> list[tuple[Points, float]]:
    """Relax trials; return for each its centres and what remains of E / d^2 (0 if solved).

    Several ``soft`` pushes, one a trial, may differ in their reach only. With ``only_free`` discs
    that hold still may stand anywhere, as those on the very outline do.
    """
    if not trials:
        return []
    pitch = wall.pitch
    results: list[tuple[Points, float] | None] = [None] * len(trials)
    names = np.arange(len(trials))
    softs = [soft] if isinstance(soft, Soft) else soft
    batch = _Batch(trials, wall, softs, only_free)
    state = Descent(batch.energy, batch.start, batch.counts, batch.d / 3, _CLOSE * batch.d**2)
    solved = (SOLVED * pitch) ** 2
    for step in range(steps):
        state.advance()
        if step % 6 == 5 or step == steps - 1:
            done = (state.value < solved) | state.stalled() | (step == steps - 1)
            if hasty:
                least = min((most for after, most in _HASTE if step + 1 >= after), default=np.inf)
                done |= state.value > least * pitch**2
            if done.any():
                places = np.split(state.x, np.cumsum(state.counts)[:-1])
                for k in np.flatnonzero(done):
                    value = float(state.value[k])
                    rest = 0.0 if value < solved else value / pitch**2
                    results[names[k]] = (places[k], rest)
                names = names[~done]
                if not len(names):
                    break
                state.keep(~done)
                batch.keep(~done)
    return [result for result in results if result is not None]


def share_out(
    trials: Sequence[Trial],
    wall: Wall,
    steps: int,
    reaches: Sequence[float],
    *,
    weights: Sequence[float] = FADING,
    renewed: Callable[[Trial], Trial] | None = None,
    only_free: bool = False,
) -> list[Trial]:
    """Share out what room is left among the free discs of trials, by pushes of these weights.

    Each push takes ``steps`` and reaches as many pitches as ``reaches`` says, for all trials or for
    each; before it trials are ``renewed``. Distances are to be restored after it.
    """
    found = list(trials)
    for weight in weights if trials else ():
        found = [renewed(trial) for trial in found] if renewed else found
        softs = [Soft(reach, weight) for reach in reaches]
        pushed = relax(found, wall, steps, softs, only_free=only_free)
        found = [
            replace(trial, centres=centres)
            for trial, (centres, _) in zip(found, pushed, strict=True)
        ]
    return found
