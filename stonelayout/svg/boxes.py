"""Bounding boxes of elements in their own user space, without strokes (SVG's object box)."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import flatten

from .basic_shapes import READERS, Units
from .cascade import Properties
from .document import Node
from .values import IDENTITY

if TYPE_CHECKING:
    from .traversal import Frame, Walker

#: How many elements may stand in all boxes that are worked out, each counted in every box.
MOST_BOXED: Final = 50_000
Box = tuple[float, float, float, float]


def box_of(walker: Walker, node: Node, properties: Properties, units: Units) -> Box | None:
    """Return (x, y, width, height) of what the element draws; None where it draws nothing."""
    from .traversal import Frame

    frame = Frame(IDENTITY, properties, units.viewport)
    return element_box(walker, node, frame)


def element_box(walker: Walker, node: Node, frame: Frame) -> Box | None:
    """Return the object box of an element already entered, in its user space."""
    walker.boxed += sum(1 for _ in node.iter())
    if walker.boxed > MOST_BOXED:
        raise ArtworkError(f"boxes of over {MOST_BOXED:,} elements to work out; refused")
    plain = replace(frame, matrix=IDENTITY, clip=None)
    before = walker.quiet, walker.boxing
    walker.quiet = walker.boxing = True
    try:
        if node.tag in READERS:
            visits = [walker.geometry(node, plain)]
        elif node.tag == "text":
            visits = walker.text(node, plain)
        elif node.tag == "use":
            visits = list(walker.visit_all(walker.used(node, plain)))
        else:
            visits = list(walker.below(node, plain))
    finally:
        walker.quiet, walker.boxing = before
    corners = []
    for visit in visits:
        for subpath in visit.subpaths:
            points = flatten(subpath, 1e-3).points
            matrix = visit.frame.matrix
            corners.append(points @ matrix[:, :2].T + matrix[:, 2])
    if not corners:
        return None
    points = np.concatenate(corners)
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return x0, y0, x1 - x0, y1 - y0
