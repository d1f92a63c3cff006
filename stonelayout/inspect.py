"""``inspect``: the shop's first look at a drawing, as data: sizes, shapes, widths, suggestions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from .artwork import Artwork, Shape, rings
from .catalogue import Catalogue
from .units import mm, number

Points = npt.NDArray[np.float64]
#: Boundary samples for local widths: this many a shape at least, and no more than that.
_SAMPLES: Final = (400, 3000)
#: The two walls of a stem face each other: their normals are more than 154° apart.
_FACING: Final = -0.9
#: A disc that a neighbour touches less than 30° away is bent by the sampling, not by a wall.
_APART: Final = 2.0 * math.sin(math.radians(15.0))
_MOST_SHRINKS: Final = 60
#: From this many rows across, a regular grid reads as well as rows along the outline.
_WIDE_ROWS: Final = 8


@dataclass(frozen=True)
class Look:
    """What is told of one shape; lengths in mm, areas in mm²."""

    shape: Shape
    area: float
    length: float
    bbox: tuple[float, float, float, float]
    width_range: tuple[float, float] | None

    def as_dict(self) -> dict[str, Any]:
        """Return the shape as it stands in ``inspect --format json``."""
        shape = self.shape
        return {
            "id": shape.id,
            "layer": shape.layer,
            "fill": shape.fill,
            "stroke": shape.stroke,
            "stroke_width": round(shape.stroke_width, 4),
            "kind": shape.kind,
            "area": round(self.area, 4),
            "length": round(self.length, 4),
            "bbox": [round(value, 4) for value in self.bbox],
            "width_range": self.width_range and [round(value, 3) for value in self.width_range],
            "line": shape.line,
        }


def look(shape: Shape) -> Look:
    """Measure one shape: the width range of its area, or of its drawn line where it has none."""
    region = shape.area if shape.area is not None else shape.stroke_area
    return Look(
        shape=shape,
        area=float(shape.area.area) if shape.area is not None else 0.0,
        length=sum(line.length for line in shape.outline),
        bbox=shape.bounds,
        width_range=(
            width_range(region)
            if shape.area is not None and region is not None
            else (shape.stroke_width, shape.stroke_width)
        ),
    )


def inspection(artwork: Artwork, looks: Iterable[Look]) -> dict[str, Any]:
    """Return the whole first look as plain data: the contract of ``inspect --format json``."""
    looks = list(looks)
    layers: dict[str, int] = {}
    for shape in artwork.shapes:
        layers[shape.layer] = layers.get(shape.layer, 0) + 1
    return {
        "version": 1,
        "unit": "mm",
        "file": artwork.file,
        "size": list(artwork.size),
        "size_from": artwork.size_from,
        "layers": [{"name": name, "shapes": count} for name, count in layers.items()],
        "shapes": [item.as_dict() for item in looks],
        "skipped": [entry.as_dict() for entry in artwork.skipped],
        "notes": list(artwork.notes),
    }


def width_range(region: BaseGeometry) -> tuple[float, float]:
    """Return the least and the greatest local width of a region in mm.

    The local width at a boundary point is the diameter of the largest disc inside that touches
    it (Ma, Bae and Choi, "3D medial axis point approximation using nearest neighbors and the
    normal field", 2012: the shrinking ball). The least counts only where two walls face each
    other, so that a corner is not a narrow place; where no walls do, it is the greatest.
    """
    points, normals, step = _boundary(region)
    if len(points) < 3:
        return 0.0, 0.0
    radius, facing = _discs(points, normals, math.sqrt(region.area) + 4.0 * step)
    greatest = 2.0 * float(radius.max())
    walls = radius[facing]
    least = 2.0 * float(np.quantile(walls, 0.02)) if len(walls) else greatest
    return min(least, greatest), greatest


def _boundary(region: BaseGeometry) -> tuple[Points, Points, float]:
    """Return points along the boundary, evenly spaced, with inward normals, and their spacing."""
    lines = [line for part in shapely.get_parts(region) for line in rings(shapely.normalize(part))]
    total = sum(line.length for line in lines)
    if total <= 0.0:
        return np.empty((0, 2)), np.empty((0, 2)), 0.0
    count = int(np.clip(total / math.sqrt(max(region.area, 1e-12)) * 40.0, *_SAMPLES))
    step = total / count
    points, normals = [], []
    for line in lines:
        path = np.concatenate((line.points, line.points[:1]))
        side = np.diff(path, axis=0)
        length = np.hypot(side[:, 0], side[:, 1])
        along = np.concatenate(([0.0], np.cumsum(length)))
        each = max(3, round(float(along[-1]) / step))
        at = (np.arange(each) + 0.5) * (along[-1] / each)
        index: npt.NDArray[np.intp] = np.searchsorted(along[1:-1], at, side="right")
        way = side[index] / length[index][:, None]
        points.append(path[index] + way * (at - along[index])[:, None])
        # normalised rings run clockwise outside (y up), so that the inside is to the right
        normals.append(np.column_stack((way[:, 1], -way[:, 0])))
    return np.concatenate(points), np.concatenate(normals), step


def _discs(
    points: Points, normals: Points, start: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """Return each point's inscribed radius, and whether the disc touches a facing wall."""
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    radius = np.full(len(points), start)
    touch = np.full(len(points), -1)
    live = np.arange(len(points))
    for _ in range(_MOST_SHRINKS):
        centre = points[live] + normals[live] * radius[live][:, None]
        found, nearest = tree.query(centre)
        distance, near = np.asarray(found), np.asarray(nearest)
        shrink = (near != live) & (distance < radius[live] * (1.0 - 1e-6))
        live, near = live[shrink], near[shrink]
        gap = points[near] - points[live]
        square = np.einsum("ij,ij->i", gap, gap)
        across = np.einsum("ij,ij->i", gap, normals[live])
        smaller = square / (2.0 * np.maximum(across, 1e-12))
        real = (square > (_APART * smaller) ** 2) & (smaller < radius[live])
        live, near, smaller = live[real], near[real], smaller[real]
        if not len(live):
            break
        radius[live], touch[live] = smaller, near
    met = touch >= 0
    facing = met & (np.einsum("ij,ij->i", normals, normals[touch]) < _FACING)
    return radius, facing


def suggestions(artwork: Artwork, looks: Iterable[Look], catalogue: Catalogue) -> list[str]:
    """Return what to try first, by local width: the largest stone that fits, and a pattern."""
    sheet = next(iter(catalogue.sheets.values()))
    stones = sorted(catalogue.stones.values(), key=lambda stone: stone.diameter)
    out: list[str] = []
    if "viewBox at" in artwork.size_from:
        out.append("give the finished width: --width 240mm")
    groups: dict[tuple[str, str], list[str]] = {}
    for item in looks:
        words: tuple[str, str]
        if item.width_range is None:
            continue
        if item.shape.kind == "line":
            words = ("edge", "any size; a row stands on the line itself")
        else:
            least, greatest = item.width_range
            fitting = [stone for stone in stones if stone.diameter <= least]
            if not fitting:
                words = ("", f"narrower than the smallest stone ({mm(least)}): make it wider")
            else:
                # two rows in the narrowest place read best; one is the least
                two = [stone for stone in fitting if least >= 2 * stone.diameter + _gap(sheet)]
                stone = (two or fitting)[-1]
                rows = 1 + int((greatest - stone.diameter) / (stone.diameter + _gap(sheet)))
                wide = rows >= _WIDE_ROWS
                words = (
                    "lattice or courses" if wide else "courses",
                    f"{stone.name} or smaller ({number(least, 1)} to {mm(greatest, 1)} wide, "
                    f"{rows} row{'s' if rows > 1 else ''} where widest)",
                )
        groups.setdefault(words, []).append(item.shape.id)
    for (pattern, advice), ids in groups.items():
        some = ", ".join(ids[:3]) + (f" and {len(ids) - 3} more" if len(ids) > 3 else "")
        out.append(f"{some}: {pattern + ', ' if pattern else ''}{advice}")
    return out


def _gap(sheet: Any) -> float:
    """Return the least gap between stones: web and clearance together."""
    return float(sheet.least_web + sheet.clearance)
