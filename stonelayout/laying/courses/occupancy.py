"""Which places of a part are occupied: stones laid so far with their mirror images, obstacles."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import NONE, ON_MM, Mirrors
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import discs, inset
from stonelayout.laying.common.part_fill import Part

from .point_grid import PointGrid

Flags = npt.NDArray[np.bool_]

#: Distances are compared with this slack, relative, well inside neighbours.ROUNDING: rows that
#: stand exactly a pitch apart must not be refused because of a last digit.
SLACK = 2e-10
#: Arcs of an inset are chords; the room for single stones is inset by this share more.
CHORDS = 1.2e-5
#: Rounding of places on the outline of a room, in mm.
EDGE_MM = 4e-10
#: Stones for which there is room at first.
_STORE = 64


def outline_room(part: Part) -> BaseGeometry:
    """Return where the outline of a part lets centres of its first size lie, safely inside."""
    return inset(part.outline, part.sizes[0].inset(part.options) * (1 + CHORDS))


def with_rounding(room: BaseGeometry) -> BaseGeometry:
    """Return a room grown so little that places on its outline count as inside."""
    return shapely.buffer(room, EDGE_MM, join_style="mitre", mitre_limit=1.5)


class Occupancy:
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
        self._grid = PointGrid(pitch, max(x1 - x0, y1 - y0))
        self._obstacle_trees: list[tuple[float, Any, Any]] | None = None

    @classmethod
    def of(cls, part: Part, room: BaseGeometry, mirrors: Mirrors) -> Occupancy:
        """Return a part without stones of its first size, whose centres may lie in ``room``."""
        distance = part.distance[:, 0] if len(part.obstacles) else np.empty(0)
        return cls(room, part.sizes[0].pitch * (1 - SLACK), mirrors, part.obstacles, distance)

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

    def remove_after(self, size: int) -> Points:
        """Take away all stones but the first ``size``; returns them."""
        taken = self.centres[size:].copy()
        self._grid.drop(taken, size)
        self._size = size
        return taken

    def put(self, points: Points) -> None:
        """Add points (k, 2) that are known to be free, as they are."""
        size = self._size + len(points)
        if size > len(self._store):
            self._store = np.concatenate((self.centres, np.empty((size, 2))))
        self._store[self._size : size] = points
        self._grid.add(points, self._size)
        self._size = size

    def drop_symmetry(self, room: BaseGeometry) -> None:
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
        best, index = self._grid.nearest(points)
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
        points = self.moved_to_mirrors(points, 1e-6 * self.pitch)
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

    def moved_to_mirrors(self, points: Points, reach: float, way: float = 0.0) -> Points:
        """Move points within ``reach`` mm of a mirror axis onto it, or ``way`` mm off it."""
        for normal in self.mirrors.lines:
            height = points @ normal
            near = np.abs(height) < reach
            points = points - np.where(near, height - np.copysign(way, height), 0)[:, None] * normal
        return points
