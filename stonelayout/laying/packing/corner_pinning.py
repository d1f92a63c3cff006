"""Pinning: which discs near the corners of a wall are put onto them, and stay there."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.room_distance import Sizes, Wall

#: A corner this near to a mirror, in pitches, is on it: less than walls.WALL_MARGIN.
ON_MIRROR = 1e-5


def at_corners(
    wall: Wall,
    centres: Points,
    free: npt.NDArray[np.bool_],
    mirrors: Mirrors,
    reach: float,
    size: Sizes | None = None,
) -> tuple[Points, npt.NDArray[np.bool_]]:
    """Put free discs on the wall's corners within ``reach`` mm; return centres, and who may move.

    A corner takes a disc, the nearest, only as far as it stays a pitch (for unlike sizes, ``size``
    (n,), the mean of theirs) from all others that stand still, and from its own images in the
    ``mirrors``. What stands on a mirror goes to a corner on that mirror only.
    """
    away, which = wall.nearest_corner(centres, size)
    own = wall.pitches[np.zeros(len(centres), dtype=np.intp) if size is None else size]
    centres, free = centres.copy(), free.copy()
    on = mirrors.on(centres)
    near = np.flatnonzero(free & (away < reach))
    for i in near[np.argsort(away[near], kind="stable")]:
        corner = wall.corners[which[i]]
        heights = mirrors.normals @ corner
        if (np.abs(heights[on[i]]) > ON_MIRROR * own[i]).any():
            continue
        corner = corner - heights[on[i]] @ mirrors.normals[on[i]]
        apart = np.hypot(*(centres[~free] - corner).T)
        if (apart >= (own[~free] + own[i]) / 2).all() and (heights[~on[i]] >= own[i] / 2).all():
            centres[i], free[i] = corner, False
    return centres, free
