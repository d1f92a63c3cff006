"""``clip-path`` by a basic shape of CSS: ``inset``, ``circle``, ``ellipse``, ``polygon``."""

from __future__ import annotations

import re
from typing import Final

from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.flattening import Subpath

from .basic_shapes import READERS, Units
from .boxes import Box, object_box
from .context import Context, GraphicsState, Walk
from .document import Node, children
from .element_regions import filled, flattened
from .transforms import origin_of

_BOX: Final = "fill-box|content-box|padding-box|stroke-box|border-box|margin-box|view-box"
_FORM: Final = re.compile(
    rf"(?:({_BOX})\s+)?(inset|circle|ellipse|polygon)\(([^()]*)\)(?:\s+({_BOX}))?\Z"
)
#: Boxes that take strokes in (CSS Masking 1, section 3.1: border-box, the one when none is named).
_WITH_STROKE: Final = ("", "stroke-box", "border-box", "margin-box")


def basic_shape_region(
    walk: Walk, text: str, node: Node, state: GraphicsState
) -> BaseGeometry | None:
    """Return the region in mm that a basic shape leaves of an element; None where it is not read.

    Sources: CSS Shapes 1 (the functions), CSS Masking 1 (the reference boxes).
    """
    context = walk.context
    match = _FORM.match(" ".join(text.lower().split()))
    if match is None:
        return None
    before, name, arguments, after = match.groups(default="")
    kind = before or after
    box: Box | None = (*state.origin, *state.viewport)
    if kind != "view-box":
        if kind in _WITH_STROKE and _has_stroke(context, node, state.properties):
            return None
        box = object_box(walk, node, state)
    if box is None:
        return None
    units = context.units(state)
    found = _OUTLINES[name](arguments.strip(), box, Units(box[2:], units.font_size, units.dpi))
    if found is None:
        return None
    rule, subpaths = found
    return filled(flattened(subpaths, state.matrix, context.tolerance), state.matrix, rule)


def _has_stroke(context: Context, node: Node, properties: dict[str, str]) -> bool:
    if node.tag in READERS or node.tag == "text":
        return properties["stroke"] != "none"
    if node.tag == "use":
        return True  # what it uses is not looked up here
    return any(
        _has_stroke(context, child, context.cascade.computed(child, properties))
        for child in children(node)
    )


Found = tuple[str, list[Subpath]] | None


def _inset(text: str, box: Box, units: Units) -> Found:
    text, _, radii = text.partition(" round ")
    parts = text.split()
    if not 1 <= len(parts) <= 4:
        return None
    top = parts[0]
    right = parts[1] if len(parts) > 1 else top
    bottom = parts[2] if len(parts) > 2 else top
    left = parts[3] if len(parts) > 3 else right
    lengths = [
        units.length(part, axis)
        for part, axis in ((top, "y"), (right, "x"), (bottom, "y"), (left, "x"))
    ]
    round_x = round_y = 0.0
    if radii:
        rx, ry = units.length(radii, "x"), units.length(radii, "y")
        if rx is None or ry is None:
            return None  # four corners of their own
        round_x, round_y = rx, ry
    if any(length is None for length in lengths):
        return None
    t, r, b, left_by = (length or 0.0 for length in lengths)
    given = {
        "x": box[0] + left_by,
        "y": box[1] + t,
        "width": box[2] - left_by - r,
        "height": box[3] - t - b,
        "rx": round_x,
        "ry": round_y,
    }
    return _read("rect", given, units)


def _circle(text: str, box: Box, units: Units) -> Found:
    radius, x, y = _centre(text, box, units)
    sides = _sides(x, y, box)
    if radius in ("", "closest-side", "farthest-side"):
        value: float | None = (max if radius == "farthest-side" else min)(sides[0] + sides[1])
    else:
        value = units.length(radius, "both")
    if value is None or value < 0.0:
        return None
    return _read("ellipse", {"cx": x, "cy": y, "rx": value, "ry": value}, units)


def _ellipse(text: str, box: Box, units: Units) -> Found:
    radii, x, y = _centre(text, box, units)
    words = radii.split() or ["closest-side", "closest-side"]
    if len(words) != 2:
        return None
    values: list[float] = []
    for word, axis, sides in zip(words, "xy", _sides(x, y, box), strict=True):
        if word in ("closest-side", "farthest-side"):
            values.append((max if word == "farthest-side" else min)(sides))
            continue
        value = units.length(word, axis)
        if value is None or value < 0.0:
            return None
        values.append(value)
    return _read("ellipse", {"cx": x, "cy": y, "rx": values[0], "ry": values[1]}, units)


def _polygon(text: str, box: Box, units: Units) -> Found:
    rule = "nonzero"
    head, comma, rest = text.partition(",")
    if comma and head.strip() in ("nonzero", "evenodd"):
        rule, text = head.strip(), rest
    points: list[str] = []
    for corner in text.split(","):
        places = corner.split()
        if len(places) != 2:
            return None
        x, y = units.length(places[0], "x"), units.length(places[1], "y")
        if x is None or y is None:
            return None
        points += [repr(box[0] + x), repr(box[1] + y)]
    return rule, READERS["polygon"]({"points": " ".join(points)}, units).subpaths


_OUTLINES: Final = {"inset": _inset, "circle": _circle, "ellipse": _ellipse, "polygon": _polygon}


def _centre(text: str, box: Box, units: Units) -> tuple[str, float, float]:
    """Split ``RADII at X Y``; return the radii and the centre in user units."""
    radii, at, place = f" {text} ".partition(" at ")
    return radii.strip(), *origin_of(place.strip() if at else "center center", box, units)


def _sides(x: float, y: float, box: Box) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return how far the box's sides are from a point, across and down."""
    across = abs(x - box[0]), abs(box[0] + box[2] - x)
    return across, (abs(y - box[1]), abs(box[1] + box[3] - y))


def _read(tag: str, given: dict[str, float], units: Units) -> Found:
    subpaths = READERS[tag]({name: repr(value) for name, value in given.items()}, units).subpaths
    return "nonzero", subpaths
