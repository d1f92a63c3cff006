"""The wall of a room: signed distances to its outline, fast for many points at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from stonelayout.geometry.points import Points

#: Points at least this many pitches inside get no exact depth: they are only known to be deep.
DEEP = 0.35
#: A room turns by more than so many degrees at its corners.
CORNER = 35.0
#: Centres keep this share of a pitch from the wall (arcs, simplified sides, the energy's rest).
WALL_MARGIN = 7e-5
#: Sides of the outline are simplified by this share of a pitch.
SIMPLIFY = 5e-5
#: Size of a cell of the look-up grid, in pitches; the grid reaches two pitches beyond the room.
CELL, REACH = 0.2, 1.5

Sizes = npt.NDArray[np.intp]


class Wall:
    """Signed distance to the outline of polygons, through a grid of the sides near each cell."""

    def __init__(self, room: BaseGeometry, pitch: float) -> None:
        from scipy.spatial import cKDTree

        self.pitch, self.pitches = pitch, np.array([pitch])
        self.cell = CELL * pitch
        starts, ends, before, after = [], [], [], []
        corners = [np.empty((0, 2))]
        for polygon in shapely.get_parts(shapely.simplify(room, SIMPLIFY * pitch)):
            if polygon.geom_type != "Polygon" or polygon.is_empty:
                continue
            turned = orient(polygon)
            for ring in (turned.exterior, *turned.interiors):
                p = shapely.get_coordinates(ring)
                p = p[np.append(np.abs(np.diff(p, axis=0)).max(axis=1) > 0, True)]
                step = np.diff(p, axis=0)
                step /= np.hypot(step[:, 0], step[:, 1])[:, None]
                normal = np.stack((-step[:, 1], step[:, 0]), axis=1)
                starts.append(p[:-1])
                ends.append(p[1:])
                before.append(np.roll(normal, 1, axis=0))
                after.append(np.roll(normal, -1, axis=0))
                last = np.roll(step, 1, axis=0)
                sharp = (last * step).sum(axis=1) < np.cos(np.radians(CORNER))
                sharp &= (last * normal).sum(axis=1) < 0
                middle = normal + np.roll(normal, 1, axis=0)
                middle *= (
                    2 * WALL_MARGIN * pitch / np.maximum((middle**2).sum(axis=1), 1e-9)[:, None]
                )
                corners.append((p[:-1] + middle)[sharp])
        self.corners = np.concatenate(corners)
        self._corner_tree = cKDTree(self.corners)
        self.start, self.end = np.concatenate(starts), np.concatenate(ends)
        self.step = self.end - self.start
        self.square = (self.step**2).sum(axis=1)
        side = np.stack((-self.step[:, 1], self.step[:, 0]), axis=1)
        self.normal = side / np.sqrt(self.square)[:, None]
        self.first = self.normal + np.concatenate(before)
        self.last = self.normal + np.concatenate(after)
        self._grid(room)

    def _grid(self, room: BaseGeometry) -> None:
        from scipy.spatial import cKDTree

        x0, y0, x1, y1 = room.bounds
        pad = REACH * self.pitch
        self.low = np.array([x0 - pad, y0 - pad])
        self.shape = np.ceil((np.array([x1 + pad, y1 + pad]) - self.low) / self.cell).astype(int)
        columns, rows = self.shape
        x, y = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5, indexing="ij")
        middles = self.low + np.stack((x.ravel(), y.ravel()), axis=1) * self.cell
        # the distance to samples of the sides is never less than that to the sides
        count = np.ceil(np.sqrt(self.square) / self.cell).astype(np.intp)
        share = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        share = (share + 0.5) / np.repeat(count, count)
        samples = np.repeat(self.start, count, axis=0)
        samples += share[:, None] * np.repeat(self.step, count, axis=0)
        far = np.asarray(cKDTree(samples).query(middles)[0])
        half = self.cell * np.sqrt(0.5)
        inside = np.zeros(len(middles), dtype=np.bool_)
        away = np.flatnonzero(far > half + self.cell / 2 + DEEP * self.pitch)
        shapely.prepare(room)
        inside[away] = shapely.contains_xy(room, middles[away])
        near = np.flatnonzero(~inside)
        lines = np.asarray(shapely.linestrings(np.stack((self.start, self.end), axis=1)))
        cells, sides = shapely.STRtree(lines).query(
            shapely.points(middles[near]), predicate="dwithin", distance=far[near] + 2 * half
        )
        order = np.lexsort((sides, near[cells]))
        self.sides = sides[order].astype(np.intp)
        counts = np.bincount(near[cells], minlength=len(middles))
        self.begin = np.concatenate(([0], np.cumsum(counts))).astype(np.intp)
        surely = far > half + self.cell / 2
        surely[near] &= shapely.contains_xy(room, middles[near])
        self._counts = {True: counts, False: np.where(surely, 0, counts)}

    def nearest_corner(
        self, points: Points, size: Sizes | None = None
    ) -> tuple[Points, npt.NDArray[np.intp]]:
        """Return for each point the distance (n,) in mm to the nearest corner, and which it is."""
        if not len(self.corners):
            return np.full(len(points), np.inf), np.zeros(len(points), dtype=np.intp)
        away, which = self._corner_tree.query(points)
        return np.asarray(away), np.asarray(which)

    def _cells(self, points: Points, size: Sizes | None) -> npt.NDArray[np.intp]:
        place = np.floor((points - self.low) / self.cell).astype(np.intp)
        place = np.clip(place, 0, self.shape - 1)
        cell: npt.NDArray[np.intp] = place[:, 0] * self.shape[1] + place[:, 1]
        return cell

    def depth(
        self, points: Points, size: Sizes | None = None, *, deep: bool = False
    ) -> tuple[Points, Points]:
        """Return signed depths (n,) in mm and their gradients (n, 2).

        Positive inside; points that are surely inside may have depth inf and gradient 0, with
        ``deep`` only those deeper than DEEP pitches.
        """
        near, found, inward = self.sides_near(points, size, deep=deep).depth(points)
        depth = np.full(len(points), np.inf)
        gradient = np.zeros((len(points), 2))
        depth[near], gradient[near] = found, inward
        return depth, gradient

    def sides_near(
        self,
        points: Points,
        size: Sizes | None = None,
        *,
        deep: bool = False,
        last: SidesNear | None = None,
    ) -> SidesNear:
        """Return the sides near points (n, 2); ``last``, of as many points, saves looking again."""
        cells = self._cells(points, size)
        if last is not None and np.array_equal(cells, last.cells):
            return last
        counts = self._counts[deep][cells]
        near = np.flatnonzero(counts)
        counts = counts[near]
        runs = np.cumsum(counts) - counts
        owner = np.repeat(np.arange(len(near)), counts)
        side = self.sides[np.arange(len(owner)) + (self.begin[cells[near]] - runs)[owner]]
        return SidesNear(self, cells, near, runs, owner, side)

    def inside(self, points: Points, margin: float = 0.0) -> npt.NDArray[np.bool_]:
        """Tell which points lie at least ``margin`` mm inside, shape (n,)."""
        found: npt.NDArray[np.bool_] = self.depth(points)[0] >= margin
        return found


class SidesNear:
    """The sides of a wall near some points; it holds as long as they stay in their ``cells``."""

    def __init__(
        self,
        wall: Wall,
        cells: npt.NDArray[np.intp],
        near: npt.NDArray[np.intp],
        runs: npt.NDArray[np.intp],
        owner: npt.NDArray[np.intp],
        side: npt.NDArray[np.intp],
    ) -> None:
        self.wall, self.cells, self.near, self.side = wall, cells, near, side
        self.runs, self.owner, self.mine = runs, owner, near[owner]
        self.number = np.arange(len(near))
        self.start, self.step = wall.start[side].T.copy(), wall.step[side].T.copy()
        self.square = wall.square[side]

    def depth(self, points: Points) -> tuple[npt.NDArray[np.intp], Points, Points]:
        """Return which points are near, their signed depths (k,) in mm and gradients (k, 2)."""
        near = self.near
        if not len(near):
            return near, np.empty(0), np.empty((0, 2))
        x, y = points[self.mine, 0] - self.start[0], points[self.mine, 1] - self.start[1]
        along = (x * self.step[0] + y * self.step[1]) / self.square
        held = np.minimum(np.maximum(along, 0.0), 1.0)
        x -= held * self.step[0]
        y -= held * self.step[1]
        square = x * x + y * y
        least = np.minimum.reduceat(square, self.runs)
        hit = np.flatnonzero(square == least[self.owner])
        if len(hit) > len(near):  # of sides that are equally near the first
            hit = hit[np.searchsorted(self.owner[hit], self.number)]
        side, along = self.side[hit], along[hit]
        away = np.stack((x[hit], y[hit]), axis=1)
        wall = self.wall
        normal = wall.normal[side]
        before, after = along <= 0, along >= 1
        normal[before] = wall.first[side[before]]
        normal[after] = wall.last[side[after]]
        sign = np.where((away * normal).sum(axis=1) >= 0, 1.0, -1.0)
        length = np.sqrt(least)
        unit = away * (sign / np.maximum(length, 1e-300))[:, None]
        tiny = length < 1e-9 * wall.pitch
        unit[tiny] = wall.normal[side[tiny]]
        return near, sign * length, unit


class Walls(Wall):
    """The walls of rooms for discs of several sizes; ``size`` (n,) tells which is which.

    ``pitches`` (k,) in mm, one for each of the rooms: two discs keep the mean of theirs. All
    shares of a pitch are of the largest.
    """

    def __init__(self, rooms: Sequence[BaseGeometry], pitches: Points) -> None:
        self.pitches, self.pitch = pitches, float(pitches.max())
        self.cell = CELL * self.pitch
        self.walls = [Wall(room, self.pitch) for room in rooms]
        for name in ("corners", "start", "end", "step", "square", "normal", "first", "last"):
            setattr(self, name, np.concatenate([getattr(wall, name) for wall in self.walls]))
        self._lows = np.array([wall.low for wall in self.walls])
        self._shapes = np.array([wall.shape for wall in self.walls])
        self._first_cell = _starts([len(wall.begin) - 1 for wall in self.walls])
        self._first_corner = _starts([len(wall.corners) for wall in self.walls])
        sides = _starts([len(wall.start) for wall in self.walls])
        self.sides = np.concatenate(
            [wall.sides + first for wall, first in zip(self.walls, sides, strict=True)]
        )
        listed = _starts([len(wall.sides) for wall in self.walls])
        self.begin = np.concatenate(
            [wall.begin[:-1] + first for wall, first in zip(self.walls, listed, strict=True)]
        )
        self._counts = {
            deep: np.concatenate([wall._counts[deep] for wall in self.walls])
            for deep in (True, False)
        }

    def nearest_corner(
        self, points: Points, size: Sizes | None = None
    ) -> tuple[Points, npt.NDArray[np.intp]]:
        """Return for each disc the distance (n,) in mm to its nearest corner, and which it is."""
        away, which = np.empty(len(points)), np.empty(len(points), dtype=np.intp)
        for k, wall in enumerate(self.walls):
            mine = np.flatnonzero(size == k)
            away[mine], which[mine] = wall.nearest_corner(points[mine])
            which[mine] += self._first_corner[k]
        # a room without corners has none that is nearest: any number will do
        return away, np.minimum(which, max(len(self.corners) - 1, 0))

    def _cells(self, points: Points, size: Sizes | None) -> npt.NDArray[np.intp]:
        place = np.floor((points - self._lows[size]) / self.cell).astype(np.intp)
        shape = self._shapes[size]
        place = np.clip(place, 0, shape - 1)
        cell: npt.NDArray[np.intp] = place[:, 0] * shape[:, 1] + place[:, 1]
        return cell + self._first_cell[size]


def _starts(counts: Sequence[int]) -> npt.NDArray[np.intp]:
    return (np.cumsum(counts) - counts).astype(np.intp)
