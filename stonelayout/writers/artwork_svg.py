"""``seen.svg``: what was understood of a drawing, as plain filled paths at true size."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.markup import escape, quoteattr
from stonelayout.model.artwork import Artwork, Shape
from stonelayout.units import number

#: Decimals of mm in the paths: a tenth of a micrometre.
_DECIMALS = 4


def seen_svg(artwork: Artwork) -> str:
    """Return the artwork as SVG text: filled areas as filled paths, strokes as areas.

    The page keeps its size in mm and one user unit is one mm; layers are groups, and each path
    has its shape's id (strokes with ``-stroke`` after it where the shape has both).
    """
    width, height = (number(side) for side in artwork.size)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}" fill-rule="evenodd">'
        ),
        f"<desc>{escape('What stonelayout understood of ' + artwork.file)}</desc>",
    ]
    ids = {shape.id for shape in artwork.shapes}
    for layer, shapes in groupby(artwork.shapes, key=lambda shape: shape.layer):
        lines.append(f"<g data-layer={quoteattr(layer)}>" if layer else "<g>")
        for shape in shapes:
            lines += _paths(shape, ids)
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def _paths(shape: Shape, ids: set[str]) -> Iterator[str]:
    if shape.area is not None:
        yield _path(shape.id, shape.fill, shape.area)
    if shape.stroke_area is not None:
        name = shape.id
        if shape.area is not None:
            name = f"{shape.id}-stroke"
            while name in ids:
                name += "-stroke"
            ids.add(name)
        yield _path(name, shape.stroke, shape.stroke_area)


def _path(name: str, colour: str | None, region: BaseGeometry) -> str:
    return f'<path id={quoteattr(name)} fill="{colour}" d="{path_data(region)}"/>'


def path_data(region: BaseGeometry) -> str:
    """Return polygons as path data in mm, every ring closed."""
    return "".join(_ring(ring) for ring in _rings(region))


def _rings(region: BaseGeometry) -> Iterable[shapely.LinearRing]:
    for polygon in shapely.get_parts(region):
        if polygon.geom_type == "Polygon" and not polygon.is_empty:
            yield polygon.exterior
            yield from polygon.interiors


def _ring(ring: shapely.LinearRing) -> str:
    points = np.asarray(ring.coords)[:-1, :2]
    return "M" + "L".join(f"{number(x, _DECIMALS)} {number(y, _DECIMALS)}" for x, y in points) + "Z"
