"""The edge row of a fill: stones along the outline first, the rest fitted to them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import shapely

from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import discs, inset
from stonelayout.laying.common.fill_symmetry import axes_of
from stonelayout.laying.common.part_fill import Part

from .courses import CHORDS, EDGE_MM, SLACK
from .occupancy import Standing
from .outline_segments import outline_spans
from .row_fill import lay_line
from .stroke_rows import lay_corners


def fill_behind_edge_row(part: Part, fill: Callable[[Part], Points]) -> Points:
    """Lay the first size along the outline, then fill what room is left behind it.

    ``fill`` is given the part with its room cut back to a pitch from that row.
    """
    row = edge_row(part)
    rest = fill(behind(part, row))
    return np.concatenate((row, rest)) if len(rest) else row


def edge_row(part: Part) -> Points:
    """Return stones (n, 2) of the first size along the outline, none where it does not fit.

    Corners come first, then each side between corners from end to end, by equal chords of at
    least the pitch.
    """
    pitch = part.sizes[0].pitch
    distance = part.distance[:, 0] if len(part.obstacles) else np.empty(0)
    least = part.sizes[0].diameter / 2 + float(part.options.get("margin", 0.0))
    room = shapely.intersection(part.room, inset(part.outline, least * (1 + CHORDS)))
    if room.is_empty:
        return np.empty((0, 2))
    near = shapely.buffer(room, EDGE_MM, join_style="mitre", mitre_limit=1.5)
    standing = Standing(near, pitch * (1 - SLACK), axes_of(part), part.obstacles, distance)
    spans, corners = outline_spans(room, pitch)
    lay_corners(standing, corners)
    for span in sorted(spans, key=lambda span: -round(span.length, 6)):
        lay_line(standing, span.points, span.closed)
    return standing.centres


def behind(part: Part, row: Points) -> Part:
    """Return a part whose rooms keep their distance from a row of the first size."""
    if not len(row):
        return part
    first = part.sizes[0].pitch
    rooms = tuple(
        shapely.difference(room, discs(row, np.full(len(row), (first + spec.pitch) / 2)))
        for room, spec in zip(part.rooms, part.sizes, strict=True)
    )
    return dataclasses.replace(part, rooms=rooms)
