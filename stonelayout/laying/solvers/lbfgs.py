"""L-BFGS on many small problems at once, the scalars of each kept apart.

J. Nocedal, "Updating quasi-Newton matrices with limited storage", Math. Comp. 35 (1980) 773-782.
The two loops of its recursion run on the products of the vectors remembered, as in W. Chen, Z.
Wang, J. Zhou, "Large-scale L-BFGS using MapReduce" (2014), so that long vectors are read twice a
step, whatever the memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points

_T = TypeVar("_T", bound=np.generic)
Energy = Callable[[Points], tuple[Points, Points]]
MEMORY = 6
#: A problem has stalled when its energy falls by less than this share in PATIENCE steps; by a tenth
#: of it when the energy is below what counts as close.
STALL, PATIENCE = 0.03, 24


class Descent:
    """Points (n, 2) of g problems, ``counts`` (g,) of each; ``energy`` returns (g,) and (n, 2).

    No problem's points move further than ``reach`` at once; energies below ``close`` are close.
    """

    def __init__(
        self,
        energy: Energy,
        x: Points,
        counts: npt.NDArray[np.intp],
        reach: float,
        close: float,
    ) -> None:
        self.energy, self.x, self.reach, self.close = energy, x, reach, close
        self._count(counts)
        self.value, self.gradient = energy(x)
        g = len(counts)
        self.length = np.ones(g)
        self.fails = np.zeros(g, dtype=int)
        self.history: list[Points] = [self.value]
        # moves s, then changes of the gradient y; their products, by slots
        self.basis = np.zeros((2 * MEMORY, x.size))
        self.with_y = np.zeros((2 * MEMORY, MEMORY, g))
        self.rho = np.zeros((MEMORY, g))
        self.slots: list[int] = []
        self.with_gradient = np.zeros((2 * MEMORY, g))

    def _count(self, counts: npt.NDArray[np.intp]) -> None:
        self.counts = counts
        self.first = (2 * (np.cumsum(counts) - counts)).astype(np.intp)
        self.group = np.repeat(np.arange(len(counts)), 2 * counts)

    def _sum(self, a: Points) -> Points:
        """Sum over the points of each problem: (..., 2n) to (..., g)."""
        if len(self.counts) == 1:
            return np.asarray(np.add.reduce(a, axis=-1, keepdims=True))
        return np.asarray(np.add.reduceat(a, self.first, axis=-1))

    def _spread(self, a: npt.NDArray[_T]) -> npt.NDArray[_T]:
        """Repeat what each problem has for its points: (..., g) to (..., 2n)."""
        return a if len(self.counts) == 1 else a[..., self.group]

    def _direction(self) -> Points:
        scale = np.full(len(self.counts), 0.25)
        step = -0.25 * self.gradient.ravel()
        if not self.slots:
            return step
        last = self.slots[-1]
        yy = self.with_y[MEMORY + last, last]
        good = (self.rho[last] > 0) & (yy > 0)
        scale[good] = 1 / (self.rho[last, good] * yy[good])
        # what is not yet set in a and c is zero, and so are problems with rho = 0
        a, c = np.zeros((2, MEMORY, len(self.counts)))
        sy, yy = self.with_y[:MEMORY], self.with_y[MEMORY:]
        for i in reversed(self.slots):
            a[i] = self.rho[i] * (self.with_gradient[i] - np.add.reduce(sy[i] * a))
        yq = scale * (self.with_gradient[MEMORY:] - np.add.reduce(yy * a, axis=1))
        for i in self.slots:
            c[i] = a[i] - self.rho[i] * (yq[i] + np.add.reduce(sy[:, i] * c))
        share = self._spread(np.concatenate((-c, scale * a)))
        step = np.asarray(np.add.reduce(share * self.basis))
        step -= self._spread(scale) * self.gradient.ravel()
        return step

    def advance(self) -> None:
        """Take one step of each problem; one whose energy would rise halves its step."""
        move = self._direction()
        flat = self.gradient.ravel()
        slope = self._sum(move * flat)
        wrong = (slope >= 0) | (self.fails > 4)
        if wrong.any():
            move = np.where(self._spread(wrong), -0.25 * flat, move)
            slope = self._sum(move * flat)
            self.rho[:, wrong] = 0.0
            self.length[wrong & (self.fails > 4)] = 1.0
            self.fails[wrong] = 0
        far = self.length * self._furthest(move)
        cap = self.length * np.minimum(1.0, self.reach / np.maximum(far, 1e-300))
        move *= self._spread(cap)
        x = self.x + move.reshape(-1, 2)
        value, gradient = self.energy(x)
        good = (value <= self.value + 1e-4 * cap * slope) | (value == 0)
        change = gradient.ravel() - flat
        if good.all():
            self.x, self.value, self.gradient = x, value, gradient
        else:
            keep = self._spread(good)
            move, change = np.where(keep, move, 0.0), np.where(keep, change, 0.0)
            self.x = np.where(keep, x.ravel(), self.x.ravel()).reshape(-1, 2)
            self.value = np.where(good, value, self.value)
            self.gradient = np.where(keep, gradient.ravel(), flat).reshape(-1, 2)
        self._remember(move, change, good)
        self.length = np.where(good, 1.0, self.length / 2)
        self.fails = np.where(good, 0, self.fails + 1)
        self.history.append(self.value)
        if len(self.history) > PATIENCE:
            self.history.pop(0)

    def _furthest(self, move: Points) -> Points:
        """Return how far the point moves that moves most in each problem, shape (g,)."""
        square = (move * move).reshape(-1, 2).sum(axis=1)
        return np.sqrt(np.maximum.reduceat(square, self.first // 2))

    def _remember(self, s: Points, y: Points, good: npt.NDArray[np.bool_]) -> None:
        slot = self.slots.pop(0) if len(self.slots) == MEMORY else len(self.slots)
        self.slots.append(slot)
        self.basis[slot], self.basis[MEMORY + slot] = s, y
        self.with_y[:, slot] = self._sum(self.basis * y)
        self.with_y[MEMORY + slot] = self.with_y[MEMORY:, slot]
        self.with_gradient = self._sum(self.basis * self.gradient.ravel())
        sy, yy = self.with_y[slot, slot], self.with_y[MEMORY + slot, slot]
        good = good & (sy > 1e-12 * yy)
        self.rho[slot] = np.where(good, 1 / np.maximum(sy, 1e-300), 0.0)

    def stalled(self) -> npt.NDArray[np.bool_]:
        """Tell which problems have all but stopped, shape (g,)."""
        if len(self.history) < PATIENCE:
            return np.zeros(len(self.value), dtype=np.bool_)
        share = np.where(self.value < self.close, STALL / 10, STALL)
        return np.asarray(self.value > (1 - share) * self.history[0])

    def keep(self, some: npt.NDArray[np.bool_]) -> None:
        """Go on with some of the problems (g,)."""
        rows = np.repeat(some, self.counts)
        self.x, self.gradient = self.x[rows], self.gradient[rows]
        self.basis = np.ascontiguousarray(self.basis[:, np.repeat(rows, 2)])
        self._count(self.counts[some])
        self.value, self.length, self.fails = self.value[some], self.length[some], self.fails[some]
        self.rho, self.with_y = self.rho[:, some], self.with_y[:, :, some]
        self.with_gradient = self.with_gradient[:, some]
        self.history = [value[some] for value in self.history]
