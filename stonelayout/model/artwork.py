"""Artwork: what was drawn, in millimetres, y down, and what was not read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points


@dataclass(frozen=True, eq=False)
class Line:
    """One subpath, flattened.

    ``points`` has shape (n, 2), in mm, n >= 1 (a single point is a dot); no two consecutive
    points are equal. A closed line does not repeat its first point. ``pen`` (2, 2), in mm, takes
    a disc of diameter 1 to the pen that draws the stroke: ``w * numpy.eye(2)`` for a stroke of
    w mm; unequal scales make it an ellipse. None where there is no stroke.
    """

    points: Points
    closed: bool
    pen: Points | None = None

    @property
    def length(self) -> float:
        """Length along the line in mm, the closing side included."""
        path = np.concatenate((self.points, self.points[:1])) if self.closed else self.points
        return float(np.hypot(*np.diff(path, axis=0).T).sum())

    def widths(self, ways: Points) -> Points:
        """Return the stroke's widths (k,) in mm where it runs in unit directions (k, 2).

        0 without a stroke. What a pen covers across a line is its extent along the normal.
        """
        if self.pen is None:
            return np.zeros(len(ways))
        normals = np.column_stack((-ways[:, 1], ways[:, 0]))
        return np.asarray(np.hypot(*(normals @ self.pen).T), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Shape:
    """One drawn element.

    ``id`` is unique in the artwork (made up as ``path-3`` where the file gives none); ``layer``
    and ``layer_id`` are the name and id of the layer (or nearest named group) it stands in, ""
    for none, ``groups`` the ids of all groups round it, outermost first; ``fill`` and ``stroke``
    are ``"#rrggbb"`` or None; ``line`` is its line in the file.

    ``area`` is the filled region (polygons, mm), None when it is not filled; ``outline`` holds
    the flattened subpaths as drawn; ``stroke_area`` is the region that the stroke covers, None
    when it has none.
    """

    id: str
    layer: str = ""
    layer_id: str = ""
    fill: str | None = None
    stroke: str | None = None
    stroke_width: float = 0.0
    area: BaseGeometry | None = None
    outline: tuple[Line, ...] = ()
    stroke_area: BaseGeometry | None = None
    line: int | None = None
    tag: str = "path"
    groups: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        """``"area"`` for a filled shape, ``"line"`` for one that has only a stroke."""
        return "line" if self.area is None else "area"

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Bounding box (x0, y0, x1, y1) in mm of what is drawn."""
        parts = [part for part in (self.area, self.stroke_area) if part is not None]
        boxes = [part.bounds for part in parts if not part.is_empty]
        for line in self.outline if not boxes else ():
            low, high = line.points.min(axis=0), line.points.max(axis=0)
            boxes.append((float(low[0]), float(low[1]), float(high[0]), float(high[1])))
        x0, y0, x1, y1 = zip(*boxes, strict=True)
        return float(min(x0)), float(min(y0)), float(max(x1)), float(max(y1))


@dataclass(frozen=True)
class Skipped:
    """Something in the file that was not read: what it is, where, why, and what to do.

    ``drawn``: it was read all the same, only not as the file draws it.
    """

    what: str
    reason: str
    id: str = ""
    layer: str = ""
    line: int | None = None
    count: int = 1
    drawn: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the entry as it stands in reports."""
        return {
            "what": self.what,
            "reason": self.reason,
            "id": self.id,
            "layer": self.layer,
            "line": self.line,
            "count": self.count,
            "drawn": self.drawn,
        }


@dataclass(frozen=True, eq=False)
class Artwork:
    """Everything read from one drawing.

    ``size`` is the page (width, height) in mm; ``size_from`` says where that came from, e.g.
    ``"width/height"``; ``file`` is the name to use in messages.
    """

    shapes: tuple[Shape, ...]
    size: tuple[float, float]
    size_from: str = "given"
    skipped: tuple[Skipped, ...] = ()
    notes: tuple[str, ...] = ()
    file: str = ""
    _by_id: dict[str, Shape] = field(init=False, repr=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._by_id.update((shape.id, shape) for shape in self.shapes)

    def shape(self, shape_id: str) -> Shape:
        """Return the shape with this id; KeyError when there is none."""
        return self._by_id[shape_id]


def area_shape(shape_id: str, region: BaseGeometry, **rest: Any) -> Shape:
    """Make a filled shape from polygons: its outline is the region's rings."""
    return Shape(
        id=shape_id, area=region, outline=tuple(rings(region)), **{"fill": "#000000", **rest}
    )


def rings(region: BaseGeometry) -> Iterable[Line]:
    """Yield the rings of polygons as closed lines, outer ring first, holes after it."""
    for polygon in shapely.get_parts(region):
        if polygon.geom_type == "Polygon" and not polygon.is_empty:
            for ring in (polygon.exterior, *polygon.interiors):
                yield Line(np.asarray(ring.coords, dtype=np.float64)[:-1, :2], closed=True)
