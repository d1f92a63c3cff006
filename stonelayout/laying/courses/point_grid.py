"""Stones found by place: a grid of cells with at most one stone in each."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points

#: A cell's diagonal is this much less than the stones' least distance, relative.
_SLACK = 1e-6
#: Cells along a side of the grid at most; a larger one wraps round.
_MOST = 2048
#: Points whose cells are looked at together.
_CHUNK = 65_536
_AROUND = np.arange(-2, 3)


class PointGrid:
    """Points at least ``apart`` mm from each other, found by place.

    A cell holds one point, so whatever is nearer than ``apart`` lies at most two cells away. The
    grid wraps round (``extent``: the size in mm that it should segment without), and points whose
    cell is taken are searched one by one.
    """

    def __init__(self, apart: float, extent: float) -> None:
        self.apart = apart
        self._side = apart / np.sqrt(2) * (1 - _SLACK)
        cells = min(extent / self._side + 8, _MOST)
        self._bits = max(int(np.ceil(np.log2(cells))), 3)
        self._mask = (1 << self._bits) - 1
        size = 1 << (2 * self._bits)
        self._x, self._y = np.full(size, np.inf), np.full(size, np.inf)
        self._who = np.full(size, -1, dtype=np.intp)
        self._crowded: list[tuple[int, float, float]] = []

    def _cell(self, points: Points) -> npt.NDArray[np.int64]:
        grid = np.floor(points / self._side).astype(np.int64) & self._mask
        cell: npt.NDArray[np.int64] = (grid[:, 0] << self._bits) | grid[:, 1]
        return cell

    def add(self, points: Points, first: int) -> None:
        """Add points (k, 2), numbered from ``first`` on."""
        cell = self._cell(points)
        for k, at in enumerate(cell.tolist()):
            if self._who[at] >= 0:
                self._crowded.append((first + k, float(points[k, 0]), float(points[k, 1])))
            else:
                self._who[at] = first + k
                self._x[at], self._y[at] = points[k]

    def drop(self, points: Points, first: int) -> None:
        """Remove points (k, 2) that were added with numbers from ``first`` on, and no others."""
        cell = self._cell(points)
        gone = cell[self._who[cell] >= first]
        self._who[gone] = -1
        self._x[gone] = self._y[gone] = np.inf
        self._crowded = [one for one in self._crowded if one[0] < first]

    def nearest(self, points: Points) -> tuple[Points, npt.NDArray[np.intp]]:
        """Return the distance to the nearest point and its number, (k,) each.

        The distance is inf, and the number 0, where none is nearer than ``apart``.
        """
        away = np.full(len(points), np.inf)
        who = np.zeros(len(points), dtype=np.intp)
        for low in range(0, len(points), _CHUNK):
            some = slice(low, low + _CHUNK)
            away[some], who[some] = self._nearest(points[some])
        for number, x, y in self._crowded:
            other = np.hypot(points[:, 0] - x, points[:, 1] - y)
            nearer = other < away
            away[nearer], who[nearer] = other[nearer], number
        near = away < self.apart
        return np.where(near, away, np.inf), np.where(near, who, 0)

    def _nearest(self, points: Points) -> tuple[Points, npt.NDArray[np.intp]]:
        grid = np.floor(points / self._side).astype(np.int64)
        i = ((grid[:, 0, None] + _AROUND) & self._mask) << self._bits
        j = (grid[:, 1, None] + _AROUND) & self._mask
        cell = (i[:, :, None] | j[:, None, :]).reshape(len(points), 25)
        dx = self._x[cell] - points[:, 0, None]
        dy = self._y[cell] - points[:, 1, None]
        square = dx * dx + dy * dy
        k = square.argmin(axis=1)
        row = np.arange(len(points))
        best = cell[row, k]
        return np.hypot(dx[row, k], dy[row, k]), self._who[best]
