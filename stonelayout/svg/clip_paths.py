"""``clip-path``: the region of a ``clipPath``, exactly."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError

from .basic_shapes import READERS
from .boxes import element_box
from .document import Node, children
from .element_regions import filled, flattened
from .fill_rules import EMPTY
from .transforms import matrix_of
from .values import multiply

if TYPE_CHECKING:
    from .traversal import Frame, Walker


#: How many clip paths one drawing may need, and how long a chain of them may be.
MOST_CLIPS: Final = 20_000
MOST_LINKED: Final = 40


def clip_region(walker: Walker, clip: Node, node: Node, frame: Frame) -> BaseGeometry | None:
    """Return the clip's region in mm for one element; None (no clip) for one within itself."""
    if clip in walker.clipping:
        return None
    of_box = clip.attrib.get("clipPathUnits") == "objectBoundingBox"
    key = clip, frame.matrix.tobytes() + np.array(frame.viewport).tobytes()
    if not of_box and key in walker.clips:
        return walker.clips[key]
    if len(walker.clipping) >= MOST_LINKED:
        raise ArtworkError(f"clip paths clip each other over {MOST_LINKED} deep; refused")
    walker.clip_count += 1
    if walker.clip_count > MOST_CLIPS:
        raise ArtworkError(f"over {MOST_CLIPS:,} clip paths to work out; refused")
    quiet, walker.quiet = walker.quiet, True
    walker.clipping.append(clip)
    try:
        region = _region(walker, clip, node, frame)
        if not of_box:
            walker.clips[key] = region
        return region
    finally:
        walker.clipping.pop()
        walker.quiet = quiet


def _members(walker: Walker, clip: Node) -> list[Node]:
    """Return what may stand in a clipPath: shapes, text, ``use`` of these; last first."""
    out = []
    for child in reversed(children(clip)):
        target = child
        if child.tag == "use":
            href = child.attrib.get("href") or child.attrib.get("xlink:href") or ""
            target = walker.ids.get(href.strip().removeprefix("#"), child)
        if target.tag in READERS or (target.tag == "text" and walker.fonts is not None):
            out.append(child)
    return out


def _region(walker: Walker, clip: Node, node: Node, frame: Frame) -> BaseGeometry:
    properties = walker.inherited(clip)
    inside = replace(frame, properties=properties, clip=None, uses=())
    own = matrix_of(clip, properties, walker.units(inside), frame.origin, walker)
    matrix = multiply(frame.matrix, own)
    if clip.attrib.get("clipPathUnits") == "objectBoundingBox":
        box = element_box(walker, node, frame)
        if box is None or box[2] <= 0.0 or box[3] <= 0.0:
            return EMPTY
        matrix = multiply(matrix, np.array([[box[2], 0.0, box[0]], [0.0, box[3], box[1]]]))
        inside = replace(inside, viewport=(1.0, 1.0))
    inside = replace(inside, matrix=matrix)
    regions = []
    for visit in walker.visit_all([(child, inside) for child in _members(walker, clip)]):
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
            if other is not None:
                whole = whole.intersection(other)
    return whole
