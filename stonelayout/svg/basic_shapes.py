"""The basic shapes and paths as subpaths in their own user units."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import Subpath

from .arcs import quarter_circle
from .css_values import parse_length, parse_numbers
from .pathdata import parse_path


@dataclass(frozen=True)
class Units:
    """What lengths refer to: the viewport (for per cent), the font size, px an inch."""

    viewport: tuple[float, float]
    font_size: float
    dpi: float

    def length(self, text: str | None, axis: str) -> float | None:
        """Return user units; ``axis`` is "x", "y" or "both" (the diagonal, for radii)."""
        width, height = self.viewport
        base = {"x": width, "y": height, "both": (width**2 + height**2) ** 0.5 / 2**0.5}[axis]
        return parse_length(text, dpi=self.dpi, percent_of=base, font_size=self.font_size)


@dataclass(frozen=True)
class Geometry:
    """Subpaths, and what was wrong with the element ("" when nothing was)."""

    subpaths: list[Subpath]
    problem: str = ""


_PLACES = ("x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "width", "height")
_NOT_FINITE = re.compile(r"[-+]?(?:nan|inf(?:inity)?)(?![a-z])", re.ASCII | re.IGNORECASE)


def refuse_non_finite(given: Mapping[str, str]) -> None:
    """Raise ArtworkError for NaN and infinity in place of a coordinate.

    SVG would put zero there: a broken exporter's shape would stand in the wrong place in silence.
    """
    for name in _PLACES:
        if name in given:
            _refuse_non_finite(name, given[name])


def _refuse_non_finite(name: str, text: str) -> None:
    found = _NOT_FINITE.search(text)
    if found:
        raise ArtworkError(f'{name} holds "{found.group()}", which is not a number')


#: Reads one element's geometry from its attributes (with CSS over them).
Reader = Callable[[Mapping[str, str], Units], Geometry]


def _rect(given: Mapping[str, str], units: Units) -> Geometry:
    width, height = units.length(given.get("width"), "x"), units.length(given.get("height"), "y")
    if not width or not height or width < 0.0 or height < 0.0:
        return Geometry([], "its width or height is zero, missing or wrong")
    x, y = units.length(given.get("x"), "x") or 0.0, units.length(given.get("y"), "y") or 0.0
    rx, ry = _radii(given, units)
    rx, ry = min(rx, width / 2.0), min(ry, height / 2.0)
    right, bottom = x + width, y + height
    if rx == 0.0 or ry == 0.0:
        return Geometry([_polyline([x, y, right, y, right, bottom, x, bottom], closed=True)])
    track = [np.array([[x + rx, y]])]
    degrees: list[int] = []
    centres = (
        (right - rx, y + ry),
        (right - rx, bottom - ry),
        (x + rx, bottom - ry),
        (x + rx, y + ry),
    )
    for quarter, centre in enumerate(centres):
        arc = quarter_circle(quarter - 1) * (rx, ry) + centre
        if (arc[0] != track[-1][-1]).any():
            track.append(arc[:1])
            degrees.append(1)
        track.append(arc[1:])
        degrees += [3] * (len(arc) // 3)
    return Geometry([Subpath(np.concatenate(track), np.array(degrees, dtype=np.int8), closed=True)])


def _radii(given: Mapping[str, str], units: Units) -> tuple[float, float]:
    """Return rx and ry; one that is missing, ``auto`` or negative takes the other's value."""
    rx, ry = units.length(given.get("rx"), "x"), units.length(given.get("ry"), "y")
    rx = None if rx is not None and rx < 0.0 else rx
    ry = None if ry is not None and ry < 0.0 else ry
    if rx is None:
        return (ry or 0.0), (ry or 0.0)
    return rx, (rx if ry is None else ry)


def _ellipse(given: Mapping[str, str], units: Units) -> Geometry:
    return _oval(given, units, *_radii(given, units))


def _circle(given: Mapping[str, str], units: Units) -> Geometry:
    radius = units.length(given.get("r"), "both") or 0.0
    return _oval(given, units, radius, radius)


def _oval(given: Mapping[str, str], units: Units, rx: float, ry: float) -> Geometry:
    if rx <= 0.0 or ry <= 0.0:
        return Geometry([], "its radius is zero, missing or wrong")
    cx, cy = units.length(given.get("cx"), "x") or 0.0, units.length(given.get("cy"), "y") or 0.0
    circle = [quarter_circle(quarter)[quarter > 0 :] for quarter in range(4)]
    points = np.concatenate(circle) * (rx, ry) + (cx, cy)
    return Geometry([Subpath(points, np.full(len(points) // 3, 3, dtype=np.int8), closed=True)])


def _line(given: Mapping[str, str], units: Units) -> Geometry:
    ends = [units.length(given.get(name), name[0]) or 0.0 for name in ("x1", "y1", "x2", "y2")]
    return Geometry([_polyline(ends, closed=False)])


def _points(given: Mapping[str, str], *, closed: bool) -> Geometry:
    text = given.get("points", "")
    numbers = parse_numbers(text)
    problem = ""
    if numbers is None:
        _refuse_non_finite("points", text)
        read = parse_path("M" + text)
        numbers = [float(part) for path in read.subpaths[:1] for part in path.points.ravel()]
        problem = read.problem.replace("path data", "points")
    if len(numbers) % 2:
        numbers, problem = numbers[:-1], "its points are an odd count of numbers"
    if len(numbers) < 4:
        return Geometry([], problem or "it has fewer than two points")
    return Geometry([_polyline(numbers, closed=closed)], problem)


def _polyline(numbers: list[float], *, closed: bool) -> Subpath:
    points = np.array(numbers, dtype=np.float64).reshape(-1, 2)
    return Subpath(points, np.ones(len(points) - 1, dtype=np.int8), closed)


def _path(given: Mapping[str, str], _units: Units) -> Geometry:
    d = given.get("d", "").strip()
    if d.startswith("path("):
        d = d[5:].rstrip(") ").strip("\"' ")
    if not d or d == "none":
        return Geometry([], "it has no path data")
    data = parse_path(d)
    if data.problem:
        _refuse_non_finite("d", d)
    return Geometry(data.subpaths, data.problem)


READERS: Mapping[str, Reader] = {
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polyline": lambda given, _units: _points(given, closed=False),
    "polygon": lambda given, _units: _points(given, closed=True),
    "path": _path,
}
