"""Noisy outlines, as traced ones are: smoothed between their corners before rows follow them."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import inset, polygons
from stonelayout.geometry.regions import rings_of
from stonelayout.laying.common.part_fill import Part, shared_with_images

#: An outline is noisy when it turns to and fro by more than this, in radians in a pitch.
NOISE = 1.5
#: Its corners turn by more than this, in degrees, between chords of so many pitches.
CORNER_DEGREES, ARM = 45.0, 0.5
#: Deviation of the window that smooths between corners, in pitches and at most as a share of
#: the way between them; and the step of the samples, in pitches.
SIGMA, SIGMA_SHARE, STEP = 0.8, 0.25, 0.04


def smoothed_outline(outline: BaseGeometry, pitch: float) -> tuple[BaseGeometry, float]:
    """Return an outline with its noisy rings smoothed, and how far it strays outside, in mm.

    ``pitch`` in mm sets the scale below which turning to and fro is noise, not form. What is
    inset by a distance and the way it strays is inset by that distance from the outline given.
    """
    parts, strayed = [], 0.0
    for polygon in shapely.get_parts(outline):
        rings = rings_of(polygon)
        noisy = [_is_noisy(ring, pitch) for ring in rings]
        if not any(noisy):
            parts.append(polygon)
            continue
        drawn = [_smoothed(r, pitch) if t else r for r, t in zip(rings, noisy, strict=True)]
        smooth = shapely.make_valid(Polygon(drawn[0], drawn[1:]))
        places = shapely.get_coordinates(polygon)
        places = places[shapely.contains_xy(smooth, places)]
        if len(places):
            depth = shapely.distance(shapely.points(places), shapely.boundary(smooth))
            strayed = max(strayed, float(depth.max()))
        parts.append(smooth)
    return shapely.union_all(parts), strayed


def smoothed_part(part: Part) -> Part:
    """Return a part whose rooms have smooth outlines where its own outline is noisy.

    Rooms get no larger; what keeps inside them keeps inside the true outline, too.
    """
    outline, strayed = smoothed_outline(part.outline, part.sizes[0].pitch)
    if not strayed:
        return part
    rooms = []
    for spec, room in zip(part.sizes, part.rooms, strict=True):
        least = spec.inset(part.options) + strayed
        smooth = shared_with_images(inset(outline, least), part.mirrors)
        rooms.append(shapely.MultiPolygon(polygons(shapely.intersection(smooth, room))))
    return dataclasses.replace(part, rooms=tuple(rooms))


def _turns(ring: Points) -> Points:
    """Return the turning at each vertex of an open vertex list, in radians."""
    side = np.roll(ring, -1, axis=0) - ring
    before = np.roll(side, 1, axis=0)
    across = before[:, 0] * side[:, 1] - before[:, 1] * side[:, 0]
    turn: Points = np.arctan2(across, (before * side).sum(axis=1))
    return turn


def _is_noisy(ring: Points, pitch: float) -> bool:
    """Tell whether a ring turns to and fro far more than its form asks."""
    turn = _turns(ring)
    turn = turn[np.abs(turn) < math.radians(150)]
    length = float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())
    back = min(float(turn[turn > 0].sum()), float(-turn[turn < 0].sum()))
    return back * 2 > NOISE * length / pitch


def _smoothed(ring: Points, pitch: float) -> Points:
    """Return a ring with all between its corners smoothed by a window of a Gaussian kind."""
    away = np.hypot(*(ring - ring.mean(axis=0)).T)
    ring = np.roll(ring, -int(away.argmax()), axis=0)
    closed = np.concatenate((ring, ring[:1]))
    index = _corners(closed, pitch)
    if not index:
        return _window(closed, pitch, True)[:-1]
    ring = np.roll(ring, -index[0], axis=0)
    closed = np.concatenate((ring, ring[:1]))
    stops = [k - index[0] for k in index] + [len(ring)]
    parts = [_window(closed[low : high + 1], pitch, False)[:-1] for low, high in pairwise(stops)]
    return np.concatenate(parts)


def _corners(closed: Points, pitch: float) -> list[int]:
    """Return which points of a closed line (its first point again at the end) are corners.

    Where the chords of ARM pitches before and after a point turn most.
    """
    s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))))
    arm = ARM * pitch
    before, after = (
        np.column_stack([np.interp((s[:-1] + way) % s[-1], s, x) for x in closed.T])
        for way in (-arm, arm)
    )
    one, two = closed[:-1] - before, after - closed[:-1]
    turn = np.abs(
        np.arctan2(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0], (one * two).sum(axis=1))
    )
    sharp = np.flatnonzero(turn > math.radians(CORNER_DEGREES))
    found: list[int] = []
    for k in sharp[np.argsort(-turn[sharp], kind="stable")]:
        apart = np.abs(s[found] - s[k])
        if (np.minimum(apart, s[-1] - apart) > arm).all():
            found.append(int(k))
    return sorted(found)


def _window(line: Points, pitch: float, closed: bool) -> Points:
    """Smooth a line of points (n, 2), its ends kept where open."""
    s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    count = max(int(s[-1] / (STEP * pitch)), 2)
    even = np.linspace(0, s[-1], count + 1)
    at = np.column_stack([np.interp(even, s, line[:, axis]) for axis in (0, 1)])
    step = float(s[-1]) / count
    sigma = min(SIGMA * pitch, SIGMA_SHARE * float(s[-1]))
    half = min(math.ceil(3.5 * sigma / step), count)
    t = np.arange(-half, half + 1) * step / sigma
    weight = np.exp(-0.5 * t**2) * (3 - t**2)  # a fourth-order kernel: bends keep their radius
    weight /= weight.sum()
    if closed:
        padded = at[np.arange(-half, count + half) % count]
    else:  # turned about the ends, which then stay where they are
        head, tail = 2 * at[0] - at[half:0:-1], 2 * at[-1] - at[-2 : -2 - half : -1]
        padded = np.concatenate((head, at, tail))
    smooth = np.column_stack([np.convolve(padded[:, axis], weight, "valid") for axis in (0, 1)])
    return np.concatenate((smooth, smooth[:1])) if closed else smooth
