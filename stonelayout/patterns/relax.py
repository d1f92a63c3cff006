"""Relaxation: push discs apart, and into their room, until none overlap; many trials at once.

The energy of a trial is E = sum over pairs of max(0, d - r)^2 + sum over discs of
max(0, margin - depth)^2, or of (margin - depth)^2 for pinned discs: zero when every pair is d
apart, for unlike sizes the mean of theirs, and every centre is in its room (as in X. Lai, J.-K.
Hao, R. Xiao, Z.-H. Fu, "Perturbation-based thresholding search for packing equal circles and
spheres", 2022, and arXiv 2405.16618). It is minimised by L-BFGS (J. Nocedal, "Updating
quasi-Newton matrices with limited storage", Math. Comp. 35 (1980) 773-782), with the steps of all
trials taken together and the scalars of each kept apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.artwork import Points

from .mirrors import NONE, Mirrors
from .walls import DEEP, WALL_MARGIN, Wall

#: Distances are solved for with this relative excess, so that what remains of the energy at
#: SOLVED leaves them long enough.
EXCESS = 1e-6
#: A trial is solved when its energy is below (SOLVED d)^2.
SOLVED = 4e-7
_MEMORY = 6
_SKIN = 0.25
#: A trial gives up when its energy falls by less than this share in _PATIENCE steps; by a tenth
#: of it when E / d^2 is below _CLOSE.
_STALL, _PATIENCE, _CLOSE = 0.03, 24, 1e-4
#: With ``hasty`` a trial gives up when E / d^2 is above the second figure after so many steps:
#: of 106 windows that were solved in trials on letters and a star, one would have been lost.
_HASTE = ((24, 1.8e-2), (36, 9e-3), (48, 6e-3), (72, 3e-3), (120, 4e-4))


@dataclass(frozen=True, eq=False)
class Trial:
    """Discs of one trial: ``centres`` (n, 2); ``free`` (n,) tells which may move.

    Discs stand for their images in the ``mirrors`` too: one stands on a mirror and stays there, or
    its own image is at least a pitch away. ``pinned`` (n,): discs that are to stand on the wall.
    ``size`` (n,): which of the sizes of `walls.Walls` each disc has.
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
        trials: list[Trial],
        pitch: float,
        wall: Wall,
        softs: Sequence[Soft] | None,
        only_free: bool,
    ) -> None:
        counts = np.array([len(trial.centres) for trial in trials])
        self.group = np.repeat(np.arange(len(trials)), counts)
        self.first = np.concatenate(([0], np.cumsum(counts)[:-1])).astype(np.intp)
        self.x = np.concatenate([trial.centres for trial in trials])
        self.free = np.concatenate([trial.free for trial in trials]).astype(np.float64)
        self.normals = trials[0].mirrors.normals
        self.held = trials[0].mirrors.on(self.x)
        self.free[self.held.sum(axis=1) > 1] = 0.0
        self.walled = self.free > 0 if only_free else np.ones(len(self.free), dtype=np.bool_)
        self.pinned = np.concatenate(
            [np.zeros(len(t.free), bool) if t.pinned is None else t.pinned for t in trials]
        )
        self.soft = soft = softs[0] if softs else None
        self.deep = bool(self.pinned.any() or (soft and soft.pull))
        self.d, self.wall = pitch * (1 + EXCESS), wall
        self.size = np.concatenate(
            [np.zeros(len(t.free), np.intp) if t.size is None else t.size for t in trials]
        )
        self.own = wall.pitches[self.size] * (1 + EXCESS)
        reaches = np.array([one.reach for one in softs or (Soft(1.0, 0.0),)])
        self.reach = np.repeat(np.broadcast_to(reaches, len(trials)), counts)
        self.margin = WALL_MARGIN * pitch
        x0, x1 = float(self.x[:, 0].min()), float(self.x[:, 0].max())
        self.apart = np.zeros((len(self.x), 2))
        self.apart[:, 0] = self.group * (x1 - x0 + 8 * self.d * self.reach.max())
        self._listed: Points | None = None

    def _list(self) -> None:
        from scipy.spatial import cKDTree

        tree = cKDTree(self.x + self.apart)
        pairs = tree.query_pairs(self.d * self.reach.max() * (1 + _SKIN), output_type="ndarray")
        moves = self.free > 0
        pairs = pairs[moves[pairs[:, 0]] | moves[pairs[:, 1]]]
        self.pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
        self.lengths = (self.own[self.pairs[:, 0]] + self.own[self.pairs[:, 1]]) / 2
        self._listed = self.x.copy()

    def energy(self, x: Points) -> tuple[Points, Points]:
        """Return each trial's energy (g,) and the gradient (n, 2)."""
        self.x = x
        if self._listed is None or (
            float(np.abs(x - self._listed).max()) > self.d * self.reach.min() * _SKIN / 2 / 1.415
        ):
            self._list()
        i, j = self.pairs[:, 0], self.pairs[:, 1]
        step = x[i] - x[j]
        length = np.sqrt(np.einsum("ij,ij->i", step, step))
        reach = self.lengths * self.reach[i]
        touch = np.flatnonzero(length < reach)
        i, j, step, length = i[touch], j[touch], step[touch], np.maximum(length[touch], 1e-12)
        short = np.maximum(self.lengths[touch] - length, 0)
        cost, force = short**2, 2 * short
        if self.soft:
            slack = reach[touch] - length
            cost, force = cost + self.soft.weight * slack**2, force + 2 * self.soft.weight * slack
        push = step * (force / length)[:, None]
        n = len(x)
        gradient = np.empty((n, 2))
        for axis in (0, 1):
            gradient[:, axis] = np.bincount(j, push[:, axis], n) - np.bincount(i, push[:, axis], n)
        each = np.bincount(i, cost, n).astype(np.float64)
        for k, normal in enumerate(self.normals):
            height = x @ normal
            own = np.flatnonzero((height < self.own / 2) & ~self.held[:, k] & (self.free > 0))
            short = self.own[own] - 2 * height[own]
            each[own] += short**2
            gradient[own] -= 4 * short[:, None] * normal
        depth, inward = self.wall.depth(x, self.size, deep=self.deep)
        out = self.margin - depth
        outside = np.flatnonzero(((out > 0) & self.walled) | (self.pinned & np.isfinite(depth)))
        gradient[outside] -= 2 * out[outside, None] * inward[outside]
        each[outside] += out[outside] ** 2
        if self.soft and self.soft.pull:
            self._pull(self.soft.pull, x, -out, inward, each, gradient)
        gradient *= self.free[:, None]
        for k, normal in enumerate(self.normals):
            gradient -= np.where(self.held[:, k], gradient @ normal, 0.0)[:, None] * normal
        return np.add.reduceat(each, self.first), gradient

    def _pull(
        self,
        pull: float,
        x: Points,
        depth: Points,
        inward: Points,
        each: Points,
        gradient: Points,
    ) -> None:
        """Draw discs near the wall to it: pull (s^2 - s^4 / 2 r^2) at a distance s < r."""
        far = (DEEP * self.wall.pitch) ** 2
        near = np.flatnonzero((depth > 0) & (depth**2 < far))
        square = depth[near] ** 2
        each[near] += pull * (square - square**2 / (2 * far) - far / 2)
        slope = 2 * pull * depth[near] * (1 - square / far)
        gradient[near] += slope[:, None] * inward[near]
        away, corner = self.wall.nearest_corner(x, self.size)
        near = np.flatnonzero(away**2 < far)
        square = away[near] ** 2
        each[near] += pull * (square - square**2 / (2 * far) - far / 2)
        slope = 2 * pull * (1 - square / far)
        gradient[near] += slope[:, None] * (x[near] - self.wall.corners[corner[near]])


