"""Bounding boxes of elements in their own user space, without strokes (SVG's object box)."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import flatten

from .context import GraphicsState, Walk
from .css_values import IDENTITY
from .document import Node

#: How many elements may stand in all boxes that are worked out, each counted in every box.
MOST_BOXED: Final = 50_000
Box = tuple[float, float, float, float]


def object_box(walk: Walk, node: Node, state: GraphicsState) -> Box | None:
    """Return (x, y, width, height) of what an element draws, in its user space; None: nothing.

    ``state`` is the one inside the element. Raises ArtworkError at ``MOST_BOXED``.
    """
    context = walk.context
    context.boxed += sum(1 for _ in node.iter())
    if context.boxed > MOST_BOXED:
        raise ArtworkError(f"boxes of over {MOST_BOXED:,} elements to work out; refused")
    before = context.quiet, context.boxing
    context.quiet = context.boxing = True
    try:
        visits = list(walk.drawn_by(node, replace(state, matrix=IDENTITY, clip=None)))
    finally:
        context.quiet, context.boxing = before
    corners = []
    for visit in visits:
        for subpath in visit.subpaths:
            points = flatten(subpath, 1e-3).points
            matrix = visit.state.matrix
            corners.append(points @ matrix[:, :2].T + matrix[:, 2])
    if not corners:
        return None
    points = np.concatenate(corners)
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return x0, y0, x1 - x0, y1 - y0
