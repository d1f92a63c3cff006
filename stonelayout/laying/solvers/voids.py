"""Places where another disc may go: the widest first."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

from .room_distance import Wall

#: Step of the samples along the outline, in pitches.
STEP = 0.1


class Vacancies:
    """Finds the widest places of a room: corners of Voronoi cells, and its outline."""

    def __init__(self, room: BaseGeometry, wall: Wall, pitch: float) -> None:
        self.wall, self.pitch = wall, pitch
        samples = [shapely.get_coordinates(room)]
        for line in shapely.get_parts(shapely.boundary(room)):
            along = np.linspace(0, line.length, int(line.length / (STEP * pitch)) + 2)
            samples.append(Polyline.of(shapely.get_coordinates(line)).at(along))
        self.outline = np.concatenate(samples)

    def find(self, centres: Points, least: float) -> tuple[Points, Points]:
        """Return places (m, 2) and clearances (m,) of at least ``least`` mm, the widest first.

        Clearance is the distance to the nearest centre. Of places nearer together than half a
        pitch only the widest stays.
        """
        from scipy.spatial import cKDTree

        if not len(centres):
            middle = self.outline[:1]
            return middle, np.array([np.inf])
        places = self.outline
        found = circumcentres(centres)
        places = np.concatenate((found[self.wall.inside(found)], places))
        clearance = np.asarray(cKDTree(centres).query(places)[0])
        wide = np.flatnonzero(clearance >= least)
        order = wide[np.lexsort((np.round(places[wide, 1], 6), -np.round(clearance[wide], 6)))]
        cell = np.floor(places[order] / (self.pitch / 2)).astype(np.int64)
        _, first = np.unique(cell, axis=0, return_index=True)
        order = order[np.sort(first)]
        return places[order], clearance[order]


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