def relax(
    trials: list[Trial],
    pitch: float,
    wall: Wall,
    steps: int,
    soft: Soft | Sequence[Soft] | None = None,
    *,
    hasty: bool = False,
    only_free: bool = False,
) -> list[tuple[Points, float]]:
    """Relax trials; return for each its centres and what remains of E / pitch^2 (0 if solved).

    Several ``soft`` pushes, one a trial, may differ in their reach only. With ``only_free`` discs
    that hold still may stand anywhere, as those on the very outline do.
    """
    results: list[tuple[Points, float] | None] = [None] * len(trials)
    names = list(range(len(trials)))
    softs = [soft] if isinstance(soft, Soft) else soft
    state = _State(_Batch(trials, pitch, wall, softs, only_free))
    solved = (SOLVED * pitch) ** 2
    for step in range(steps):
        state.advance()
        if step % 6 == 5 or step == steps - 1:
            done = (state.value < solved) | state.stalled() | (step == steps - 1)
            if hasty:
                least = min((most for after, most in _HASTE if step + 1 >= after), default=np.inf)
                done |= state.value > least * pitch**2
            if done.any():
                for k in np.flatnonzero(done):
                    value = float(state.value[k])
                    rest = 0.0 if value < solved else value / pitch**2
                    results[names[k]] = (state.x[state.batch.group == k], rest)
                names = [name for name, over in zip(names, done, strict=True) if not over]
                if not names:
                    break
                state.keep(~done)
    return [result for result in results if result is not None]


