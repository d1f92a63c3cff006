"""``clip-path``: what it leaves of an element; the region of a ``clipPath``, exactly."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError

from .basic_shapes import READERS
from .boxes import object_box
from .context import Context, GraphicsState, Walk
from .css_clip_shapes import basic_shape_region
from .css_values import multiply
from .document import Node, children
from .element_regions import filled, flattened
from .fill_rules import EMPTY
from .style_properties import reference
from .transforms import matrix_of

#: How many clip paths one drawing may need, and how long a chain of them may be.
MOST_CLIPS: Final = 20_000
MOST_LINKED: Final = 40


def with_clip(walk: Walk, node: Node, state: GraphicsState) -> GraphicsState:
    """Return the state clipped as the element's ``clip-path`` says; report one not read."""
    context, text = walk.context, state.properties["clip-path"]
    if text == "none" or context.boxing:
        return state
    target = context.target(text)
    if target is not None and target.tag == "clipPath":
        region = clip_region(walk, target, node, state)
    elif reference(text) is not None:
        return state
    else:
        region = basic_shape_region(walk, text, node, state)
        if region is None:
            words = f'its clip-path "{text}" is not read: it was taken whole'
            context.skip(node, state, words, drawn=True)
    if region is None:
        return state
    if state.clip is not None:
        region = state.clip.intersection(region)
    return replace(state, clip=region)


def clip_region(walk: Walk, clip: Node, node: Node, state: GraphicsState) -> BaseGeometry | None:
    """Return the clip's region in mm for one element; None (no clip) for one within itself."""
    context = walk.context
    if clip in context.clipping:
        return None
    of_box = clip.attrib.get("clipPathUnits") == "objectBoundingBox"
    key = clip, state.matrix.tobytes() + np.array(state.viewport).tobytes()
    if not of_box and key in context.clips:
        return context.clips[key]
    if len(context.clipping) >= MOST_LINKED:
        raise ArtworkError(f"clip paths clip each other over {MOST_LINKED} deep; refused")
    context.clip_count += 1
    if context.clip_count > MOST_CLIPS:
        raise ArtworkError(f"over {MOST_CLIPS:,} clip paths to work out; refused")
    quiet, context.quiet = context.quiet, True
    context.clipping.append(clip)
    try:
        region = _region(walk, clip, node, state)
        if not of_box:
            context.clips[key] = region
        return region
    finally:
        context.clipping.pop()
        context.quiet = quiet


def _members(context: Context, clip: Node) -> list[Node]:
    """Return what may stand in a clipPath: shapes, text, ``use`` of these; last first."""
    out = []
    for child in reversed(children(clip)):
        target = child
        if child.tag == "use":
            href = child.attrib.get("href") or child.attrib.get("xlink:href") or ""
            target = context.ids.get(href.strip().removeprefix("#"), child)
        if target.tag in READERS or (target.tag == "text" and context.fonts is not None):
            out.append(child)
    return out


def _region(walk: Walk, clip: Node, node: Node, state: GraphicsState) -> BaseGeometry:
    context = walk.context
    properties = context.inherited(clip)
    inside = replace(state, properties=properties, clip=None, uses=())
    own = matrix_of(walk, clip, inside)
    matrix = multiply(state.matrix, own)
    if clip.attrib.get("clipPathUnits") == "objectBoundingBox":
        box = object_box(walk, node, state)
        if box is None or box[2] <= 0.0 or box[3] <= 0.0:
            return EMPTY
        matrix = multiply(matrix, np.array([[box[2], 0.0, box[0]], [0.0, box[3], box[1]]]))
        inside = replace(inside, viewport=(1.0, 1.0))
    inside = replace(inside, matrix=matrix)
    regions = []
    for visit in walk.visit_all([(child, inside) for child in _members(context, clip)]):
        if visit.state.properties["visibility"] != "visible":
            continue
        flats = flattened(visit.subpaths, visit.state.matrix, context.tolerance)
        region = filled(flats, visit.state.matrix, visit.state.properties["clip-rule"])
        if visit.state.clip is not None:
            region = shapely.intersection(region, visit.state.clip)
        regions.append(region)
    whole = shapely.union_all(regions) if regions else EMPTY
    text = properties["clip-path"]
    if text != "none":
        nested = context.target(text)
        if nested is not None and nested.tag == "clipPath":
            outer = replace(state, properties=properties)
            other = clip_region(walk, nested, node, outer)
            if other is not None:
                whole = whole.intersection(other)
    return whole
