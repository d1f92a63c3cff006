"""The pattern `courses`: rows parallel to the outline that fit the local width."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import depth_within, polygons
from stonelayout.geometry.regions import inset_mitred
from stonelayout.geometry.symmetry import mirrored
from stonelayout.laying.common.ask import Ask, Laid
from stonelayout.laying.common.fill_symmetry import axes_of, symmetric_room, symmetries
from stonelayout.laying.common.outline_smoothing import smoothed_outline
from stonelayout.laying.common.part_fill import Part, fill_parts, remembered, shared_with_images
from stonelayout.laying.rows.middle_row import middle_row

from .concentric_rows import is_compact, lay_concentric_rows, regular_places
from .gap_fill import fill_remaining
from .occupancy import EDGE_MM, Occupancy, outline_room, with_rounding
from .outline_segments import measured_segments
from .row_repair import loosen
from .stroke_rows import lay_stroke_rows

#: Centres are kept this much further inside than asked, in mm, where a region is made symmetric.
SNAP_MM = 1e-6
#: How often a room is inset again.
_INSETS = 4
#: Obstacles within so many of their distances count as one row.
ONE_ROW = 1.5
#: A fill that looks the same turned is taken with this share of the stones or more (tuned on stars
#: and flowers: more loses the likeness of their arms for few stones, less leaves bald places).
TURNED_SHARE = 0.965


def lay_courses(ask: Ask) -> Laid:
    """Lay rows parallel to the outline, evenly spaced over the local width, then fill up.

    Uses the first size and the option ``margin`` (mm). Stones keep their pitch, and their
    distance from obstacles; centres lie at least D / 2 + margin inside the region.
    """
    return fill_parts(ask, fill_courses, middle_row)


@remembered
def fill_courses(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
    """Fill one part with rows (part_fill.Fill).

    Beside obstacles rows are laid both as if they were not there and along them; what places
    more stones is kept.
    """
    room = room_for_rows(part)
    if room.is_empty and part.room.is_empty:
        return np.empty((0, 2)), np.empty(0, dtype=np.intp)
    turns = turning_symmetries(part)
    centres = _fill_room(part, room, axes_of(part), loose=not turns)
    for mirrors in turns:
        like = _fill_room(part, room_under(room, mirrors), mirrors)
        if len(like) >= TURNED_SHARE * len(centres):
            centres = like
            break
    if len(part.obstacles):
        kept = shapely.difference(room, zone_of_rows(part.obstacles, part.distance[:, 0]))
        along = _fill_room(part, kept, axes_of(part))
        centres = along if len(along) > len(centres) else centres
    return centres, np.zeros(len(centres), dtype=np.intp)


def turning_symmetries(part: Part) -> list[Mirrors]:
    """Return the mirrors of a part that looks the same turned, highest order first.

    None for a disc, whose rows are rings, nor for what looks the same turned by a
    right angle only: a grid is better there.
    """
    orders = {len(mirrors.group) // 2: mirrors for mirrors in symmetries(part)}
    if {5, 6} <= set(orders):
        return []
    return [mirrors for order, mirrors in orders.items() if order > 2 and order != 4]


def room_under(room: BaseGeometry, mirrors: Mirrors) -> BaseGeometry:
    """Return what a room shares with its images under mirrors, inset against rounding."""
    return inset_mitred(symmetric_room(room, mirrors, SNAP_MM / 2), SNAP_MM)


def _fill_room(part: Part, room: BaseGeometry, mirrors: Mirrors, *, loose: bool = True) -> Points:
    """Lay rows in a room for centres, then fill up to the outline.

    ``loose``: stones in no row may move aside for others (row_repair.loosen).
    """
    wide = outline_room(part)
    edge = with_rounding(room)
    both = shared_with_images(wide, part.mirrors)
    if len(mirrors.group) > 4:
        both = room_under(both, mirrors)
    occupancy = Occupancy.of(part, shapely.union(edge, both), mirrors)
    for piece in polygons(room):
        places = regular_places(piece, occupancy.pitch)
        if len(places) and not len(part.obstacles):
            occupancy.add(places)
            continue
        segments, corners = measured_segments(piece, occupancy.pitch)
        if is_compact(piece, segments, occupancy.pitch):
            lay_concentric_rows(occupancy, piece)
        else:
            lay_stroke_rows(occupancy, piece, segments, corners)
    fill_remaining(occupancy)
    if loose and loosen(occupancy):
        fill_remaining(occupancy)
    if mirrors:  # what is left fits once, not in pairs
        occupancy.drop_symmetry(shapely.union(edge, wide))
        fill_remaining(occupancy)
    return occupancy.centres


def zone_of_rows(obstacles: Points, distance: Points) -> BaseGeometry:
    """Return what rows of obstacles (m, 2) keep for themselves: ``distance`` (m,) on both sides.

    Obstacles a little more than their distance apart count as one row, so that new rows run
    straight beside them; single stones may still stand in the gaps between two.
    """
    from scipy.spatial import KDTree

    reach = ONE_ROW * float(distance.max())
    pairs = KDTree(obstacles).query_pairs(reach, output_type="ndarray")
    wide = np.maximum(distance[pairs[:, 0]], distance[pairs[:, 1]])
    step = obstacles[pairs[:, 1]] - obstacles[pairs[:, 0]]
    near = np.hypot(step[:, 0], step[:, 1]) <= ONE_ROW * wide
    lines = shapely.linestrings(obstacles[pairs[near]])
    return shapely.union_all(
        np.concatenate(
            (
                shapely.buffer(shapely.points(obstacles), distance, quad_segs=32),
                shapely.buffer(lines, wide[near], quad_segs=32),
            )
        )
    )


def room_for_rows(part: Part) -> BaseGeometry:
    """Return the room for centres, notches kept sharp, exactly symmetric where the part is.

    Insets may lie outside by some 1e-8 mm; the room is inset again until it does not.
    """
    least = part.sizes[0].inset(part.options)
    off = [
        shapely.hausdorff_distance(part.outline, mirrored(part.outline, axis)) if like else 0.0
        for axis, like in zip((0, 1), part.mirrors, strict=True)
    ]
    near = max(off) < EDGE_MM
    outline, strayed = smoothed_outline(part.outline, part.sizes[0].pitch)
    reach = least + strayed + (0.0 if near else SNAP_MM)
    room = _made_symmetric(inset_mitred(outline, reach), part, near)
    for _ in range(_INSETS):
        if room.is_empty:
            break
        # two polygons come nearest at a vertex of one of them
        own, others = shapely.get_coordinates(room), shapely.get_coordinates(part.outline)
        inside = depth_within(part.outline, own, np.full(len(own), least))
        outside = -depth_within(room, others, np.full(len(others), least))
        short = least - min(float(inside.min()), float(outside.min()))
        if short <= EDGE_MM:
            break
        reach += short + EDGE_MM
        room = _made_symmetric(inset_mitred(outline, reach), part, near)
    return room


def _made_symmetric(room: BaseGeometry, part: Part, near: bool) -> BaseGeometry:
    """Return a room that is its own mirror image to the last digit where the part is one.

    ``near``: it is one already, but for rounding.
    """
    for axis in (0, 1):
        if part.mirrors[axis] and not room.is_empty:
            if not near:
                room = shapely.intersection(room, mirrored(room, axis))
                room = shapely.simplify(room, SNAP_MM / 2)
            x0, y0, x1, y1 = room.bounds
            low = (0.0, y0 - 1) if axis == 0 else (x0 - 1, 0.0)
            kept = shapely.intersection(room, shapely.box(*low, x1 + 1, y1 + 1))
            room = shapely.union(kept, mirrored(kept, axis))
    return room
