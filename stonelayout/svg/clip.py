"""``clip-path``: the region of a ``clipPath``, exactly."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .areas import EMPTY
from .boxes import element_box
from .build import filled, flattened
from .cascade import INITIAL, OWN
from .document import Node
from .transforms import matrix_of
from .values import multiply

if TYPE_CHECKING:
    from .walk import Frame, Walker


def clip_region(walker: Walker, clip: Node, node: Node, frame: Frame) -> BaseGeometry | None:
    """Return the clip's region in mm for one element; None where it refers to itself."""
    if clip in walker.clipping:
        return None
    quiet, walker.quiet = walker.quiet, True
    walker.clipping.append(clip)
    try:
        return _region(walker, clip, node, frame)
    finally:
        walker.clipping.pop()
        walker.quiet = quiet


def _region(walker: Walker, clip: Node, node: Node, frame: Frame) -> BaseGeometry | None:
    properties = walker.cascade.computed(clip, {**INITIAL, **OWN})
    inside = replace(frame, properties=properties, clip=None, uses=())
    own = matrix_of(clip, properties, walker.units(inside), frame.origin, walker)
    if own is None:
        return EMPTY
    matrix = multiply(frame.matrix, own)
    if clip.attrib.get("clipPathUnits") == "objectBoundingBox":
        box = element_box(walker, node, frame)
        if box is None or box[2] <= 0.0 or box[3] <= 0.0:
            return EMPTY
        matrix = multiply(matrix, np.array([[box[2], 0.0, box[0]], [0.0, box[3], box[1]]]))
        inside = replace(inside, viewport=(1.0, 1.0))
    inside = replace(inside, matrix=matrix)
    regions = []
    for visit in walker.below(clip, inside):
        if visit.frame.properties["visibility"] != "visible":
            continue
        flats = flattened(visit.subpaths, visit.frame.matrix, walker.tolerance)
        region = filled(flats, visit.frame.matrix, visit.frame.properties["clip-rule"])
        if visit.frame.clip is not None:
            region = shapely.intersection(region, visit.frame.clip)
        regions.append(region)
    whole = shapely.union_all(regions) if regions else EMPTY
    text = properties["clip-path"]
    if text != "none":
        nested = walker.target(text)
        if nested is not None and nested.tag == "clipPath":
            outer = replace(frame, properties=properties)
            other = clip_region(walker, nested, node, outer)
            if other is None:
                return None
            whole = shapely.intersection(whole, other)
    return whole
