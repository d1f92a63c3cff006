"""Concentric rows of a compact shape: rings, each inset from the one outside it."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import polygons
from stonelayout.geometry.regions import inset_mitred, largest_disc

from .occupancy import Occupancy
from .outline_segments import OutlineSegment, outline_segments
from .row_fill import lay_line
from .stroke_rows import lay_corners

#: A shape is compact when its area is less than this times the square about its largest disc, and
#: that disc is more than so many pitches in radius.
COMPACT_AREA, COMPACT_DEPTH = 4.0, 1.6
#: A shape with corners is made of strokes when this share of its outline is straight (bends by less
#: than so many radians in a pitch) and faces another side.
SIDED, STRAIGHT = 0.1, 0.02
#: Rings stand at most so many pitches apart to end on a row in the middle.
STRETCH = 1.2
#: A frame is a rectangle or a regular polygon within this, in pitches and in cosines.
EVEN = 1e-3
#: A narrower rectangle, in pitches, may take a row in the gaps of two.
WIDE = 2.0
_MOST_RINGS = 10_000


def is_compact(room: Polygon, segments: list[OutlineSegment], pitch: float) -> bool:
    """Tell whether a room is compact (a disc, a heart, a star) rather than made of strokes."""
    if len(shapely.get_rings(room)) > 1:
        return False
    depth = largest_disc(room, 1e-3 * pitch)
    if depth <= COMPACT_DEPTH * pitch or room.area >= COMPACT_AREA * 4 * depth**2:
        return False
    sided = sum(
        float((segment.sided & (segment.bend(pitch) * pitch < STRAIGHT)).mean()) * segment.length
        for segment in segments
    )
    return len(segments) == 1 or sided < SIDED * sum(segment.length for segment in segments)


def lay_concentric_rows(occupancy: Occupancy, room: Polygon) -> None:
    """Lay rings from the outline inwards, a stone on every corner, evenly spaced to the middle."""
    pitch = occupancy.pitch
    depth = largest_disc(room, 1e-3 * pitch) * (1 + 1e-9)
    gap = depth / max(int(depth / pitch), 1)
    if gap > STRETCH * pitch:
        gap = pitch
    for k in range(_MOST_RINGS):
        inner = inset_mitred(room, k * gap)
        if inner.is_empty:
            break
        for piece in polygons(inner):
            segments, corners = outline_segments(piece, pitch)
            lay_corners(occupancy, corners)
            for segment in sorted(segments, key=lambda one: -round(one.length, 5)):
                lay_line(occupancy, segment.points, segment.closed)


def regular_places(room: Polygon, pitch: float) -> Points:
    """Return the places (n, 2) of a room that takes a regular grid from side to side, or none.

    Those are rectangles at least two pitches wide, equilateral triangles and regular hexagons.
    """
    frame = shapely.get_coordinates(shapely.simplify(room.exterior, EVEN * pitch))[:-1]
    if len(room.interiors) or len(frame) not in (3, 4, 6):
        return frame[:0]
    return rectangular_grid(frame, pitch) if len(frame) == 4 else nested_lattice(frame, pitch)


def rectangular_grid(frame: Points, pitch: float) -> Points:
    """Return places (n, 2) in rows and columns from side to side of a rectangle (4, 2), or none."""
    a, b, c, d = frame
    wide, tall = b - a, d - a
    square = abs(float(wide @ tall)) < EVEN * pitch**2
    if np.abs(a + c - b - d).max() > EVEN * pitch or not square:
        return frame[:0]
    if min(np.hypot(*wide), np.hypot(*tall)) < WIDE * pitch:
        return frame[:0]
    across, down = (
        np.linspace(0, 1, max(int(float(np.hypot(*side)) / pitch * (1 + 1e-11)), 1) + 1)
        for side in (wide, tall)
    )
    places = a + across[:, None, None] * wide + down[:, None] * tall
    return np.asarray(places.reshape(-1, 2))


def nested_lattice(frame: Points, pitch: float) -> Points:
    """Return the places (n, 2) of the densest lattice from side to side of a regular polygon.

    They stand on nested triangles or hexagons, in equal chords; none for other frames.
    """
    sides = np.roll(frame, -1, axis=0) - frame
    length = np.hypot(*sides.T)
    ahead = (sides * np.roll(sides, -1, axis=0)).sum(axis=1) / (length * np.roll(length, -1))
    fewer = {3: 3, 6: 1}.get(len(frame), 0)
    turn = math.cos(2 * math.pi / len(frame))
    if not fewer or np.ptp(length) > EVEN * pitch or np.abs(ahead - turn).max() > EVEN:
        return frame[:0]
    count = int(float(length.min()) / pitch * (1 + 1e-11))
    middle = frame.mean(axis=0)
    found = [frame[:0]]
    for chords in range(count, 0, -fewer):
        corners = middle + (frame - middle) * (chords / count)
        share = np.arange(chords)[:, None, None] / chords
        found.append((corners + share * (np.roll(corners, -1, axis=0) - corners)).reshape(-1, 2))
    if count % fewer == 0:
        found.append(middle[None])
    return np.concatenate(found)
