"""Elliptical arcs as cubics, all arcs of a path at once."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from stonelayout.errors import ArtworkError
from stonelayout.geometry.points import Points

Counts = npt.NDArray[np.int64]
Degrees = npt.NDArray[np.int8]
#: An arc is cut into pieces of at most 30 degrees: each cubic is within 4e-7 of its radius.
_PIECE: Final = math.pi / 6.0
#: Radii relative to the span of an arc beyond which it is straight, and below which it is scaled.
_STRAIGHT: Final = 1e9
_SMALL: Final = 1e-6
#: Coordinates beyond this are refused, and ends that are nearer are one point: it keeps the squares
#: in range.
_MOST: Final = 1e100
_NEAR: Final = 1e-100


def arc_cubics(
    start: Points,
    radii: Points,
    rotation: Points,
    large: npt.NDArray[np.bool_],
    sweep: npt.NDArray[np.bool_],
    end: Points,
) -> tuple[Points, Counts]:
    """Return SVG arcs as cubics: (m, 3, 2) control and end points, and each arc's count of them.

    ``start``, ``radii`` and ``end`` are (n, 2), the others (n,). ``rotation`` is in degrees; radii
    are above zero, and scaled up where too small (SVG 2, appendix "Implementation notes",
    elliptical arcs). No pieces where start and end are equal. Raises ArtworkError for a large
    arc whose radius is beyond 1e9 times its span.
    """
    span = np.hypot(*(end - start).T)
    largest, least = radii.max(axis=1), radii.min(axis=1)
    moves = span > _NEAR
    flat = moves & (largest > _STRAIGHT * span)
    if (flat & large).any():
        raise ArtworkError("an arc's radius is too large")
    straight = flat | (moves & (least < 1e-9 * largest))
    round_ = np.flatnonzero(moves & ~straight)
    pieces = straight.astype(np.int64)
    count, parts = _round(
        start[round_], radii[round_], rotation[round_], large[round_], sweep[round_], end[round_]
    )
    pieces[round_] = count
    last = np.cumsum(pieces)
    out = np.empty((int(pieces.sum()), 3, 2))
    whole = np.repeat(np.isin(np.arange(len(start)), round_), pieces)
    out[whole] = parts
    first, step = start[straight, None], (end - start)[straight, None]
    out[~whole] = first + step * np.array([[1 / 3], [2 / 3], [1.0]])
    drawn = pieces > 0
    out[last[drawn] - 1, 2] = end[drawn]
    return out, pieces


def _round(
    start: Points,
    radii: Points,
    rotation: Points,
    large: npt.NDArray[np.bool_],
    sweep: npt.NDArray[np.bool_],
    end: Points,
) -> tuple[Counts, Points]:
    span = np.hypot(*(end - start).T)
    largest = radii.max(axis=1)
    grown = np.where(largest < _SMALL * span, _SMALL * span / largest, 1.0)
    rx, ry = radii.T * grown
    phi = np.radians(rotation % 360.0)
    cos_phi, sin_phi = np.cos(phi), np.sin(phi)
    dx, dy = (start - end).T / 2.0
    u, v = (cos_phi * dx + sin_phi * dy) / rx, (cos_phi * dy - sin_phi * dx) / ry
    size = u * u + v * v
    scale = np.sqrt(np.maximum(size, 1.0))
    rx, ry, u, v = rx * scale, ry * scale, u / scale, v / scale
    size = np.minimum(size, 1.0)
    root = np.sqrt(np.maximum(0.0, 1.0 / size - 1.0)) * np.where(large == sweep, -1.0, 1.0)
    centre_u, centre_v = root * v, -root * u
    theta = np.arctan2(v - centre_v, u - centre_u)
    delta = np.arctan2(-v - centre_v, -u - centre_u) - theta
    delta += np.where(sweep & (delta < 0.0), math.tau, 0.0)
    delta -= np.where(~sweep & (delta > 0.0), math.tau, 0.0)

    # the unit circle onto the ellipse: columns of the map, and the centre
    px, py, qx, qy = cos_phi * rx, sin_phi * rx, -sin_phi * ry, cos_phi * ry
    mid_x, mid_y = (start + end).T / 2.0
    x0 = mid_x + px * centre_u + qx * centre_v
    y0 = mid_y + py * centre_u + qy * centre_v
    pieces = np.maximum(1, np.ceil(np.abs(delta) / _PIECE - 1e-9)).astype(np.int64)
    step = delta / pieces
    k = 4.0 / 3.0 * np.tan(step / 4.0)
    which = np.repeat(np.arange(len(pieces)), pieces)
    piece = np.arange(len(which)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    here, there = theta[which] + piece * step[which], theta[which] + (piece + 1) * step[which]
    reach = k[which]
    cos, sin, cos_end, sin_end = np.cos(here), np.sin(here), np.cos(there), np.sin(there)
    a = np.stack((cos - reach * sin, cos_end + reach * sin_end, cos_end), axis=1)
    b = np.stack((sin + reach * cos, sin_end - reach * cos_end, sin_end), axis=1)
    x = x0[which, None] + px[which, None] * a + qx[which, None] * b
    y = y0[which, None] + py[which, None] * a + qy[which, None] * b
    return pieces, np.stack((x, y), axis=-1)


def with_arcs(
    points: Points, degrees: Degrees, begins: Counts, arcs: Points
) -> tuple[Points, Degrees, Counts]:
    """Put cubics where lines stand for arcs in subpaths that lie one after another.

    ``begins`` (n + 1, 2) are the places of the subpaths in ``points`` and ``degrees``, and their
    ends; a row of ``arcs`` is a place in ``degrees``, x, y, rx, ry, rotation, large, sweep. An arc
    with a radius of zero stays a line (SVG 2), one that goes nowhere is left out. Raises
    ArtworkError for radii that are too large.
    """
    reach = max(np.abs(points).max(), np.abs(arcs[:, 1:3]).max())
    if not np.isfinite(arcs).all() or reach > _MOST:
        raise ArtworkError("a number in the path data is too large")
    radii = np.abs(arcs[:, 3:5])
    arcs, radii = arcs[(radii > 0.0).all(axis=1)], radii[(radii > 0.0).all(axis=1)]
    place = arcs[:, 0].astype(np.int64)
    subpath = np.searchsorted(begins[:-1, 1], place, side="right")
    last = np.cumsum(degrees, dtype=np.int64)[place] + subpath - 1  # each arc's end in points
    cubics, pieces = arc_cubics(
        arcs[:, 1:3], radii, arcs[:, 5], arcs[:, 6] > 0.0, arcs[:, 7] > 0.0, points[last]
    )
    room = np.ones(len(points), dtype=np.int64)
    room[last] = 3 * pieces
    arc_point = np.zeros(len(points), dtype=np.bool_)
    arc_point[last] = True
    filled = np.repeat(arc_point, room)
    out = np.empty((int(room.sum()), 2))
    out[filled] = cubics.reshape(-1, 2)
    out[~filled] = points[~arc_point]
    many = np.ones(len(degrees), dtype=np.int64)
    many[place] = pieces
    kinds = degrees.copy()
    kinds[place] = 3
    places = [
        np.concatenate(([0], np.cumsum(count)))[begins[:, axis]]
        for axis, count in enumerate((room, many))
    ]
    return out, np.repeat(kinds, many), np.column_stack(places)


@lru_cache
def quarter_circle(quarter: int) -> Points:
    """Return a quarter of the unit circle as cubics (10, 2), from ``quarter`` × 90 degrees on.

    It turns from x to y; its ends are exact. The array is shared: do not write to it.
    """
    axes = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    start, end = axes[quarter % 4], axes[(quarter + 1) % 4]
    yes = np.ones(1, dtype=np.bool_)
    cubics, _ = arc_cubics(start[None], np.ones((1, 2)), np.zeros(1), ~yes, yes, end[None])
    return np.concatenate((start[None], cubics.reshape(-1, 2)))
