"""The ``transform`` of an element, about its ``transform-origin``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .basic_shapes import Units
from .boxes import object_box
from .context import GraphicsState, Walk
from .css_values import IDENTITY, Matrix, multiply, parse_transform, translation
from .document import Node
from .element_regions import LEAST_SCALE, scales

_KEYWORDS = {"left": 0.0, "center": 0.5, "right": 1.0, "top": 0.0, "bottom": 1.0}


def with_transform(walk: Walk, node: Node, state: GraphicsState) -> GraphicsState | None:
    """Return the state in the element's own user space; None (reported) where that is flat."""
    own = matrix_of(walk, node, state)
    if own is IDENTITY:
        return state
    state = replace(state, matrix=multiply(state.matrix, own))
    if not np.isfinite(state.matrix).all() or scales(state.matrix)[1] < LEAST_SCALE:
        walk.context.skip(node, state, "its transform flattens it to nothing")
        return None
    return state


def matrix_of(walk: Walk, node: Node, state: GraphicsState) -> Matrix:
    """Return the element's own matrix; a malformed transform is left out, with a note.

    ``state`` has the element's properties, and all else from outside it.
    """
    properties, units = state.properties, walk.context.units(state)
    text = properties["transform"]
    if not text or text == "none":
        return IDENTITY
    matrix = parse_transform(text, units.dpi)
    if matrix is None:
        short = " ".join(text.split())[:40]
        words = f'line {node.line}: the transform "{short}" is wrong and was left out'
        walk.context.note(words)
        return IDENTITY
    origin = properties["transform-origin"]
    if not origin and properties["transform-box"] == "view-box":
        return matrix
    box = (*state.origin, *units.viewport)
    if properties["transform-box"] in ("fill-box", "content-box", "stroke-box", "border-box"):
        plain = GraphicsState(IDENTITY, properties, units.viewport)
        own = object_box(walk, node, plain)
        box = own if own is not None else box
        origin = origin or "50% 50%"
    x, y = origin_of(origin, box, units)
    return multiply(multiply(translation(x, y), matrix), translation(-x, -y))


def origin_of(
    text: str, box: tuple[float, float, float, float], units: Units
) -> tuple[float, float]:
    """Return the point in user units that a CSS position of one or two values names in a box."""
    words = text.lower().split() or ["0", "0"]
    if len(words) == 1:
        words = ["center", words[0]] if words[0] in ("top", "bottom") else [words[0], "center"]
    if words[0] in ("top", "bottom") or words[1] in ("left", "right"):
        words[0], words[1] = words[1], words[0]
    out = []
    for axis in (0, 1):
        word, start, size = words[axis], box[axis], box[axis + 2]
        if word in _KEYWORDS:
            out.append(start + _KEYWORDS[word] * size)
        elif word.endswith("%"):
            part = Units((size, size), units.font_size, units.dpi).length(word, "x")
            out.append(start + (part or 0.0))
        else:
            out.append(start + (units.length(word, "xy"[axis]) or 0.0))
    return out[0], out[1]
