"""Pockets: what room larger stones leave for one size, filled in images of one wedge."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import discs, polygons
from stonelayout.laying.common.part_fill import Part

from .even import fill_evenly

#: A pocket with more area than so many squares of the pitch is filled evenly, as a room of its
#: own; a smaller one takes stones from its ends.
WIDE = 1.2
#: Stones that one pocket takes at most, one by one.
_MOST = 400


def fill_pockets(part: Part, room: BaseGeometry, mirrors: Mirrors) -> Points:
    """Return stones (n, 2) of a part's only size in a room; the room is symmetric, and so are they.

    The one where mirrors meet comes first, then those on them, then those between them, half a
    pitch or more away.
    """
    pitch = part.sizes[0].pitch
    laid = np.empty((0, 2))
    if len(mirrors) > 1 and shapely.intersects_xy(room, 0.0, 0.0):
        laid = np.zeros((1, 2))
    for k in range(len(mirrors)):
        for line in _on_mirror(_without(room, laid, pitch), mirrors, k, pitch):
            laid = np.concatenate((laid, mirrors.everywhere(_spread(line, pitch))))
    room = _without(room, laid, pitch)
    if len(mirrors):
        room = shapely.intersection(room, _wedge(room, mirrors, pitch / 2))
    found = [np.empty((0, 2))]
    for pocket in polygons(room):
        left = _without(pocket, np.concatenate(found), pitch)
        for piece in polygons(left):
            if piece.area > WIDE * pitch**2:
                alone = dataclasses.replace(part, rooms=(piece,), mirrors=(False, False))
                found.append(fill_evenly(alone))
            else:
                found.append(_from_ends(piece, pitch))
    between = np.concatenate(found)
    return np.concatenate((laid, mirrors.everywhere(between)))


def _without(room: BaseGeometry, centres: Points, pitch: float) -> BaseGeometry:
    """Return a room without what is nearer than a pitch to stones."""
    near = centres
    if len(centres):
        near = centres[shapely.dwithin(shapely.points(centres), room, pitch * (1 + 1e-6))]
    if not len(near):
        return room
    return shapely.difference(room, discs(near, np.full(len(near), pitch)))


def _wedge(room: BaseGeometry, mirrors: Mirrors, height: float) -> BaseGeometry:
    """Return what lies at least ``height`` mm above all mirrors."""
    x0, y0, x1, y1 = room.bounds if not room.is_empty else (0.0, 0.0, 1.0, 1.0)
    far = 4 * max(map(abs, (x0, y0, x1, y1)))
    found: BaseGeometry = shapely.box(-far, -far, far, far)
    for normal in mirrors.normals:
        along = np.array([-normal[1], normal[0]])
        corners = [
            normal * height - 2 * far * along,
            normal * height + 2 * far * along,
            normal * 2 * far + 2 * far * along,
            normal * 2 * far - 2 * far * along,
        ]
        found = shapely.intersection(found, Polygon(np.array(corners)))
    return found


def _on_mirror(room: BaseGeometry, mirrors: Mirrors, k: int, pitch: float) -> list[Points]:
    """Return where a room meets a mirror, half a pitch or more above the other: (2, 2) each."""
    if room.is_empty:
        return []
    x0, y0, x1, y1 = room.bounds
    along = np.array([-mirrors.normals[k][1], mirrors.normals[k][0]])
    far = 4 * max(map(abs, (x0, y0, x1, y1)))
    line = shapely.linestrings([-far * along, far * along])
    for other, normal in enumerate(mirrors.normals):
        if other != k:  # the half of the mirror that bounds the wedge
            slope = float(along @ normal)
            ends = np.array([pitch / 2 / slope, math.copysign(far, slope)])
            line = shapely.linestrings(ends[:, None] * along)
    met = shapely.intersection(room, line)
    found = [shapely.get_coordinates(part) for part in shapely.get_parts(met) if part.length]
    # to the last digit on the mirror
    chords = [np.outer(points[[0, -1]] @ along, along) for points in found]
    return sorted(chords, key=lambda pair: tuple(np.round(pair[0], 6)))


def _spread(ends: Points, pitch: float) -> Points:
    """Return as many stones as fit on a line, spread evenly; one in its middle if just one does."""
    length = float(np.hypot(*(ends[1] - ends[0])))
    count = math.floor(length / pitch * (1 + 1e-9)) + 1
    share = np.linspace(0, 1, count) if count > 1 else np.array([0.5])
    found: Points = ends[0] + share[:, None] * (ends[1] - ends[0])
    return found


def _from_ends(pocket: BaseGeometry, pitch: float) -> Points:
    """Fill a small pocket: one stone in its middle, or stones from its ends inward."""
    laid: list[Points] = []
    waiting = [pocket]
    while waiting and len(laid) < _MOST:
        piece = waiting.pop()
        corners = shapely.get_coordinates(piece)
        apart = np.hypot(*(corners[:, None] - corners[None]).transpose(2, 0, 1))
        if apart.max() < pitch:
            middle = shapely.centroid(piece)
            if not piece.covers(middle):
                middle = shapely.point_on_surface(piece)
            place = shapely.get_coordinates(middle)[0]
        else:
            place = corners[int(np.unravel_index(int(apart.argmax()), apart.shape)[0])]
        laid.append(place)
        waiting += polygons(shapely.difference(piece, discs(place[None], np.array([pitch]))))
    return np.array(laid).reshape(-1, 2)
