"""The ``edge`` pattern: rows along the outline, or on a drawn line."""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.artwork import Line
from stonelayout.findings import Finding
from stonelayout.polylines import Path

from .arms import rows_with_arms, too_narrow
from .base import Ask, Laid, Spec
from .curves import beside, offset_rings, own_start
from .gauge import Gauge, Track
from .localwidth import has_room, sized_tracks
from .pens import line_tracks


def lay_edge(ask: Ask) -> Laid:
    """Lay rows along the outline of one shape.

    Options: ``where`` (auto, on, inside, outside), ``rows``, ``margin``, ``corners`` (pinned or
    free). By default the row stands on a drawn line itself, and inside a filled shape by half a
    stone and the margin. With several sizes each stretch gets the largest that leaves the row
    opposite its room (a line: that does not come near itself); several rows take one size, the
    largest for which the one farthest in has room. See ``lay_rows_together`` for
    what happens where rows meet.
    """
    from .meetings import lay_rows_together

    return lay_rows_together([ask], edge_tracks)[0]


def edge_tracks(ask: Ask, beside: Sequence[Line] = ()) -> tuple[list[Track], list[Finding]]:
    """Return the curves that the rows of one shape run on, the outermost first, with sizes.

    ``beside`` are drawn lines of other shapes of the same rule.
    """
    rows = int(ask.options.get("rows", 1))
    margin = float(ask.options.get("margin", 0.0))
    where = str(ask.options.get("where", "auto"))
    drawn = [Path.of(line.points, line.closed) for line in ask.lines]
    if where == "auto":
        where = "on" if ask.region is None else "inside"
    on_line = ask.region is None and where == "on"
    region = ask.region if ask.region is not None else _enclosed(drawn)
    open_lines = [] if ask.region is not None else [path for path in drawn if not path.closed]
    sign, aside = {"on": (-1.0, 0.0), "inside": (-1.0, 1.0), "outside": (1.0, 1.0)}[where]

    def depth(size: Spec, row: int) -> float:
        return sign * (aside * (size.diameter / 2 + margin) + row * size.pitch)

    @functools.cache
    def curves(size: Spec, row: int) -> list[Path]:
        if on_line:
            step = (row - (rows - 1) / 2) * size.pitch
            return [part for path in drawn for part in _beside(path, step, rows)]
        return offset_rings(region, depth(size, row))

    findings: list[Finding] = []
    if on_line and rows == 1:
        needs = np.array([size.diameter + 2 * margin for size in ask.sizes])
        return line_tracks(ask, needs, beside), findings
    findings += _notes(ask, where if open_lines and not on_line else "", rows)
    tracks = [] if on_line else [Track(path) for path in open_lines]
    for row in range(rows):
        found = [curves(size, row) for size in ask.sizes]
        if not found[-1] and not region.is_empty:
            findings.append(_no_room(ask, region, row))
            break
        if where == "inside" and not row:
            findings += _bare(ask, region, -depth(ask.sizes[-1], 0))
        if len(found) == 1 and on_line:
            tracks += [Track(path) for path in found[0]]
        elif len(found) == 1:
            tracks += _row(region, depth(ask.sizes[0], row), ask.sizes[0].pitch, row)
        elif rows > 1:
            tracks += _of_one_size(ask, [curves(size, rows - 1) for size in ask.sizes], found)
        else:
            pitches = np.array([size.pitch for size in ask.sizes])
            tracks += sized_tracks(found, [depth(size, row) for size in ask.sizes], pitches)
    return tracks, findings


def _notes(ask: Ask, missing: str, rows: int) -> list[Finding]:
    """Tell that open lines have no such side, and that several rows take one size."""
    findings = []
    if missing:
        findings.append(
            Finding(
                "row-on-open-line",
                "note",
                f"an open line has no {missing}: its row stands on the line itself",
                layer=ask.name,
            )
        )
    if rows > 1 and len(ask.sizes) > 1:
        findings.append(
            Finding(
                "rows-of-one-size",
                "note",
                "several parallel rows take one size of the list here: the largest for which the "
                "row farthest in has room; give one row to have sizes by local width",
                layer=ask.name,
            )
        )
    return findings


def _row(region: BaseGeometry, depth: float, pitch: float, row: int) -> list[Track]:
    """Return the curves of a row at ``depth`` mm outside (negative: inside) of a region."""
    if depth > 0:
        return [Track(path, depth=2 * row) for path in offset_rings(region, depth)]
    return rows_with_arms(region, -depth, pitch, row)


def _of_one_size(ask: Ask, inner: list[list[Path]], curves: list[list[Path]]) -> list[Track]:
    """Return tracks of the largest size for which the rows farthest in have room."""
    pitches = np.array([size.pitch for size in ask.sizes])
    roomy = (k for k, paths in enumerate(inner) if has_room(paths, float(pitches[k])))
    size = np.array([next(roomy, len(inner) - 1)], dtype=np.intp)
    return [
        Track(path, Gauge(np.zeros(1), size, path.length, pitches))
        for path in map(own_start, curves[int(size[0])])
    ]


def _no_room(ask: Ask, region: BaseGeometry, row: int) -> Finding:
    place = shapely.point_on_surface(region)
    which = "the row" if row == 0 else f"row {row + 1}"
    return Finding(
        "row-without-room",
        "warning",
        f"{which} finds no room inside this shape: it is narrower than the stone; choose a smaller "
        "size, fewer rows, or the spine pattern",
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


def _enclosed(drawn: list[Path]) -> BaseGeometry:
    """Return the region inside closed lines, by the even-odd rule."""
    region: BaseGeometry = Polygon()
    for path in drawn:
        if path.closed and len(path.points) > 3:
            region = shapely.symmetric_difference(region, shapely.make_valid(Polygon(path.points)))
    return region


def _beside(path: Path, step: float, rows: int) -> list[Path]:
    if rows == 1:
        return [path]
    if not path.closed:
        return beside(path, step)
    return offset_rings(_enclosed([path]), -step)
