"""One drawn element as a Shape: flattened, filled, stroked, clipped, in page millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import Flat, Subpath, flatten
from stonelayout.geometry.points import Points
from stonelayout.model.artwork import Line, rings

from .basic_shapes import Units
from .css_values import Matrix, parse_numbers
from .fill_rules import EMPTY, fill
from .strokes import Pen, stroke
from .style_properties import Properties

#: Coordinates beyond this (a kilometre) are a broken file, not a drawing.
MOST_MM: Final = 1e6
#: Areas below this, in mm², are rounding, not shapes.
_NO_AREA: Final = 1e-9
#: Scales below this flatten a shape to nothing.
LEAST_SCALE: Final = 1e-12


@dataclass(frozen=True, eq=False)
class Drawn:
    """Geometry of one element in mm: None or empty where it has no such part."""

    area: BaseGeometry | None
    stroke_area: BaseGeometry | None
    outline: tuple[Line, ...]


def scales(matrix: Matrix) -> tuple[float, float]:
    """Return the largest and smallest stretch of a matrix."""
    (a, c, _), (b, d, _) = matrix.tolist()
    total = a * a + b * b + c * c + d * d
    twice_area = 2.0 * abs(a * d - b * c)
    root = max(0.0, total * total - twice_area * twice_area) ** 0.5
    return ((total + root) / 2.0) ** 0.5, max(0.0, (total - root) / 2.0) ** 0.5


def flattened(subpaths: Sequence[Subpath], matrix: Matrix, tolerance: float) -> list[Flat]:
    """Flatten in local space, finely enough for ``tolerance`` in mm; refuse what is out of reach.

    Raises ArtworkError for coordinates beyond ``MOST_MM``.
    """
    largest = max(scales(matrix)[0], LEAST_SCALE)
    for subpath in subpaths:
        if not np.abs(place(subpath.points, matrix)).max() <= MOST_MM:
            raise ArtworkError(f"a coordinate beyond {MOST_MM / 1000:g} m; the shape is broken")
    return [flatten(subpath, tolerance / largest) for subpath in subpaths]


def place(points: Points, matrix: Matrix) -> Points:
    """Apply a matrix to points (n, 2)."""
    placed: Points = points @ matrix[:, :2].T + matrix[:, 2]
    return placed


def filled(flats: Sequence[Flat], matrix: Matrix, rule: str) -> BaseGeometry:
    """Return the filled region in mm; open subpaths are closed by a straight line."""
    region = fill([place(flat.points, matrix) for flat in flats], rule)
    return EMPTY if region.area < _NO_AREA else region


def pen_of(properties: Properties, units: Units, error: float, scale: float = 1.0) -> Pen | None:
    """Return the pen that draws the stroke, in user units times ``scale``; None for no width."""
    width = units.length(properties["stroke-width"], "both")
    if width is None:
        width = 1.0
    if width <= 0.0:
        return None
    limit = parse_numbers(properties["stroke-miterlimit"])
    return Pen(
        width=width * scale,
        cap=properties["stroke-linecap"],
        join=properties["stroke-linejoin"],
        mitre_limit=max(1.0, limit[0]) if limit else 4.0,
        dashes=tuple(dash * scale for dash in _dashes(properties["stroke-dasharray"], units)),
        offset=(units.length(properties["stroke-dashoffset"], "both") or 0.0) * scale,
        error=error,
    )


def _dashes(text: str, units: Units) -> list[float]:
    if text == "none":
        return []
    lengths = [units.length(part, "both") for part in text.replace(",", " ").split()]
    dashes = [length for length in lengths if length is not None and length >= 0.0]
    return dashes if len(dashes) == len(lengths) and sum(dashes) > 0.0 else []


def stroked(flats: Sequence[Flat], matrix: Matrix, pen: Pen) -> BaseGeometry:
    """Return the stroke's region in mm, made in local space and then transformed."""
    if pen.width * scales(matrix)[0] > MOST_MM:
        raise ArtworkError(f"a stroke wider than {MOST_MM / 1000:g} m; the shape is broken")
    region = stroke(flats, pen)
    if region.is_empty:
        return EMPTY
    placed = shapely.transform(region, lambda points: place(points, matrix))
    if not placed.is_valid:
        placed = shapely.make_valid(placed)
    return EMPTY if placed.area < _NO_AREA else shapely.normalize(placed)


def lines_of(flats: Sequence[Flat], matrix: Matrix, pen: Points | None) -> tuple[Line, ...]:
    """Return the subpaths as drawn, in mm, with the pen that draws them (Line.pen)."""
    return tuple(Line(place(flat.points, matrix), flat.closed, pen) for flat in flats)


def clipped(drawn: Drawn, clip: BaseGeometry) -> Drawn:
    """Cut everything by a region; a cut area's outline is what remains of its boundary."""
    parts = [part for part in (drawn.area, drawn.stroke_area) if part is not None]
    shapely.prepare(clip)
    if all(clip.covers(part) for part in parts) and all(
        clip.covers(shapely.multipoints(line.points)) for line in drawn.outline
    ):
        return drawn
    area = None if drawn.area is None else _polygons(shapely.intersection(drawn.area, clip))
    edge = drawn.stroke_area
    edge = None if edge is None else _polygons(shapely.intersection(edge, clip))
    if area is not None and not area.is_empty:
        pen = drawn.outline[0].pen if drawn.outline else None
        outline = tuple(replace(line, pen=pen) for line in rings(area))
    else:
        outline = tuple(_cut_lines(drawn.outline, clip))
    return Drawn(area, edge, outline)


def _polygons(region: BaseGeometry) -> BaseGeometry:
    parts = shapely.get_parts(region)
    parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > _NO_AREA)]
    if len(parts) == 1:
        part: BaseGeometry = parts[0]
        return part
    return shapely.MultiPolygon(list(parts))


def _cut_lines(lines: Sequence[Line], clip: BaseGeometry) -> list[Line]:
    out: list[Line] = []
    for line in lines:
        if len(line.points) == 1:
            if clip.covers(shapely.points(line.points[0])):
                out.append(line)
            continue
        path = np.concatenate((line.points, line.points[:1])) if line.closed else line.points
        track = shapely.LineString(path)
        if clip.covers(track):
            out.append(line)
            continue
        rest: BaseGeometry = track.intersection(clip)
        if line.closed and rest.geom_type == "MultiLineString":
            rest = shapely.line_merge(rest)  # the piece over the start is one
        out += [
            Line(shapely.get_coordinates(part), closed=False, pen=line.pen)
            for part in shapely.get_parts(rest)
            if part.geom_type == "LineString" and part.length > 0.0
        ]
    return out
