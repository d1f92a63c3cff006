"""The ``edge`` pattern: rows along the outline, or on a drawn line."""

from __future__ import annotations

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.findings import Finding
from stonelayout.polylines import Path

from .base import Ask, Laid
from .curves import beside, offset_rings


def lay_edge(ask: Ask) -> Laid:
    """Lay rows along the outline of one shape.

    Options: ``where`` (auto, on, inside, outside), ``rows``, ``margin``, ``corners`` (pinned or
    free). By default the row stands on a drawn line itself, and inside a filled shape by half a
    stone and the margin. See ``lay_rows_together`` for what happens where rows meet.
    """
    from .meetings import lay_rows_together

    return lay_rows_together([ask], edge_paths)[0]


def edge_paths(ask: Ask) -> tuple[list[Path], list[Finding]]:
    """Return the curves that the rows of one shape run on, the outermost first."""
    where = str(ask.options.get("where", "auto"))
    rows = int(ask.options.get("rows", 1))
    margin = float(ask.options.get("margin", 0.0))
    first, apart = ask.sizes[0].diameter / 2 + margin, ask.sizes[0].pitch
    drawn = [Path.of(line.points, line.closed) for line in ask.lines]
    if where == "auto":
        where = "on" if ask.region is None else "inside"
    if ask.region is None and where == "on":
        return [part for path in drawn for part in _beside_all(path, rows, apart)], []
    findings: list[Finding] = []
    region = ask.region if ask.region is not None else _enclosed(drawn)
    if ask.region is None and any(not path.closed for path in drawn):
        findings.append(
            Finding(
                "row-on-open-line",
                "note",
                f"an open line has no {where}: its row stands on the line itself",
                layer=ask.name,
            )
        )
    found = [] if ask.region is not None else [path for path in drawn if not path.closed]
    sign, start = {"on": (-1.0, 0.0), "inside": (-1.0, first), "outside": (1.0, first)}[where]
    for k in range(rows):
        ring = offset_rings(region, sign * (start + k * apart))
        if not ring and not region.is_empty:
            findings.append(_no_room(ask, region, k))
            break
        found.extend(ring)
    return found, findings


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


def _enclosed(drawn: list[Path]) -> BaseGeometry:
    """Return the region inside closed lines, by the even-odd rule."""
    region: BaseGeometry = Polygon()
    for path in drawn:
        if path.closed and len(path.points) > 3:
            region = shapely.symmetric_difference(region, shapely.make_valid(Polygon(path.points)))
    return region


def _beside_all(path: Path, rows: int, apart: float) -> list[Path]:
    if rows == 1:
        return [path]
    steps = [(k - (rows - 1) / 2) * apart for k in range(rows)]
    if not path.closed:
        return [part for step in steps for part in beside(path, step)]
    region = _enclosed([path])
    return [part for step in steps for part in offset_rings(region, -step)]
