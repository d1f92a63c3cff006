"""Narrow arms: where both sides of a shape are too near for two rows, one runs between them."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from stonelayout.geometry.bisection import least_that_fits
from stonelayout.geometry.equal_chords import equal_chords, most_equal
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import ARC_SEGMENTS, polygons
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.rows.tracks.row import row_corners
from stonelayout.laying.rows.tracks.size_runs import Track

from .centreline_widths import SPECK, CentrelineStretch, Run, settle_widths, stretches_of
from .row_branching import Fork, RowRings

#: The stones of an arm stand no wider than this, in pitches; else one more goes in.
_LOOSE = 1.06
#: A mouth is moved by at most so many pitches, that the stones before it stand a pitch apart.
_MOVED = 1.3
#: An arm shorter than this, in pitches, has one stone.
_POINT = 0.25
#: A part longer than this, in pitches, is missed when it has no stones. Sharp tips are shorter.
_BARE = 3.0
_COARSE = 16


def rows_with_arms(region: BaseGeometry, floor: float, pitch: float, row: int = 0) -> list[Track]:
    """Return the curves of row number ``row``, at ``floor`` mm inside a region's outline.

    Where two sides of it would stand nearer to each other than a pitch, they give way to one
    curve along the centre line, up to the place from which two stones of theirs are a pitch from
    its last one.
    """
    tracks: list[Track] = []
    for polygon in polygons(region):
        room = shapely.buffer(polygon, -floor, quad_segs=ARC_SEGMENTS) if floor else polygon
        parts = [orient(part, 1.0) for part in polygons(room)]
        if not parts:
            continue
        rings = RowRings.of(shapely.MultiPolygon(parts), pitch)
        arms: list[Polyline] = []
        rest = rings.whole
        if any(_has_narrows(part, pitch) for part in parts):
            found = stretches_of(polygon, floor, pitch)
            settle_widths(found, rings, floor)
            cut_off = _cut_off(found, rings)
            if cut_off is not None:
                arms, rest = cut_off
        depth = 2 * row
        tracks += [Track(path, depth=depth + hole) for path, hole in rest]
        tracks += [Track(path, depth=depth) for path in arms]
    return tracks


def too_narrow(region: BaseGeometry, floor: float, pitch: float) -> list[Points]:
    """Return a place in each long part of a region where a row at ``floor`` mm has no room."""
    found = []
    for polygon in polygons(region):
        room = shapely.buffer(polygon, -floor, quad_segs=_COARSE)
        left = shapely.difference(polygon, shapely.buffer(room, floor * 1.01, quad_segs=_COARSE))
        for part in polygons(left):
            x0, y0, x1, y1 = part.bounds
            if math.hypot(x1 - x0, y1 - y0) > _BARE * pitch:
                spot = shapely.point_on_surface(part)
                found.append(np.array([spot.x, spot.y]))
    return found


def _has_narrows(room: Polygon, pitch: float) -> bool:
    """Tell whether any part of a room larger than a speck is narrower than a pitch."""
    core = shapely.buffer(room, -pitch / 2 * (1 - 1e-6))
    core = shapely.buffer(core, pitch / 2 * (1 + 1e-3))
    for part in polygons(shapely.difference(room, core)):
        x0, y0, x1, y1 = part.bounds
        if math.hypot(x1 - x0, y1 - y0) > SPECK * pitch:
            return True
    return False


def _cut_off(
    stretches: list[CentrelineStretch], rings: RowRings
) -> tuple[list[Polyline], list[tuple[Polyline, bool]]] | None:
    """Return the curves of arms and what they leave of the rings; None when there are none."""
    paths: list[Polyline] = []
    mouths: list[Fork] = []
    gone: list[Polyline] = []
    for stretch in stretches:
        for run in stretch.runs(True):
            found = _arm(stretch, run, rings)
            if found is not None:
                paths += found[0]
                mouths += found[1]
                gone.append(_part(stretch, run))
    rest = rings.rest(mouths, gone) if gone else None
    return None if rest is None else (paths, rest)


def _part(stretch: CentrelineStretch, run: Run) -> Polyline:
    if run == (0, stretch.last):
        return stretch.path
    first, last = max(run[0] - 1, 0), min(run[1] + 1, stretch.last)
    return stretch.path.between(float(stretch.s[first]), float(stretch.s[last]))


def _arm(
    stretch: CentrelineStretch, run: Run, rings: RowRings
) -> tuple[list[Polyline], list[Fork]] | None:
    """Return the curve of one arm (none where a joint is its only stone) and its mouths."""
    mouths = stretch.mouths(run)
    if not any(mouths):
        return [stretch.path], []
    start, stop = float(stretch.s[run[0]]), float(stretch.s[run[1]])
    path = stretch.path
    if all(mouths):
        return _neck(path, start, stop, rings)
    if mouths[0]:
        path, start, stop = path.turned(), path.length - stop, path.length - start
    if stop == path.length:
        ahead = path.points[-1] - path.points[-2]
        beyond = path.points[-1] + ahead * (_MOVED * rings.pitch / float(np.hypot(*ahead)))
        path = Polyline.of(np.concatenate((path.points, beyond[None])))
    at = rings.first_opening(path, start, stop)
    if at is None:
        return None
    chord = pitch = rings.pitch
    if at - start > _POINT * pitch:
        bends = row_corners(path.between(start, at), pitch).at
        bends = bends[bends < at - start - pitch / 2]
        root = start + float(bends[-1]) if len(bends) else start
        places, chord = most_equal(path.between(root, at), pitch)
        if not len(places) or chord > _LOOSE * pitch:
            further = _reach(path, root, at, max(len(places), 1), pitch)
            if further is not None and rings.opening(path, further, pitch) is not None:
                at, chord = further, pitch
    mouth = rings.opening(path, at, pitch if math.isnan(chord) else max(chord, pitch))
    if mouth is None:
        return None
    return [path.between(start, at)] if at - start > _POINT * pitch else [], [mouth]


def _reach(path: Polyline, root: float, least: float, count: int, pitch: float) -> float | None:
    """Return the place after ``least`` to which ``count`` chords of a pitch reach from root."""

    def spare(s: float) -> float:
        return equal_chords(path.between(root, s), count)[1] - pitch

    return least_that_fits(spare, least, min(least + _MOVED * pitch, path.length))


def _neck(
    path: Polyline, start: float, stop: float, rings: RowRings
) -> tuple[list[Polyline], list[Fork]] | None:
    """Return the curve of an arm between two mouths, or one stone in a waist, and the mouths."""
    pitch = rings.pitch
    last = rings.first_opening(path, start, stop)
    first = rings.first_opening(path, stop, start)
    if first is None or last is None:
        return None
    middle = (first + last) / 2
    half = max(last - first, 0.0) / 2
    chord = pitch
    if half:
        places, chord = most_equal(path.between(first, last), pitch)
    if half and (not len(places) or chord > _LOOSE * pitch):
        most = min(middle, path.length - middle, half + pitch)

        def spare(way: float) -> float:
            part = path.between(middle - way, middle + way)
            return equal_chords(part, max(len(places), 1))[1] - pitch

        wider = least_that_fits(spare, half, most) if half > _POINT * pitch else None
        if wider is not None:
            half, chord = wider, pitch
        elif not len(places):
            half, chord = 0.0, pitch
    back = path.turned()
    mouths = [
        rings.opening(path, middle + half, max(chord, pitch)),
        rings.opening(back, back.length - middle + half, max(chord, pitch)),
    ]
    if mouths[0] is None or mouths[1] is None:
        return None
    if not half:
        return [Polyline.of(path.at([middle]))], [mouths[0], mouths[1]]
    return [path.between(middle - half, middle + half)], [mouths[0], mouths[1]]
