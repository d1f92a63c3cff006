"""Which stones are near which: exact distances through a k-d tree."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points

#: Distances are compared with this slack, relative: a few hundred units in the last place of a
#: coordinate, so that a distance that is right on paper is not called short by rounding.
ROUNDING = 1e-9


def pairs_nearer(centres: Points, distance: float) -> tuple[npt.NDArray[np.intp], Points]:
    """Return all pairs of points nearer than ``distance`` mm.

    ``centres`` has shape (n, 2). Returns (pairs, lengths): pairs (m, 2) with i < j, sorted, and
    their distances (m,) by ``hypot``.
    """
    from scipy.spatial import KDTree

    if len(centres) < 2 or distance <= 0:
        return np.empty((0, 2), dtype=np.intp), np.empty(0)
    reach = distance * (1 + ROUNDING)
    pairs = KDTree(centres).query_pairs(reach, output_type="ndarray").astype(np.intp)
    return _nearer(centres, centres, pairs, distance)


def crossing_pairs(
    first: Points, second: Points, distance: float
) -> tuple[npt.NDArray[np.intp], Points]:
    """Return the pairs (i in first, j in second) nearer than ``distance`` mm, and their lengths.

    Shapes (n, 2) and (m, 2); returns pairs (k, 2), sorted, and lengths (k,) by ``hypot``.
    """
    from scipy.spatial import KDTree

    if not len(first) or not len(second) or distance <= 0:
        return np.empty((0, 2), dtype=np.intp), np.empty(0)
    found = KDTree(first).query_ball_tree(KDTree(second), distance * (1 + ROUNDING))
    counts = [len(row) for row in found]
    near = np.array([j for row in found for j in row], dtype=np.intp)
    pairs = np.column_stack((np.repeat(np.arange(len(first), dtype=np.intp), counts), near))
    return _nearer(first, second, pairs, distance)


def _nearer(
    first: Points, second: Points, pairs: npt.NDArray[np.intp], distance: float
) -> tuple[npt.NDArray[np.intp], Points]:
    steps = first[pairs[:, 0]] - second[pairs[:, 1]]
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    near = lengths < distance * (1 - ROUNDING)
    pairs, lengths = pairs[near], lengths[near]
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    return pairs[order], lengths[order]


def nearest_distances(centres: Points) -> Points:
    """Return each point's distance to its nearest neighbour in mm, shape (n,); inf for one."""
    from scipy.spatial import KDTree

    if len(centres) < 2:
        return np.full(len(centres), np.inf)
    found = np.asarray(KDTree(centres).query(centres, k=2)[0], dtype=np.float64)
    return found[:, 1]


def clear_of(
    points: Points,
    obstacles: Points,
    distance: Points,
    size: npt.NDArray[np.intp] | None = None,
) -> npt.NDArray[np.bool_]:
    """Tell which points (n, 2) keep their distance from the obstacles (m, 2), shape (n,); exact.

    ``distance`` (m,) in mm, or (m, sizes) for points of several sizes, of which ``size`` (n,) tells
    each point's.
    """
    keep = np.ones(len(points), dtype=np.bool_)
    if len(obstacles) and len(points):
        pairs, lengths = crossing_pairs(points, obstacles, float(distance.max()) * (1 + 1e-6))
        point, obstacle = pairs.T
        least = distance[obstacle] if size is None else distance[obstacle, size[point]]
        keep[point[lengths < least * (1 - ROUNDING)]] = False
    return keep
