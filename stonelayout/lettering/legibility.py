"""From which height words read well in given stones, and which pattern suits their strokes.

Two measures of a face, both in capital heights: the free room inside its letters (the largest
circle in each counter or bay) and, for outlines, the width of its strokes. The rules are common
practice, no source: a capital is at least seven stones high, as in a 5 by 7 dot matrix; in every
counter and bay there is room for one stone more, left empty; every stroke is as wide as a stone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points
from stonelayout.model.text import Setting

from .glyph_drawing import Drawing, scale
from .outline_face import region

#: Bays narrower than this share of a capital's height are no features: the notch at the waist of an
#: 8, the slivers between a round letter and its hull. Closed counters always are, from the second.
LEAST_BAY, LEAST_COUNTER = 0.25, 0.05
#: Stones in the height of a capital that reads well, and the least that still reads: the three
#: bars of an E with free rows between.
ROWS, LEAST_ROWS = 7, 5
#: Accuracy of the largest circles, in capital heights.
TOLERANCE = 0.005
#: The share of a letter's area that a round stone's reach must cover for the letter to be whole.
COVERED = 0.85
#: Steps of the search for the stroke width: 1/256 of the bracket.
WIDTH_STEPS = 8
#: Places at which the width is measured, for one letter.
PLACES = 200


@dataclass(frozen=True)
class Readable:
    """``height``: the least capital height in mm; ``letter`` and ``reason`` say what asks for it.

    ``stem`` is the usual width of a stem in capital heights, None for single strokes.
    """

    height: float
    letter: str
    reason: str
    stem: float | None = None

    def pattern(self, height: float, stones: Setting) -> str:
        """Return the pattern that suits the stems at this height."""
        if self.stem is None:
            return "edge"
        usable = self.stem * height - stones.diameter
        return (
            "spine"
            if usable < stones.pitch
            else "edge"
            if usable < 1.9 * stones.pitch
            else "courses"
        )


def rows_high(count: int, stones: Setting) -> float:
    """Return the height in mm of a column of so many stones."""
    return (count - 1) * stones.pitch + stones.diameter


def readable(letters: Iterable[tuple[str, Drawing]], capital: float, stones: Setting) -> Readable:
    """Measure letters (text, drawing in mm) set with capitals ``capital`` mm high."""
    found = [Readable(rows_high(ROWS, stones), "", f"{ROWS} stones in the height of a capital")]
    stems: list[Points] = []
    single = True
    for text, drawing in letters:
        unit = drawing.mapped(scale(1 / capital))
        room = _least_room(unit)
        single = single and unit.stroked
        if room is not None:
            need = stones.pitch / room if unit.stroked else stones.diameter / (2 * room)
            found.append(Readable(need, text, "an empty stone's room in its counters"))
        if not unit.stroked and unit:
            area = region(unit)
            stems.append(stem_widths(area))
            need = stones.diameter / thin_stroke(area)
            found.append(Readable(need, text, "strokes as wide as a stone"))
    worst = max(found, key=lambda one: one.height)
    stem = None if single or not stems else float(np.median(np.concatenate(stems)))
    return Readable(worst.height, worst.letter, worst.reason, stem)


def _least_room(drawing: Drawing) -> float | None:
    """Return the radius of the largest circle in the tightest counter or bay; None without one."""
    lines = [line for line in drawing.lines() if len(line) > 1]
    if not lines:
        return None
    ink: BaseGeometry = (
        shapely.buffer(shapely.MultiLineString(lines), TOLERANCE)
        if drawing.stroked
        else region(drawing)
    )
    white = shapely.difference(shapely.convex_hull(ink), ink)
    radii = []
    rim = shapely.boundary(shapely.convex_hull(ink))
    for part in shapely.get_parts(white):
        least = LEAST_BAY if shapely.distance(part, rim) < TOLERANCE else LEAST_COUNTER
        if part.area >= least**2 / 2:
            radius = shapely.maximum_inscribed_circle(part, tolerance=TOLERANCE).length
            if radius * 2 >= least:
                radii.append(radius)
    return min(radii, default=None)


def thin_stroke(area: BaseGeometry) -> float:
    """Return the diameter of the largest disc that, rolled inside, reaches nearly all."""
    low, high = 0.0, 2 * float(np.sqrt(area.area))
    for _ in range(WIDTH_STEPS):
        middle = (low + high) / 2
        opened = shapely.buffer(shapely.buffer(area, -middle / 2), middle / 2)
        whole = opened.area >= COVERED * area.area
        low, high = (middle, high) if whole else (low, middle)
    return max(low, 1e-6)


def stem_widths(area: BaseGeometry) -> Points:
    """Return widths of a filled region: from places along its outline straight through it.

    Rays run along the inward normals; places near corners, whose rays leave through the next
    side, count like any other. Shape (n,), the region's unit.
    """
    starts, inward = [], []
    for polygon in shapely.get_parts(area):
        for k, ring in enumerate((polygon.exterior, *polygon.interiors)):
            count = max(8, round(PLACES * ring.length / max(area.length, 1e-12)))
            at = (np.arange(count) + 0.5) * ring.length / count
            here = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
            ahead = shapely.get_coordinates(shapely.line_interpolate_point(ring, at + 1e-4))
            tangent = (ahead - here) / np.hypot(*(ahead - here).T)[:, None].clip(1e-12)
            inside_left = bool(shapely.is_ccw(ring)) == (k == 0)
            starts.append(here)
            inward.append(tangent[:, ::-1] * ([-1, 1] if inside_left else [1, -1]))
    if not starts:
        return np.empty(0)
    start, step = np.concatenate(starts), np.concatenate(inward)
    x0, y0, x1, y1 = area.bounds
    reach = float(np.hypot(x1 - x0, y1 - y0))
    rays = shapely.linestrings(np.stack((start + 1e-6 * step, start + reach * step), axis=1))
    first: npt.NDArray[np.object_] = np.asarray(shapely.intersection(rays, area))
    several = shapely.get_num_geometries(first) > 1
    first[several] = shapely.get_geometry(first[several], 0)
    widths: Points = np.asarray(shapely.length(first))
    return widths[widths > 1e-6]
