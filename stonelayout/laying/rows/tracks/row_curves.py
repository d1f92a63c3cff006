"""The curves of a shape that rows can run on, in a frame and from a start of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.frames import FRAME_DECIMALS, Frame
from stonelayout.geometry.polygons import ARC_SEGMENTS
from stonelayout.geometry.polylines import SAME_MM, Polyline
from stonelayout.geometry.symmetry import (
    ALIKE_MM,
    NEARLY_MM,
    ON_AXIS_MM,
    curves_alike,
    image,
    with_its_image,
)
from stonelayout.laying.common.ask import Ask
from stonelayout.model.artwork import Line, rings


def ask_inward(ask: Ask, frame: Frame) -> Ask:
    """Carry the curves and the region of an ask into a frame; obstacles stay behind."""
    region = ask.region
    if region is not None:
        region = shapely.normalize(frame.shape_inward(region))
        if not region.is_valid:
            region = shapely.make_valid(region)
    lines = tuple(
        Line(
            np.round(frame.inward(line.points), FRAME_DECIMALS) + 0.0,
            line.closed,
            None if line.pen is None else frame.turn @ line.pen,
        )
        for line in ask.lines
    )
    return replace(ask, region=region, lines=lines, obstacles=None)


def drawn_paths(ask: Ask) -> list[Polyline]:
    """Return all that an ask draws, to find its frame."""
    found = [Polyline.of(line.points, line.closed) for line in ask.lines]
    return found if ask.region is None else [*found, *lines_of(ask.region)]


def own_start(path: Polyline) -> Polyline:
    """Return the curve with a direction, and if closed a start, that are functions of its form.

    A closed curve starts on its axis of symmetry where it has one that is upright or level (at
    the top, or at the left), else at the vertex farthest from its middle. Closed curves run so
    that their area is positive, open ones from their first end in reading order.
    """
    return own_starts(path)[0]


def own_starts(path: Polyline) -> list[Polyline]:
    """Return the curve as ``own_start`` does, once for each axis of symmetry that it has."""
    if len(path.points) < 2:
        return [path]
    if not path.closed:
        first, last = np.round(path.points[[0, -1]], 6).tolist()
        return [path.turned() if last < first else path]
    x, y = path.points.T
    if float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum()) < 0:
        path = path.turned()
    middle = (np.diff(path.along)[:, None] * (path.points[1:] + path.points[:-1])).sum(axis=0) / (
        2 * path.length
    )
    axes: list[int] = []
    for tolerance in (ALIKE_MM, NEARLY_MM):
        axes = axes or [
            axis for axis in (0, 1) if curves_alike([path], [path], axis, middle[axis], tolerance)
        ]
    if axes:
        return [_symmetric(path, float(middle[axis]), axis) for axis in axes]
    away = np.round(np.hypot(*(path.points[:-1] - middle).T), 6)
    ties = np.flatnonzero(away == away.max())
    places = np.round(path.points[ties], 6)
    first = ties[np.lexsort((places[:, 0], places[:, 1]))[0]]
    return [path.from_place(float(path.along[first]))]


def _symmetric(path: Polyline, level: float, axis: int) -> Polyline:
    """Return a curve that is its own mirror image to the last digit, started on its axis."""
    start = _on_axis(path, level, axis)
    path = path.from_place(start)
    value = path.points[:, axis] - level
    value[np.abs(value) < ON_AXIS_MM] = 0.0
    turn = np.flatnonzero((value[1:-1] == 0) | (value[1:-1] * value[2:] < 0)) + 1
    if len(turn) != 1:
        return path
    k = int(turn[0])
    share = 0.0 if value[k] == 0 else float(value[k] / (value[k] - value[k + 1]))
    end = float(path.along[k] + share * (path.along[k + 1] - path.along[k]))
    return with_its_image(path.between(0.0, end), axis, level)


def axis_of(path: Polyline) -> tuple[int, float] | None:
    """Return the axis (0: upright, 1: level) on which a closed curve starts, and its x or y in mm.

    For a curve that is its own mirror image to the last digit, as ``own_start`` makes it; else
    None.
    """
    for axis in (0, 1) if path.closed else ():
        level = float(path.points[0, axis])
        other = image(path.points[::-1], axis, level)
        if np.allclose(other, path.points, rtol=0, atol=SAME_MM):
            return axis, level
    return None


def _on_axis(path: Polyline, level: float, axis: int) -> float:
    """Return where a curve crosses its axis of symmetry first, from the top or the left."""
    value = path.points[:, axis] - level
    value[np.abs(value) < ON_AXIS_MM] = 0.0
    crossing = np.flatnonzero((value[:-1] == 0) | (value[:-1] * value[1:] < 0))
    if not len(crossing):
        return 0.0
    before, after = value[crossing], value[crossing + 1]
    share = np.where(before == 0, 0.0, before / np.where(before == after, 1.0, before - after))
    at = path.along[crossing] + share * np.diff(path.along)[crossing]
    other = np.round(path.at(at)[:, 1 - axis], 6)
    return float(at[np.argmin(other)])


def lines_of(geometry: BaseGeometry) -> list[Polyline]:
    """Return the rings of polygons as closed paths."""
    return [Polyline.of(line.points, closed=True) for line in rings(geometry)]


def offset_rings(region: BaseGeometry, distance: float) -> list[Polyline]:
    """Return the rings at ``distance`` mm outside (negative: inside) of polygons."""
    if distance == 0:
        return lines_of(region)
    return lines_of(shapely.buffer(region, distance, quad_segs=ARC_SEGMENTS))


def beside(path: Polyline, distance: float) -> list[Polyline]:
    """Return the curves at ``distance`` mm to the right (negative: left) of an open path."""
    if distance == 0 or len(path.points) < 2:
        return [path]
    line = shapely.linestrings(path.points)
    found = shapely.offset_curve(line, distance, quad_segs=ARC_SEGMENTS)
    return [
        Polyline.of(shapely.get_coordinates(part))
        for part in shapely.get_parts(found)
        if part.length
    ]
