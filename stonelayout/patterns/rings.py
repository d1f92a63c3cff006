"""Rows of a shape without limbs: rings, each inset from the one outside it."""

from __future__ import annotations

import shapely
from shapely.geometry import Polygon

from stonelayout.regions import inset_mitred, largest_disc

from .limbs import lay_corners
from .parts import polygons
from .pieces import lay_line
from .spans import Span, outline_spans
from .standing import Standing

#: A shape is fat when its area is less than this times the square about its largest disc, and
#: that disc is more than so many pitches in radius.
FAT_AREA, FAT_DEPTH = 4.0, 1.6
#: A shape with corners is a stroke when this share of its outline is straight (bends by less
#: than so many radians in a pitch) and faces another side.
SIDED, STRAIGHT = 0.1, 0.02
#: Rings stand at most so many pitches apart to end on a row in the middle.
STRETCH = 1.2
_MOST_RINGS = 10_000


def is_fat(room: Polygon, spans: list[Span], pitch: float) -> bool:
    """Tell whether a room is a blob (a disc, a heart, a star) rather than strokes."""
    if len(shapely.get_rings(room)) > 1:
        return False
    depth = largest_disc(room, 1e-3 * pitch)
    if depth <= FAT_DEPTH * pitch or room.area >= FAT_AREA * 4 * depth**2:
        return False
    sided = sum(
        float((span.sided & (span.bend(pitch) * pitch < STRAIGHT)).mean()) * span.length
        for span in spans
    )
    return len(spans) == 1 or sided < SIDED * sum(span.length for span in spans)


def lay_rings(standing: Standing, room: Polygon) -> None:
    """Lay rings from the outline inwards, a stone on every corner, evenly spaced to the middle."""
    pitch = standing.pitch
    depth = largest_disc(room, 1e-3 * pitch) * (1 + 1e-9)
    gap = depth / max(int(depth / pitch), 1)
    if gap > STRETCH * pitch:
        gap = pitch
    for k in range(_MOST_RINGS):
        inner = inset_mitred(room, k * gap)
        if inner.is_empty:
            break
        for piece in polygons(inner):
            spans, corners = outline_spans(piece, pitch)
            lay_corners(standing, corners)
            for span in sorted(spans, key=lambda one: -round(one.length, 5)):
                lay_line(standing, span.points, span.closed)
