"""The edge row of a fill: stones along the outline first, the rest fitted to them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import shapely

from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import discs
from stonelayout.laying.common.fill_symmetry import axes_of
from stonelayout.laying.common.part_fill import Part

from .occupancy import Occupancy, outline_room, with_rounding
from .outline_segments import outline_segments
from .row_fill import lay_line
from .stroke_rows import lay_corners


def fill_behind_edge_row(part: Part, fill: Callable[[Part], Points]) -> Points:
    """Lay the first size along the outline, then fill what room is left behind it.

    ``fill`` is given the part with its room cut back to a pitch from that row.
    """
    row = edge_row(part)
    rest = fill(without_row(part, row))
    return np.concatenate((row, rest)) if len(rest) else row


def edge_row(part: Part) -> Points:
    """Return stones (n, 2) of the first size along the outline, none where it does not fit.

    Corners come first, then each side between corners from end to end, by equal chords of at
    least the pitch.
    """
    room = shapely.intersection(part.room, outline_room(part))
    if room.is_empty:
        return np.empty((0, 2))
    occupancy = Occupancy.of(part, with_rounding(room), axes_of(part))
    segments, corners = outline_segments(room, part.sizes[0].pitch)
    lay_corners(occupancy, corners)
    for segment in sorted(segments, key=lambda segment: -round(segment.length, 6)):
        lay_line(occupancy, segment.points, segment.closed)
    return occupancy.centres


def without_row(part: Part, row: Points) -> Part:
    """Return a part whose rooms keep their distance from a row of the first size."""
    if not len(row):
        return part
    first = part.sizes[0].pitch
    rooms = tuple(
        shapely.difference(room, discs(row, np.full(len(row), (first + spec.pitch) / 2)))
        for room, spec in zip(part.rooms, part.sizes, strict=True)
    )
    return dataclasses.replace(part, rooms=rooms)
