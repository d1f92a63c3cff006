"""The ``edge`` pattern: rows along the outline, or on a drawn line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.findings import Finding
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask
from stonelayout.laying.rows.narrow.narrow_rows import rows_with_arms, too_narrow
from stonelayout.laying.rows.sizes.size_by_width import sized_rows
from stonelayout.laying.rows.sizes.stroke_widths import line_tracks, on_line, size_of_stroke
from stonelayout.laying.rows.tracks.facing_rows import has_room
from stonelayout.laying.rows.tracks.row_curves import beside, offset_rings, own_start
from stonelayout.laying.rows.tracks.size_runs import SizeRuns, Track
from stonelayout.model.artwork import Line


def edge_tracks(ask: Ask, beside: Sequence[Line] = ()) -> tuple[list[Track], list[Finding]]:
    """Return the curves that the rows of one shape run on, the outermost first, with sizes.

    Options: ``where`` (auto, on, inside, outside), ``rows``, ``margin``, ``corners`` (pinned or
    free). By default the row is on a drawn line itself, and inside a filled shape by half a
    stone and the margin. With several sizes each stretch gets the largest that leaves the row
    opposite its room (a line: the largest that fits its stroke); several rows change their
    sizes together, as the one farthest in has room. ``beside`` are drawn lines of other shapes of
    the same rule.
    """
    rows = int(ask.options.get("rows", 1))
    margin = float(ask.options.get("margin", 0.0))
    where = str(ask.options.get("where", "auto"))
    if on_line(ask):
        return _on_lines(ask, rows, margin, beside), []
    drawn = [Polyline.of(line.points, line.closed) for line in ask.lines]
    region = ask.region if ask.region is not None else _enclosed(drawn)
    open_lines = [] if ask.region is not None else [path for path in drawn if not path.closed]
    sign, aside = {"on": (-1.0, 0.0), "outside": (1.0, 1.0)}.get(where, (-1.0, 1.0))
    findings = []
    if open_lines:
        findings.append(
            Finding(
                "row-on-open-line",
                "note",
                f"an open line has no {where}: its row stands on the line itself",
                layer=ask.name,
            )
        )
    tracks = [Track(path) for path in open_lines]
    curves: list[list[list[Polyline]]] = []
    shifts = [
        [sign * (aside * (size.diameter / 2 + margin) + row * size.pitch) for size in ask.sizes]
        for row in range(rows)
    ]
    for row, depths in enumerate(shifts):
        curves.append([offset_rings(region, depth) for depth in depths])
        if not curves[-1][-1] and not region.is_empty:
            findings.append(_no_room(ask, region, row))
            curves.pop()
            break
    if curves and sign * aside < 0:
        findings += _bare(ask, region, -shifts[0][-1])
    if len(ask.sizes) == 1:
        for row in range(len(curves)):
            tracks += _row(region, shifts[row][0], ask.sizes[0].pitch, row)
    elif curves:
        pitches = np.array([size.pitch for size in ask.sizes])
        tracks += sized_rows(curves, shifts[: len(curves)], pitches)
    return tracks, findings


def _row(region: BaseGeometry, depth: float, pitch: float, row: int) -> list[Track]:
    """Return the curves of a row at ``depth`` mm outside (negative: inside) of a region."""
    if depth > 0:
        return [Track(path, depth=2 * row) for path in offset_rings(region, depth)]
    return rows_with_arms(region, -depth, pitch, row)


def _on_lines(ask: Ask, rows: int, margin: float, beside: Sequence[Line]) -> list[Track]:
    """Return the rows on drawn lines, or on both sides of them.

    Several rows on a line have one size of a list: the largest for which all fit in its stroke.
    On lines that only guide it is the largest for which the rows leave each other room.
    """
    needs = np.array([s.diameter + 2 * margin + (rows - 1) * s.pitch for s in ask.sizes])
    if rows == 1:
        return line_tracks(ask, needs, beside)
    pitches = np.array([size.pitch for size in ask.sizes])
    paths = [Polyline.of(line.points, line.closed) for line in ask.lines]

    def curves(path: Polyline, size: int, row: int) -> list[Polyline]:
        return _beside(path, (row - (rows - 1) / 2) * float(pitches[size]))

    roomy = (
        size
        for size, pitch in enumerate(pitches.tolist())
        if has_room([part for path in paths for part in curves(path, size, rows - 1)], pitch)
    )
    guide = next(roomy, len(pitches) - 1) if len(pitches) > 1 else 0
    sizes = [guide if line.pen is None else size_of_stroke(line, needs) for line in ask.lines]
    found = [
        (size, part)
        for row in range(rows)
        for path, size in zip(paths, sizes, strict=True)
        for part in curves(path, size, row)
    ]
    if len(pitches) == 1:
        return [Track(part) for _, part in found]
    return [
        Track(path, SizeRuns(np.zeros(1), np.array([size], dtype=np.intp), path.length, pitches))
        for size, path in ((size, own_start(part)) for size, part in found)
    ]


def _no_room(ask: Ask, region: BaseGeometry, row: int) -> Finding:
    place = shapely.point_on_surface(region)
    which = "the row" if row == 0 else f"row {row + 1}"
    return Finding(
        "row-without-room",
        "warning",
        f"{which} finds no room inside this shape: it is narrower than the stone; "
        + ("choose a smaller size" if row == 0 else "choose fewer rows or a smaller size"),
        (float(place.x), float(place.y)),
        ask.name,
    )


def _bare(ask: Ask, region: BaseGeometry, floor: float) -> list[Finding]:
    """Tell of parts in which no stone of the smallest size has room."""
    places = too_narrow(region, floor, ask.sizes[-1].pitch)
    if not places:
        return []
    return [
        Finding(
            "stroke-too-narrow",
            "warning",
            ("a part" if len(places) == 1 else f"{len(places)} parts")
            + " of this shape without stones: narrower than the stone; choose a smaller size, or "
            "the spine pattern with some overhang",
            (float(places[0][0]), float(places[0][1])),
            ask.name,
            len(places),
        )
    ]


def _enclosed(drawn: list[Polyline]) -> BaseGeometry:
    """Return the region inside closed lines, by the even-odd rule."""
    region: BaseGeometry = Polygon()
    for path in drawn:
        if path.closed and len(path.points) > 3:
            region = shapely.symmetric_difference(region, shapely.make_valid(Polygon(path.points)))
    return region


def _beside(path: Polyline, step: float) -> list[Polyline]:
    if not path.closed:
        return beside(path, step)
    return offset_rings(_enclosed([path]), -step)
