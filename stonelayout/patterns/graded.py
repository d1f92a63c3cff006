"""The ``graded`` pattern: the largest size first, smaller ones where it leaves room."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.artwork import Points

from .base import Ask, Laid
from .even import fill_evenly
from .parts import Part, discs, fill_parts, remembered

#: A pocket with more area than so many squares of the pitch is filled evenly, as a room of its
#: own; a smaller one takes stones from its ends.
WIDE = 1.2
#: Stones that one pocket takes at most, one by one.
_MOST = 400


def lay_graded(ask: Ask) -> Laid:
    """Lay the largest size evenly, then each smaller one in the pockets left for it.

    A stone fits between three touching stones only below 0.155 of their size, so smaller sizes
    go where the larger ones do not: along the edge, into tips and narrow strokes. Options as for
    ``even``; sizes are taken largest first, whatever their order.
    """
    return fill_parts(ask, fill_graded, beside=True)


@remembered
def fill_graded(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
    """Fill one part with all sizes (patterns.parts.Fill)."""
    order = sorted(range(len(part.sizes)), key=lambda k: -part.sizes[k].diameter)
    centres = np.empty((0, 2))
    size = np.empty(0, dtype=np.intp)
    pitches = np.array([spec.pitch for spec in part.sizes])
    for k in order:
        room = part.rooms[k]
        if len(centres) and not room.is_empty:
            room = shapely.difference(room, discs(centres, (pitches[size] + pitches[k]) / 2))
        found = _fill_size(part, k, room, first=not len(centres))
        centres = np.concatenate((centres, found))
        size = np.concatenate((size, np.full(len(found), k, dtype=np.intp)))
    return centres, size


def _fill_size(part: Part, size: int, room: BaseGeometry, *, first: bool) -> Points:
    """Return the stones of one size (n, 2) in the room that larger ones leave."""
    spec = part.sizes[size]
    own = dataclasses.replace(part, sizes=(spec,), rooms=(room,))
    if first:
        return fill_evenly(own)
    pockets = _pockets(room)
    laid: list[Points] = [np.empty((0, 2))]
    for pocket in pockets:
        before = np.concatenate(laid)
        if len(before):
            near = before[
                shapely.distance(shapely.points(before), pocket) < spec.pitch * (1 + 1e-6)
            ]
            if len(near):
                pocket = shapely.difference(pocket, discs(near, np.full(len(near), spec.pitch)))
        for piece in _pockets(pocket):
            if piece.area > WIDE * spec.pitch**2:
                alone = dataclasses.replace(own, rooms=(piece,), mirrors=(False, False))
                laid.append(fill_evenly(alone))
            else:
                laid.append(_from_ends(piece, spec.pitch))
    return np.concatenate(laid)


def _pockets(room: BaseGeometry) -> list[BaseGeometry]:
    found = [p for p in shapely.get_parts(room) if p.geom_type == "Polygon" and not p.is_empty]
    return sorted(found, key=lambda p: (-round(p.area, 6), *np.round(p.bounds, 6).tolist()))


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
        rest = shapely.difference(piece, discs(place[None], np.array([pitch])))
        waiting += _pockets(rest)
    return np.array(laid).reshape(-1, 2)
