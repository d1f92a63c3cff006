"""Stones at every place that is left a pitch away from all others, the widest place first."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

from .occupancy import Occupancy

#: Steps of the samples along the room's outline, in pitches.
STEP = 0.05
#: Where a sample falls short of a place by less than a step, so many finer ones are tried on
#: either side, so many times over.
FINER, LEVELS = 8, 4
_ROUNDS = 200


def free_places(occupancy: Occupancy, rim: Points, near: Points | None = None) -> Points:
    """Return places where the clearance is locally largest and a pitch or more, largest first.

    ``near`` (k, 2): places that had so much room a while ago; no others are looked for.
    """
    from scipy.spatial import KDTree, QhullError, Voronoi

    blocks = occupancy.all_centres
    if near is not None:
        tree = KDTree(near)
        blocks = blocks[
            np.isfinite(tree.query(blocks, distance_upper_bound=4 * occupancy.pitch)[0])
        ]
        reach = 2 * occupancy.pitch
        rim = rim[np.isfinite(tree.query(rim[:, 1], distance_upper_bound=reach)[0])]
    found = [_rim_places(occupancy, rim)]
    if len(blocks) > 3:
        try:
            vertices = Voronoi(blocks).vertices
            vertices = vertices[shapely.contains_xy(occupancy.room, vertices)]
            found.append(vertices[occupancy.nearest(vertices)[0] >= occupancy.pitch])
        except QhullError:
            pass  # all on one line: the largest clearance is on the rim
    places = np.concatenate(found)
    away = np.round(occupancy.clearance(places), 7)
    order = np.lexsort((places[:, 1], places[:, 0], -away))
    return places[order]


def _rim_places(occupancy: Occupancy, rim: Points) -> Points:
    """Return places on the rim that have room, where need be sought in finer steps.

    ``rim`` (n, 3, 2): a sample, and the middles of the sides before and after it.
    """
    pitch = occupancy.pitch
    step = STEP * pitch / 2
    found = rim[:0, 1]
    for _ in range(LEVELS):
        away, _ = occupancy.nearest(rim[:, 1])
        found = rim[away >= pitch, 1]
        found = found[occupancy.inside(found)]
        rim = rim[away >= pitch - step]
        if len(found) or not len(rim):
            break
        share = (np.arange(FINER) + 0.5) / FINER
        width = 0.5 / FINER
        rim = np.concatenate(
            [
                np.stack([a + (b - a) * (share[k] + d * width) for d in (-1, 0, 1)], axis=1)
                for a, b in ((rim[:, 0], rim[:, 1]), (rim[:, 1], rim[:, 2]))
                for k in range(FINER)
            ]
        )
        step /= FINER
    return found


def rim_samples(room: BaseGeometry, step: float) -> Points:
    """Return samples (n, 3, 2) of a room's outline, each with the middles of its two sides."""
    parts = [np.empty((0, 3, 2))]
    for line in shapely.get_parts(shapely.boundary(room)):
        points = shapely.get_coordinates(shapely.segmentize(line, step))[:-1]
        before = (points + np.roll(points, 1, axis=0)) / 2
        parts.append(np.stack((before, points, np.roll(before, -1, axis=0)), axis=1))
    return np.concatenate(parts)


def fill_remaining(occupancy: Occupancy) -> int:
    """Add stones until no place of the room is a pitch away from all; returns how many."""
    rim = rim_samples(occupancy.room, STEP * occupancy.pitch)
    total = 0
    places: Points | None = None
    for _ in range(_ROUNDS):
        seen = free_places(occupancy, rim, places)
        if not len(seen) and places is not None:  # what the last places hid from a coarse look
            seen = free_places(occupancy, rim)
        if not len(seen):
            break
        places = seen
        added = 0
        taken: list[Points] = []
        for place in places[:400]:
            if taken and np.hypot(*(np.array(taken) - place).T).min() < 2 * occupancy.pitch:
                continue
            done = occupancy.add(place[None])
            for way in (0.0, 0.5 * occupancy.pitch):
                if not done and occupancy.mirrors:
                    done = occupancy.add(
                        occupancy.moved_to_mirrors(place[None], 0.5 * occupancy.pitch, way)
                    )
            if done:
                taken += [p for image in occupancy.images(place[None]) for p in image]
                added += done
        total += added
        if not added:
            break
    return total
