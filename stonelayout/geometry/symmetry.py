"""Which axes of its frame a part is symmetric about, exactly or to the eye."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .points import Points
from .regions import sample_outline

#: A part counts as mirror-symmetric when its mirror image misses it by less than this share of
#: a pitch all along its outline;
SYMMETRY = 0.004
#: as letters of fonts are not quite, also when it misses it by at most so much at any place, unless
#: it is only askew: rows on both sides of a stem that leans must keep to their own side.
NEARLY = 0.06
#: Places on an outline at which it is compared with its mirror image.
_PLACES = 400


def mirrored(shape: BaseGeometry, axis: int) -> BaseGeometry:
    """Return a shape with its x (axis 0) or y (axis 1) reversed."""
    flip = np.ones(2)
    flip[axis] = -1.0
    return shapely.transform(shape, lambda points: points * flip)


def axes_of_symmetry(outline: BaseGeometry, pitch: float) -> tuple[bool, bool]:
    """Tell whether an outline is symmetric about x = 0 and y = 0, to SYMMETRY, or NEARLY so."""
    x, y = (_alike(outline, mirrored(outline, axis), pitch) for axis in (0, 1))
    return x, y


def obstacles_alike(obstacles: Points, distance: Points, axis: int, slack: float) -> bool:
    """Tell whether obstacles and what they keep are their own mirror image, to ``slack`` mm."""
    from scipy.spatial import KDTree

    if not len(obstacles):
        return True
    flip = np.ones(2)
    flip[axis] = -1.0
    away, image = KDTree(obstacles).query(obstacles * flip)
    return bool(np.max(away) <= slack) and np.array_equal(distance[image], distance)


def _alike(outline: BaseGeometry, image: BaseGeometry, pitch: float) -> bool:
    apart = float(shapely.symmetric_difference(outline, image).area)
    if apart <= SYMMETRY * pitch * outline.length:
        return True
    if apart > NEARLY * pitch * outline.length:
        return False
    borders = shapely.boundary(outline), shapely.boundary(image)
    if shapely.hausdorff_distance(*borders) > NEARLY * pitch:
        return False
    return _turn(outline, image) <= SYMMETRY * pitch


def _turn(outline: BaseGeometry, image: BaseGeometry) -> float:
    """Return by how many mm the turn about the origin that fits best moves the outline at most.

    Least squares of the distances between the borders over the levers of the outline's normals.
    """
    border = sample_outline(outline, outline.length / _PLACES)
    spots = shapely.points(border.points)
    nearest = shapely.get_point(shapely.shortest_line(spots, shapely.boundary(image)), 1)
    apart = ((shapely.get_coordinates(nearest) - border.points) * border.inward).sum(axis=1)
    lever = border.points[:, 0] * border.inward[:, 1] - border.points[:, 1] * border.inward[:, 0]
    turn = (apart * lever).sum() / max(float((lever**2).sum()), 1e-300)
    return float(np.abs(turn * lever).max())
