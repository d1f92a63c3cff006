"""Viewports: ``viewBox``, ``preserveAspectRatio``, and the viewport of a nested ``svg``."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from .context import Context, GraphicsState
from .css_values import Matrix, multiply, parse_numbers, translation
from .document import Node

#: User units that a view box must exceed and keep below: beyond them scales overflow.
_LEAST_BOX: Final = 1e-9
_LARGEST_BOX: Final = 1e12


def view_box(node: Node) -> tuple[float, float, float, float] | None:
    """Return (x, y, width, height) of a usable ``viewBox``, else None."""
    numbers = parse_numbers(node.attrib.get("viewBox", ""))
    if not numbers or len(numbers) != 4 or not np.isfinite(numbers).all():
        return None
    x, y, width, height = numbers
    usable = min(width, height) > _LEAST_BOX and max(map(abs, numbers)) < _LARGEST_BOX
    return (x, y, width, height) if usable else None


def fit(box: tuple[float, float, float, float], width: float, height: float, aspect: str) -> Matrix:
    """Return the matrix that puts a view box into a viewport at the origin (SVG 2, 8.2)."""
    x, y, box_width, box_height = box
    sx, sy = width / box_width, height / box_height
    words = [word for word in aspect.split() if word != "defer"] or ["xMidYMid"]
    align, slicing = words[0], words[1:] == ["slice"]
    if align == "none":
        return np.array([[sx, 0.0, -x * sx], [0.0, sy, -y * sy]])
    scale = max(sx, sy) if slicing else min(sx, sy)
    free_x, free_y = width - box_width * scale, height - box_height * scale
    share = {"min": 0.0, "mid": 0.5, "max": 1.0}
    part_x = share.get(align[1:4].lower(), 0.5)
    part_y = share.get(align[5:8].lower(), 0.5)
    return np.array(
        [[scale, 0.0, part_x * free_x - x * scale], [0.0, scale, part_y * free_y - y * scale]]
    )


def nested_viewport(context: Context, node: Node, state: GraphicsState) -> GraphicsState | None:
    """Enter a nested ``svg`` or a ``symbol``: its own viewport, view box and clip.

    None (reported) where the viewport is empty.
    """
    units = context.units(state)
    given = node.attrib
    x = y = 0.0
    if node.tag == "svg":
        x = units.length(given.get("x"), "x") or 0.0
        y = units.length(given.get("y"), "y") or 0.0
    width = units.length(state.size[0] or given.get("width") or "100%", "x")
    height = units.length(state.size[1] or given.get("height") or "100%", "y")
    width = state.viewport[0] if width is None else width
    height = state.viewport[1] if height is None else height
    if width <= 0.0 or height <= 0.0:
        context.skip(node, state, "its width or height is zero: it is not drawn")
        return None
    matrix = multiply(state.matrix, translation(x, y))
    clip = state.clip
    if state.properties["overflow"] not in ("visible", "auto"):
        corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)
        window = shapely.Polygon(corners @ matrix[:, :2].T + matrix[:, 2])
        clip = window if clip is None else clip.intersection(window)
    box = view_box(node)
    if box is not None:
        matrix = multiply(matrix, fit(box, width, height, given.get("preserveAspectRatio", "")))
    return replace(
        state,
        matrix=matrix,
        clip=clip,
        viewport=box[2:] if box else (width, height),
        origin=box[:2] if box else (0.0, 0.0),
        size=(None, None),
    )