class _State:
    """L-BFGS on a batch: one memory for all, one step length and curvature for each trial."""

    def __init__(self, batch: _Batch) -> None:
        self.batch = batch
        self.x = batch.x
        self.value, self.gradient = batch.energy(self.x)
        self.length = np.ones(len(self.value))
        self.memory: list[tuple[Points, Points, Points]] = []
        self.fails = np.zeros(len(self.value), dtype=int)
        self.history: list[Points] = [self.value]

    def _dot(self, a: Points, b: Points) -> Points:
        return np.asarray(np.add.reduceat(np.einsum("ij,ij->i", a, b), self.batch.first))

    def _direction(self) -> Points:
        group = self.batch.group
        q = self.gradient.copy()
        weights = []
        for s, y, rho in reversed(self.memory):
            a = rho * self._dot(s, q)
            weights.append(a)
            q -= a[group, None] * y
        scale = np.full(len(self.value), 0.25)
        if self.memory:
            s, y, rho = self.memory[-1]
            yy = self._dot(y, y)
            good = (rho > 0) & (yy > 0)
            scale[good] = 1 / (rho[good] * yy[good])
        q *= scale[group, None]
        for (s, y, rho), a in zip(self.memory, reversed(weights), strict=True):
            b = rho * self._dot(y, q)
            q += (a - b)[group, None] * s
        return -q

    def advance(self) -> None:
        """Take one step of each trial; a trial whose energy would rise halves its step."""
        group = self.batch.group
        move = self._direction()
        slope = self._dot(move, self.gradient)
        wrong = (slope >= 0) | (self.fails > 4)
        if wrong.any():
            move[wrong[group]] = -0.25 * self.gradient[wrong[group]]
            slope = self._dot(move, self.gradient)
            for _, _, rho in self.memory:
                rho[wrong] = 0.0
            self.length[wrong & (self.fails > 4)] = 1.0
            self.fails[wrong] = 0
        move *= self.length[group, None]
        # no disc moves further than a third of a pitch at once
        far = np.sqrt(np.maximum.reduceat(np.einsum("ij,ij->i", move, move), self.batch.first))
        cap = np.minimum(1.0, self.batch.d / 3 / np.maximum(far, 1e-300))
        move *= cap[group, None]
        x = self.x + move
        value, gradient = self.batch.energy(x)
        good = value <= self.value + 1e-4 * self.length * cap * slope
        good |= value == 0
        keep = good[group, None]
        s = np.where(keep, move, 0.0)
        y = np.where(keep, gradient - self.gradient, 0.0)
        sy = self._dot(s, y)
        rho = np.where(good & (sy > 1e-12 * self._dot(y, y)), 1 / np.maximum(sy, 1e-300), 0.0)
        self.memory.append((s, y, rho))
        if len(self.memory) > _MEMORY:
            self.memory.pop(0)
        self.x = np.where(keep, x, self.x)
        self.value = np.where(good, value, self.value)
        self.gradient = np.where(keep, gradient, self.gradient)
        self.length = np.where(good, 1.0, self.length / 2)
        self.fails = np.where(good, 0, self.fails + 1)
        self.history.append(self.value)
        if len(self.history) > _PATIENCE:
            self.history.pop(0)

    def stalled(self) -> npt.NDArray[np.bool_]:
        """Tell which trials have all but stopped, shape (g,)."""
        if len(self.history) < _PATIENCE:
            return np.zeros(len(self.value), dtype=np.bool_)
        near = self.value < _CLOSE * self.batch.d**2
        share = np.where(near, _STALL / 10, _STALL)
        return np.asarray(self.value > (1 - share) * self.history[0])

    def keep(self, trials: npt.NDArray[np.bool_]) -> None:
        """Go on with some of the trials."""
        batch = self.batch
        rows = trials[batch.group]
        counts = np.bincount(batch.group)[trials]
        batch.group = np.repeat(np.arange(len(counts)), counts)
        batch.first = np.concatenate(([0], np.cumsum(counts)[:-1])).astype(np.intp)
        batch.free, batch.apart = batch.free[rows], batch.apart[rows]
        batch.reach = batch.reach[rows]
        batch.size, batch.own = batch.size[rows], batch.own[rows]
        batch.held, batch.pinned = batch.held[rows], batch.pinned[rows]
        batch.walled = batch.walled[rows]
        if batch._listed is not None:
            batch._listed = batch._listed[rows]
        kept = rows[batch.pairs].all(axis=1)
        number = np.cumsum(rows) - 1
        batch.pairs = number[batch.pairs[kept]]
        batch.lengths = batch.lengths[kept]
        self.x, self.gradient = self.x[rows], self.gradient[rows]
        self.value, self.length = self.value[trials], self.length[trials]
        self.fails = self.fails[trials]
        self.memory = [(s[rows], y[rows], rho[trials]) for s, y, rho in self.memory]
        self.history = [value[trials] for value in self.history]
