"""The ``transform`` of an element, about its ``transform-origin``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .basic_shapes import Units
from .boxes import box_of
from .cascade import Properties
from .document import Node
from .values import IDENTITY, Matrix, multiply, parse_transform, translation

if TYPE_CHECKING:
    from .traversal import Walker

_KEYWORDS = {"left": 0.0, "center": 0.5, "right": 1.0, "top": 0.0, "bottom": 1.0}


def matrix_of(
    node: Node, properties: Properties, units: Units, corner: tuple[float, float], walker: Walker
) -> Matrix:
    """Return the element's own matrix; a malformed transform is left out, with a note."""
    text = properties["transform"]
    if not text or text == "none":
        return IDENTITY
    matrix = parse_transform(text, units.dpi)
    if matrix is None:
        short = " ".join(text.split())[:40]
        walker.note(f'line {node.line}: the transform "{short}" is wrong and was left out')
        return IDENTITY
    origin = properties["transform-origin"]
    if not origin and properties["transform-box"] == "view-box":
        return matrix
    box = (*corner, *units.viewport)
    if properties["transform-box"] in ("fill-box", "content-box", "stroke-box", "border-box"):
        own = box_of(walker, node, properties, units)
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
