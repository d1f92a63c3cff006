"""Geometry of other libraries as artwork: shapely geometries and svgpathtools paths, in mm."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import flatten
from stonelayout.model.artwork import Artwork, Line, Shape, area_shape

#: Ends of a path this near to each other, in mm, are one point: the path is closed.
CLOSED_MM = 1e-6
_AREAS = ("Polygon", "MultiPolygon")
_LINES = ("LineString", "LinearRing", "MultiLineString")
_WANTED = (
    "give shapely polygons or lines, svgpathtools paths, a sequence of them, or a mapping from "
    "names to them"
)


def artwork_of(geometry: Any) -> Artwork:
    """Return geometry of other libraries as artwork, its coordinates taken as mm, y down.

    ``geometry`` is a shapely polygon, line, ring or collection of these; a ``Path`` of
    svgpathtools (anything whose ``d()`` gives SVG path data); a sequence of such, one shape each,
    or a mapping from shape ids to such. Areas are filled; of a path, what consists of closed
    subpaths is filled under the nonzero rule, any other path is a line. Artwork is returned as it
    is. Raises ArtworkError, with the shape's id, for what is none of these, is empty, crosses
    itself, or has coordinates that are not finite.
    """
    if isinstance(geometry, Artwork):
        return geometry
    shapes = [shape for name, one in _named(geometry) for shape in _shapes(name, one)]
    if not shapes:
        raise ArtworkError(f"there is no shape in it: {_WANTED}")
    bounds = np.array([shape.bounds for shape in shapes])
    width, height = bounds[:, 2:].max(axis=0) - np.minimum(bounds[:, :2].min(axis=0), 0.0)
    size = float(max(width, CLOSED_MM)), float(max(height, CLOSED_MM))
    return Artwork(tuple(shapes), size, size_from="geometry in mm")


def _named(geometry: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(geometry, Mapping):
        for name, one in geometry.items():
            if not isinstance(name, str) or not name:
                raise ArtworkError(f"{name!r} is no name for a shape: give text")
            yield name, one
    elif isinstance(geometry, (list, tuple, np.ndarray)) and not _is_path(geometry):
        for k, one in enumerate(geometry, start=1):
            yield f"shape-{k}", one
    else:
        yield "shape-1", geometry


def _is_path(value: Any) -> bool:
    """Tell a path of another library: its method ``d`` gives SVG path data."""
    return callable(getattr(value, "d", None)) and not isinstance(value, BaseGeometry)


def _shapes(name: str, geometry: Any) -> Iterator[Shape]:
    if _is_path(geometry):
        yield _of_path(name, str(geometry.d()))
    elif not isinstance(geometry, BaseGeometry):
        raise ArtworkError(
            f"an object of type {type(geometry).__name__} is no shape: {_WANTED}", element=name
        )
    elif geometry.is_empty:
        raise ArtworkError("the geometry is empty", element=name)
    elif not np.isfinite(shapely.get_coordinates(geometry)).all():
        raise ArtworkError("a coordinate is not a finite number", element=name)
    elif geometry.geom_type in _AREAS:
        region = shapely.force_2d(geometry)
        if not region.is_valid:
            reason = shapely.is_valid_reason(region)
            raise ArtworkError(
                f"the polygon is not valid: {reason}; mend it first, e.g. with shapely.make_valid",
                element=name,
            )
        yield area_shape(name, region)
    elif geometry.geom_type in _LINES:
        yield _of_lines(name, [_line(part) for part in shapely.get_parts(geometry)])
    elif geometry.geom_type == "GeometryCollection":
        for k, part in enumerate(shapely.get_parts(geometry), start=1):
            yield from _shapes(f"{name}-{k}", part)
    else:
        raise ArtworkError(f"a {geometry.geom_type} is neither area nor line", element=name)


def _line(part: BaseGeometry) -> Line:
    points = shapely.get_coordinates(part)
    repeats = np.concatenate(([False], (points[1:] == points[:-1]).all(axis=1)))
    points = points[~repeats]
    closed = len(points) > 2 and bool(np.hypot(*(points[0] - points[-1])) <= CLOSED_MM)
    return Line(points[:-1] if closed else points, closed)


def _of_lines(name: str, lines: Sequence[Line]) -> Shape:
    return Shape(id=name, stroke="#000000", outline=tuple(lines))


def _of_path(name: str, data: str) -> Shape:
    from stonelayout.svg.fill_rules import fill
    from stonelayout.svg.pathdata import parse_path

    try:
        read = parse_path(data)
        flats = [flatten(subpath) for subpath in read.subpaths]
    except ArtworkError as error:
        raise ArtworkError(error.message, element=name) from None
    if read.problem or not flats:
        raise ArtworkError(read.problem or "the path is empty", element=name)
    lines = []
    for flat in flats:
        points, closed = flat.points, flat.closed
        if not closed and len(points) > 2 and np.hypot(*(points[0] - points[-1])) <= CLOSED_MM:
            points, closed = points[:-1], True
        lines.append(Line(points, closed))
    if not all(line.closed for line in lines):
        return _of_lines(name, lines)
    region = fill([line.points for line in lines])
    if region.is_empty:
        raise ArtworkError("the path encloses no area", element=name)
    return area_shape(name, region)
