"""Voids: places where another disc may go, the widest first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

from .mix import Mix
from .room_distance import Wall

#: Step of the samples along an outline, in pitches.
STEP = 0.1


class Voids:
    """Finds the widest places of rooms, one for each size: between three discs, and on the outline.

    How wide a place is for a size is told by the distance in mm to the nearest centre of a disc of
    that size; of a disc of another size half of what their pitches differ by is taken away. So a
    disc fits where this is its pitch.
    """

    def __init__(self, rooms: Sequence[BaseGeometry], wall: Wall) -> None:
        self.wall = wall
        # several sizes need samples that are as symmetric as the room: a bar of two axes takes 66
        # stones for 62; of five fills of one size four are laid alike with either
        samples = outline_samples if len(rooms) == 1 else side_samples
        self.outlines = [samples(room, STEP * wall.pitch) for room in rooms]

    def wide(self, mix: Mix, least: float, size: int = 0) -> tuple[Points, Points]:
        """Return places (m, 2) of at least ``least`` mm for a disc of a size, and how wide (m,)."""
        places = circumcentres(mix.centres)
        sizes = np.full(len(places), size, dtype=np.intp)
        inside = self.wall.depth(places, sizes)[0] >= 0
        places = np.concatenate((places[inside], self.outlines[size]))
        width = self.width(places, mix, size)
        some = width >= least
        return places[some], width[some]

    def find(self, mix: Mix, least: float, size: int = 0) -> tuple[Points, Points]:
        """Return the widest of these, the widest first, none within half a pitch of a wider one.

        Without discs any place on the outline will do.
        """
        if not len(mix):
            return self.outlines[size][:1], np.array([np.inf])
        places, width = self.wide(mix, least, size)
        order = widest(places, width, self.wall.pitches[size] / 2)
        return places[order], width[order]

    def width(self, places: Points, mix: Mix, size: int = 0) -> Points:
        """Return how wide places (m, 2) are for a disc of a size, in mm, shape (m,)."""
        from scipy.spatial import cKDTree

        pitches = self.wall.pitches
        found = np.full(len(places), np.inf)
        for k in np.unique(mix.size):
            away = cKDTree(mix.centres[mix.size == k]).query(places)[0]
            found = np.minimum(found, np.asarray(away) - (pitches[k] - pitches[size]) / 2)
        return found


def outline_samples(room: BaseGeometry, step: float) -> Points:
    """Return a room's corners, and samples of its outline at most ``step`` mm apart, (n, 2)."""
    samples = [shapely.get_coordinates(room)]
    for line in shapely.get_parts(shapely.boundary(room)):
        along = np.linspace(0, line.length, int(line.length / step) + 2)
        samples.append(Polyline.of(shapely.get_coordinates(line)).at(along))
    return np.concatenate(samples)


def side_samples(room: BaseGeometry, step: float) -> Points:
    """Return samples of each side of a room, ends included, at most ``step`` mm apart, (n, 2)."""
    return shapely.get_coordinates(shapely.segmentize(shapely.boundary(room), step))


def widest_first(places: Points, width: Points) -> npt.NDArray[np.intp]:
    """Return the order of places (m, 2) by width, to 1e-6 mm, then from the top down."""
    return np.lexsort((np.round(places[:, 1], 6), -np.round(width, 6)))


def widest(places: Points, width: Points, cell: float) -> npt.NDArray[np.intp]:
    """Return which of places (m, 2) are the widest in square cells of ``cell`` mm, widest first."""
    order = widest_first(places, width)
    _, first = np.unique(np.floor(places[order] / cell).astype(np.int64), axis=0, return_index=True)
    return order[np.sort(first)]


def circumcentres(centres: Points) -> Points:
    """Return the centres (m, 2) of the circles about the Delaunay triangles of points (n, 2).

    None where the points are too few, or all on one line: then the outline has the widest places.
    """
    from scipy.spatial import Delaunay, QhullError

    try:
        corners = centres[Delaunay(centres).simplices] if len(centres) > 3 else centres[:0, None]
    except QhullError:
        return np.empty((0, 2))
    if not len(corners):
        return np.empty((0, 2))
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    b, c = b - a, c - a
    twice = 2 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    twice[np.abs(twice) < 1e-12] = np.nan
    bb, cc = (b**2).sum(axis=1), (c**2).sum(axis=1)
    x = (c[:, 1] * bb - b[:, 1] * cc) / twice
    y = (b[:, 0] * cc - c[:, 0] * bb) / twice
    found: Points = a + np.stack((x, y), axis=1)
    return found[np.isfinite(found).all(axis=1)]
