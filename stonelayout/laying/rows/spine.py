"""The ``spine`` pattern: one row along the centre line of slender shapes."""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon

from stonelayout.findings import Finding
from stonelayout.geometry.bisection import narrowed
from stonelayout.geometry.centreline import centreline
from stonelayout.geometry.centreline_paths import ROOM_SLACK_MM, parts_with_room, reaching_out
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import polygons
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask
from stonelayout.laying.rows.sizes.stroke_widths import line_tracks
from stonelayout.laying.rows.tracks.row_curves import own_start
from stonelayout.laying.rows.tracks.size_runs import (
    SizeRuns,
    Track,
    choose_sizes,
    sample_places,
    size_runs_of,
)
from stonelayout.model.artwork import Line
from stonelayout.units import mm, percent

#: Room across, in pitches, from which two rows fit, and from which a zigzag does (algorithm study).
TWO_ROWS, ZIGZAG = 0.866, 0.5
#: A stretch is called wide when this share of the centre line is.
_WIDE_SHARE = 0.25
#: At a blunt end, stones of a smaller size are not worth while within so many of their pitches.
_END_ZONE = 3.0


def spine_tracks(ask: Ask, beside: Sequence[Line] = ()) -> tuple[list[Track], list[Finding]]:
    """Return the centre lines of one shape, cut and brought out to where stones have room.

    Options: ``margin``, ``overhang`` (how far stones may hang over a stroke too narrow for
    them). With several sizes each stretch gets the largest that fits its width. A stone is put
    on each joint; at the ends the last stone keeps the margin. On a drawn line the row runs on the
    line itself. Findings say where the shape is too narrow, or wide enough for more than one row.
    ``beside`` are drawn lines of other shapes of the same rule.
    """
    margin = float(ask.options.get("margin", 0.0))
    floors = [
        max(size.diameter / 2 + margin - float(ask.options.get("overhang", 0.0)), 0.0)
        for size in ask.sizes
    ]
    if ask.region is None:
        return line_tracks(ask, 2 * np.array(floors), beside), []
    large, small = ask.sizes[0], ask.sizes[-1]
    tracks: list[Track] = []
    lost: list[tuple[float, Points]] = []
    room, total = [], 0.0
    for polygon in polygons(ask.region):
        for branch in centreline(polygon):
            line = reaching_out(branch, polygon, max(floors[-1], 0.02 * small.diameter))
            parts = parts_with_room(line, polygon, floors[-1], small.pitch)
            for k, (part, fits) in enumerate(parts):
                if not fits:
                    lost.append((part.length, part.at([part.length / 2])[0]))
                elif len(floors) == 1:
                    tracks.append(Track(part))
                else:
                    ends = (k > 0 or branch.free[0], k + 1 < len(parts) or branch.free[1])
                    own = own_start(part)
                    if not part.closed and bool((own.points[0] != part.points[0]).any()):
                        ends = ends[::-1]
                    tracks.append(_sized(own, ends, polygon, floors, ask))
            across = 2 * branch.radius - large.diameter - 2 * margin
            steps = np.hypot(*np.diff(branch.points, axis=0).T)
            total += float(steps.sum())
            room.append(np.column_stack(((across[1:] + across[:-1]) / 2, steps)))
    findings = _narrow(ask, lost, small.pitch)
    if room and total > 0:
        findings += _wide(ask, np.concatenate(room), total)
    return tracks, findings


def _sized(
    line: Polyline, ends: tuple[bool, bool], polygon: Polygon, floors: list[float], ask: Ask
) -> Track:
    """Return a centre line with the largest sizes that fit, its ends cut to where they fit."""
    pitches = np.array([size.pitch for size in ask.sizes])
    places = sample_places(line, pitches)
    outline = polygon.boundary
    shapely.prepare(outline)
    least = np.array(floors)

    def room(s: Points) -> Points:
        return np.asarray(shapely.distance(shapely.points(line.at(s)), outline)) + ROOM_SLACK_MM

    def fits(floor: float, s: float) -> bool:
        return bool(room(np.array([s]))[0] >= floor)

    wide = room(places)
    fit = (wide[:, None] < least[None, :]).sum(axis=1).astype(np.intp)
    zone = float(least[0] - least[-1]) + _END_ZONE * float(pitches[-1])
    loose = np.zeros(len(places))
    if not line.closed:
        loose += (places <= zone) * ends[0] + (places >= line.length - zone) * ends[1]
    sizes = choose_sizes(fit, float(places[1]), pitches, loose, line.closed)
    good = np.flatnonzero(wide >= least[sizes])
    if line.closed or not len(good):
        return Track(line, size_runs_of(places, sizes, pitches))
    cuts = []
    for inner, outer in ((good[0], good[0] - 1), (good[-1], good[-1] + 1)):
        yes, no = places[[inner, min(max(outer, 0), len(places) - 1)]].tolist()
        floor = float(least[sizes[inner]])
        cuts.append(narrowed(functools.partial(fits, floor), yes, no)[0])
    start, stop = cuts
    if stop - start < 1e-6:
        return Track(line, size_runs_of(places, sizes, pitches))
    whole = size_runs_of(places, sizes, pitches)
    inside = (whole.start > start) & (whole.start < stop)
    part = line.between(start, stop)
    first = whole.at([start])
    return Track(
        part,
        SizeRuns(
            np.concatenate(([0.0], whole.start[inside] - start)),
            np.concatenate((first, whole.size[inside])),
            part.length,
            pitches,
        ),
    )


def _narrow(ask: Ask, lost: list[tuple[float, Points]], pitch: float) -> list[Finding]:
    lost = [item for item in lost if item[0] > pitch / 2]
    if not lost:
        return []
    worst = max(lost, key=lambda item: round(item[0], 6))
    length = sum(size for size, _ in lost)
    return [
        Finding(
            "stroke-too-narrow",
            "warning",
            f"{mm(length, 0)} of the centre line has no stones: the stroke is narrower there than "
            "the stone; choose a smaller size, or allow some overhang",
            (float(worst[1][0]), float(worst[1][1])),
            ask.name,
            len(lost),
        )
    ]


def _wide(ask: Ask, room: Points, total: float) -> list[Finding]:
    pitch = ask.sizes[0].pitch
    for least, words in ((TWO_ROWS, "two rows"), (ZIGZAG, "a zigzag row")):
        share = float(room[room[:, 0] >= least * pitch, 1].sum()) / total
        if share >= _WIDE_SHARE:
            return [
                Finding(
                    "stroke-wide",
                    "note",
                    f"{percent(share, 0)} of the centre line is wide enough for {words}: the "
                    "courses pattern would fill the stroke",
                    layer=ask.name,
                )
            ]
    return []
