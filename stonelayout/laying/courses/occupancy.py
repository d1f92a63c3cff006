"""The stones that stand while a shape is filled: who blocks what, added in mirror images."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import NONE, ON_MM, Mirrors
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import discs

from .point_grid import Cells

Flags = npt.NDArray[np.bool_]

#: Stones for which there is room at first.
_STORE = 64


class Standing:
    """Stones laid so far in one part, and obstacles laid before.

    ``pitch`` in mm is kept between stones. ``room`` are the polygons that centres stay in. What
    is added is added with its images in the ``mirrors`` of the part.
    """

    def __init__(
        self,
        room: BaseGeometry,
        pitch: float,
        mirrors: Mirrors,
        obstacles: Points,
        distance: Points,
    ) -> None:
        self.room = room
        shapely.prepare(room)
        self.pitch = pitch
        self.mirrors = mirrors
        self._blocks = np.concatenate((obstacles, np.empty((0, 2))))
        self._extra = np.asarray(distance, dtype=np.float64) - pitch
        self._store, self._size = np.empty((_STORE, 2)), 0
        x0, y0, x1, y1 = room.bounds if not room.is_empty else (0.0, 0.0, 0.0, 0.0)
        self._cells = Cells(pitch, max(x1 - x0, y1 - y0))
        self._obstacle_trees: list[tuple[float, Any, Any]] | None = None

    @property
    def centres(self) -> Points:
        """Stones in the order in which they were laid, (n, 2): a view."""
        return self._store[: self._size]

    @property
    def all_centres(self) -> Points:
        """Stones and obstacles, (k, 2)."""
        return np.concatenate((self.centres, self._blocks))

    @property
    def obstacles(self) -> Points:
        """Obstacles, (m, 2)."""
        return self._blocks

    def unblocked(self) -> BaseGeometry:
        """Return the room without what the obstacles keep for themselves."""
        if not len(self._blocks):
            return self.room
        return shapely.difference(self.room, discs(self._blocks, self._extra + self.pitch))

    def take_back(self, size: int) -> Points:
        """Take away all stones but the first ``size``; returns them."""
        taken = self.centres[size:].copy()
        self._cells.drop(taken, size)
        self._size = size
        return taken

    def put(self, points: Points) -> None:
        """Add points (k, 2) that are known to be free, as they are."""
        size = self._size + len(points)
        if size > len(self._store):
            self._store = np.concatenate((self.centres, np.empty((size, 2))))
        self._store[self._size : size] = points
        self._cells.add(points, self._size)
        self._size = size

    def let_go(self, room: BaseGeometry) -> None:
        """Give up symmetry, and let centres stand anywhere in ``room``."""
        self.mirrors, self.room = NONE, room
        shapely.prepare(room)

    def images(self, points: Points) -> list[Points]:
        """Return points and their images, one array for each symmetry."""
        return [points, *(points @ element.T for element in self.mirrors.group[1:])]

    def nearest(self, points: Points) -> tuple[Points, npt.NDArray[np.intp]]:
        """Return the distance to the stone that blocks most and its index, (k,) each.

        Obstacles have negative indices; their distance is given as if they kept the pitch. The
        distance is inf where nothing blocks.
        """
        best, index = self._cells.nearest(points)
        if len(self._blocks):
            self._near_obstacles(points, best, index)
        return best, index

    def clearance(self, points: Points) -> Points:
        """Return the distance to what is nearest, (k,), however far; inf without stones."""
        from scipy.spatial import KDTree

        if not len(self.centres):
            best = np.full(len(points), np.inf)
        else:
            best = np.asarray(KDTree(self.centres).query(points)[0], dtype=np.float64)
        self._near_obstacles(points, best, np.zeros(len(points), dtype=np.intp))
        return best

    def _near_obstacles(self, points: Points, best: Points, index: npt.NDArray[np.intp]) -> None:
        from scipy.spatial import KDTree

        if self._obstacle_trees is None:
            self._obstacle_trees = []
            for extra in np.unique(self._extra):
                which = np.flatnonzero(self._extra == extra)
                self._obstacle_trees.append((float(extra), KDTree(self._blocks[which]), which))
        for reach, tree, which in self._obstacle_trees:
            away, k = tree.query(points)
            away = away - reach
            nearer = away < best
            best[nearer] = away[nearer]
            index[nearer] = -1 - which[k[nearer]]

    def place_of(self, index: int) -> tuple[Points, float]:
        """Return the place of a stone or obstacle, and the distance in mm that it keeps."""
        if index >= 0:
            return self.centres[index], self.pitch
        return self._blocks[-1 - index], self.pitch + float(self._extra[-1 - index])

    def inside(self, points: Points) -> Flags:
        """Tell which points (k, 2) lie in the room."""
        found: Flags = shapely.intersects_xy(self.room, points[:, 0], points[:, 1])
        return found

    def free(self, points: Points) -> Flags:
        """Tell where a stone (with its images) could stand now, (k,)."""
        away, _ = self.nearest(points)
        keep = (away >= self.pitch) & self.inside(points)
        for normal in self.mirrors.lines:
            across = np.abs(points @ normal)
            keep &= (across <= ON_MM) | (2 * across >= self.pitch)
        return keep

    def add(self, points: Points) -> int:
        """Add the points that are free, in order, with their images; returns how many."""
        points = self.snapped(points, 1e-6 * self.pitch)
        points = points[self.free(points)]
        if not len(points):
            return 0
        world = np.concatenate(self.images(points))
        size = len(points)
        pairs, _ = pairs_nearer(world, self.pitch)
        same = np.hypot(*(world[pairs[:, 0]] - world[pairs[:, 1]]).T) <= 1e-9
        gone = np.zeros(size, dtype=np.bool_)
        for i, j in pairs[~same]:
            a, b = i % size, j % size
            if not gone[a] and not gone[b] and a != b:
                gone[max(a, b)] = True
            elif a == b:
                gone[a] = True
        keep = np.tile(~gone, len(world) // size)
        drop = np.zeros(len(world), dtype=np.bool_)
        drop[pairs[same, 1]] = True
        new = world[keep & ~drop]
        self.put(new)
        return len(new)

    def snapped(self, points: Points, reach: float, way: float = 0.0) -> Points:
        """Move points within ``reach`` mm of a mirror axis onto it, or ``way`` mm off it."""
        for normal in self.mirrors.lines:
            height = points @ normal
            near = np.abs(height) < reach
            points = points - np.where(near, height - np.copysign(way, height), 0)[:, None] * normal
        return points
