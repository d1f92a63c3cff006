"""Mirror symmetry of outlines, curves and points, exactly or to the eye, with all its tolerances.

Two things are asked. Of an area that is filled: does its mirror image miss it by less than a share
of a pitch (``axes_of_symmetry``)? Its fill has room to spare that grows with the pitch. Of curves
that rows run on: do they miss their image by less than some hundredths of a mm anywhere
(``curves_alike``)? Every stone of a row stands on its curve, whatever its size.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .points import Points
from .polylines import Polyline, lines_through
from .regions import sample_outline

#: A part counts as mirror-symmetric when its mirror image misses it by less than this share of
#: a pitch all along its outline;
SYMMETRY = 0.004
#: as letters of fonts are not quite, also when it misses it by at most so much at any place, unless
#: it is only askew: rows on both sides of a stem that leans must keep to their own side.
NEARLY = 0.06
#: A curve that misses its mirror image by less than this, in mm, is symmetric as drawn: a fifth of
#: the chord error of flattened artwork (``flattening.CHORD_ERROR_MM``).
ALIKE_MM = 0.001
#: To the eye it is, when it misses by no more than this, as A, M and V of common fonts do: rows
#: then run along one half and its image, which is truer than stones are set (common practice, no
#: source). With less, such letters get rows that differ from side to side.
NEARLY_MM = 0.05
#: Points are on an axis, or in the places of their images, to this, in mm: layouts are written
#: to 6 decimals.
SAME_PLACE_MM = 1e-6
#: A vertex nearer to an axis than this, in mm, is put onto it before crossings are looked for.
ON_AXIS_MM = 1e-7
#: Places on an outline at which it is compared with its mirror image.
_PLACES = 400
#: Places a mm at which curves are compared with their images, at least and at most so many.
_PROBES_PER_MM, _LEAST_PROBES, _MOST_PROBES = 2.0, 64, 2000


def image(points: Points, axis: int, level: float = 0.0) -> Points:
    """Return points (n, 2) with x (axis 0) or y (axis 1) mirrored about ``level`` mm."""
    found = points.copy()
    found[:, axis] = 2 * level - found[:, axis]
    return found


def mirrored(shape: BaseGeometry, axis: int) -> BaseGeometry:
    """Return a shape with its x (axis 0) or y (axis 1) reversed."""
    return shapely.transform(shape, lambda points: image(points, axis))


def curves_alike(
    one: Sequence[Polyline], two: Sequence[Polyline], axis: int, level: float, within: float
) -> bool:
    """Tell whether the images of curves about x (axis 0) or y (1) = ``level`` lie on others.

    To ``within`` mm, at sampled places.
    """
    lines = lines_through(two)
    shapely.prepare(lines)
    for path in one:
        count = int(min(max(path.length * _PROBES_PER_MM, _LEAST_PROBES), _MOST_PROBES))
        probes = image(path.at(np.linspace(0, path.length, count)), axis, level)
        if not bool(shapely.dwithin(lines, shapely.points(probes), within).all()):
            return False
    return True


def with_its_image(half: Polyline, axis: int, level: float) -> Polyline:
    """Return the closed curve of a half, whose ends are put onto the axis, and its mirror image."""
    one = half.points.copy()
    one[[0, -1], axis] = level
    return Polyline.of(np.concatenate((one, image(one[-2:0:-1], axis, level))), closed=True)


def axes_of_symmetry(outline: BaseGeometry, pitch: float) -> tuple[bool, bool]:
    """Tell whether an outline is symmetric about x = 0 and y = 0, to SYMMETRY, or NEARLY so."""
    x, y = (_areas_alike(outline, mirrored(outline, axis), pitch) for axis in (0, 1))
    return x, y


def obstacles_alike(obstacles: Points, distance: Points, axis: int, slack: float) -> bool:
    """Tell whether obstacles and what they keep are their own mirror image, to ``slack`` mm."""
    from scipy.spatial import KDTree

    if not len(obstacles):
        return True
    away, partner = KDTree(obstacles).query(image(obstacles, axis))
    return bool(np.max(away) <= slack) and np.array_equal(distance[partner], distance)


def _areas_alike(outline: BaseGeometry, other: BaseGeometry, pitch: float) -> bool:
    apart = float(shapely.symmetric_difference(outline, other).area)
    if apart <= SYMMETRY * pitch * outline.length:
        return True
    if apart > NEARLY * pitch * outline.length:
        return False
    borders = shapely.boundary(outline), shapely.boundary(other)
    if shapely.hausdorff_distance(*borders) > NEARLY * pitch:
        return False
    return _turn(outline, other) <= SYMMETRY * pitch


def _turn(outline: BaseGeometry, other: BaseGeometry) -> float:
    """Return by how many mm the turn about the origin that fits best moves the outline at most.

    Least squares of the distances between the borders over the levers of the outline's normals.
    """
    border = sample_outline(outline, outline.length / _PLACES)
    spots = shapely.points(border.points)
    nearest = shapely.get_point(shapely.shortest_line(spots, shapely.boundary(other)), 1)
    apart = ((shapely.get_coordinates(nearest) - border.points) * border.inward).sum(axis=1)
    lever = border.points[:, 0] * border.inward[:, 1] - border.points[:, 1] * border.inward[:, 0]
    turn = (apart * lever).sum() / max(float((lever**2).sum()), 1e-300)
    return float(np.abs(turn * lever).max())
