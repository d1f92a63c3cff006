"""Mirror symmetry of a fill: only the discs between the mirrors are handled.

Mirrors are lines through the origin of a part's frame: none, one, or two at an angle of pi / k,
between which a k-th part of the plane's half lies. A disc between the mirrors is never nearer to
an image of another disc than to that disc itself, so the only images that matter to distances
are its own across each mirror.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import polygons
from stonelayout.geometry.symmetry import SYMMETRY
from stonelayout.laying.common.part_fill import Part

#: Orders of turning symmetry that are looked for beside the two axes.
ORDERS = (6, 5, 4, 3)


def axes_of(part: Part) -> Mirrors:
    """Return the mirrors of a part that are axes of its frame."""
    return Mirrors.at(*(k * math.pi / 2 for k in (0, 1) if part.mirrors[k]))


def symmetries(part: Part) -> tuple[Mirrors, ...]:
    """Return mirrors for a part: those of its highest symmetry first, a single axis or NONE last.

    Higher than the two axes is what looks the same turned by an ORDERS-th of a full turn.
    """
    angles = [k * math.pi / 2 for k in (0, 1) if part.mirrors[k]]
    if not angles:
        return (NONE,)
    found = [Mirrors.at(angles[0])]
    if len(angles) == 2:
        found.append(Mirrors.at(*angles))
    most = SYMMETRY * part.sizes[0].pitch * part.outline.length
    for order in () if len(part.obstacles) else reversed(ORDERS):
        mirrors = Mirrors.at(angles[0], angles[0] + math.pi - math.pi / order)
        turned = _carried(part.outline, mirrors.group[3])
        if shapely.symmetric_difference(part.outline, turned).area <= most:
            found.append(mirrors)
    return tuple(reversed(found))


def symmetric_room(room: BaseGeometry, mirrors: Mirrors, tolerance: float) -> BaseGeometry:
    """Return what a room has in common with its images; it is symmetric about the axes already.

    It is simplified by ``tolerance`` mm first if it is not that room already.
    """
    if len(mirrors.group) <= 4:
        return room
    both, done = all(mirrors.axes), [np.eye(2)]
    common = simple = shapely.simplify(room, tolerance)
    for element in mirrors.group:
        if np.linalg.det(element) < 0 or any(
            np.abs(element - old).max() < 1e-9 or (both and np.abs(element + old).max() < 1e-9)
            for old in done
        ):
            continue
        done.append(element)
        common = shapely.intersection(common, _carried(simple, element))
    if common.geom_type == "GeometryCollection":  # what an intersection leaves beside areas
        common = shapely.MultiPolygon(polygons(common))
    return common


def _carried(shape: BaseGeometry, element: Points) -> BaseGeometry:
    return shapely.transform(shape, lambda points: points @ element.T)
