"""A quick way into drawings of nothing but circles: hole files of 100,000 holes in a second or two.

What it cannot read exactly it leaves to the SVG importer, which reads everything but slowly.
"""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.units import MM_PER_UNIT

from .registration import EDGE, MARKS_ID, OUTLINE

Affine = tuple[float, float, float, float, float, float]
Circle = tuple[float, float, float, str]

_SVG = "{http://www.w3.org/2000/svg}"
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*(mm|cm|in|pt|pc|q|px)?\s*\Z", re.IGNORECASE)
_UNIT_IN_PX = re.compile(r"(?:[\d.]|px)\s*\Z", re.IGNORECASE)
_STEP = re.compile(r"\s*,?\s*(matrix|translate|scale|rotate)\s*\(([^()]*)\)")
#: Attributes that do not move, hide or clip anything.
_HARMLESS = {
    "id", "class", "fill", "stroke", "stroke-width", "fill-opacity", "stroke-opacity",
    "stroke-linecap", "stroke-linejoin", "fill-rule", "version", "baseProfile",
    "{http://www.w3.org/XML/1998/namespace}space",
}  # fmt: skip
_READ = {
    "svg": {"width", "height", "viewBox"},
    "g": {"transform"},
    "circle": {"cx", "cy", "r", "transform"},
    "ellipse": {"cx", "cy", "rx", "ry", "transform"},
}
_HIDES = re.compile(
    r"display|visibility|transform|translate|scale|rotate|zoom|clip|mask|opacity|offset"
    r"|\b[cr][xy]\s*:|\br\s*:|\b[xy]\s*:"
)
_ASIDE = {"title", "desc", "metadata"}
_SIDES = ("width", "height")
_DEEPEST = 50
#: Two scales are one when they differ by this share: a circle stays round to a nanometre.
_ALIKE = 1e-7


def read_plain(raw: bytes) -> tuple[Points, tuple[str, ...], tuple[float, float], bool] | None:
    """Read circles in groups, with transforms that keep them round, in any unit.

    Returns (x, y, radius in mm, shape (n, 3); ids; page size in mm; whether that was in px), or
    None when the file holds anything else than that: then the importer must read it.
    """
    if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw or b"<![CDATA[" in raw:
        return None
    try:
        root = ElementTree.fromstring(raw)  # noqa: S314 - no doctype, so no entities; expat caps rest
        frame = _frame(root)
        if frame is None:
            return None
        size, matrix = frame
        found: list[Circle] = []
        marked = f'id="{EDGE}'.encode() in raw  # else no group is of our marks, whatever its id
        if not _walk(root, matrix, found, 0, marked):
            return None
    except (ElementTree.ParseError, LookupError, ValueError):
        return None
    table = np.array([circle[:3] for circle in found], dtype=np.float64).reshape(-1, 3)
    if not np.isfinite(table).all() or (np.abs(table) > 1e6).any() or (table[:, 2] <= 0).any():
        return None
    names = tuple(name or f"circle-{k}" for k, (*_, name) in enumerate(found, start=1))
    in_px = any(_UNIT_IN_PX.search(root.get(key, "")) for key in _SIDES)
    return table, names, size, in_px


def _frame(root: ElementTree.Element) -> tuple[tuple[float, float], Affine] | None:
    """Return the page in mm and the matrix from user units to mm, where both are plain."""
    if root.tag != _SVG + "svg" or not _plain(root, "svg"):
        return None
    sides = []
    for key in _SIDES:
        match = _LENGTH.match(root.get(key, ""))
        if match is None:
            return None
        sides.append(float(match.group(1)) * MM_PER_UNIT[(match.group(2) or "px").lower()])
    size = (round(sides[0], 9), round(sides[1], 9))
    if not all(0 < side < 1e6 for side in size):
        return None
    view = root.get("viewBox")
    if view is None:
        unit = MM_PER_UNIT["px"]
        return size, (unit, 0.0, 0.0, unit, 0.0, 0.0)
    x, y, wide, high = (float(part) for part in re.split(r"[\s,]+", view.strip()))
    if not (wide > 0 and high > 0):
        return None
    across, down = size[0] / wide, size[1] / high
    if abs(across - down) > _ALIKE * across:
        return None
    return size, (across, 0.0, 0.0, down, -x * across, -y * down)


def _walk(
    parent: ElementTree.Element, matrix: Affine, found: list[Circle], depth: int, marked: bool
) -> bool:
    """Collect the circles below an element; False when there is anything else.

    ``marked``: groups of our register marks, and our outline, are passed over.
    """
    if depth > _DEEPEST:
        return False
    for child in parent:
        tag = child.tag[len(_SVG) :] if isinstance(child.tag, str) else ""
        name = child.get("id", "")
        ours = marked and (name == OUTLINE or (tag == "g" and MARKS_ID.match(name)))
        if tag in _ASIDE or ours:
            continue
        if tag not in ("g", "circle", "ellipse") or not _plain(child, tag):
            return False
        moved = _moved(matrix, child.get("transform"))
        if moved is None:
            return False
        if tag == "g":
            if not _walk(child, moved, found, depth + 1, marked):
                return False
            continue
        circle = _circle(child, tag, moved)
        if circle is None:
            return False
        found.append(circle)
    return True


def _plain(element: ElementTree.Element, tag: str) -> bool:
    for key, value in element.items():
        if key == "style":
            if _HIDES.search(value):
                return False
        elif key not in _HARMLESS and key not in _READ[tag]:
            return False
    return True


def _circle(element: ElementTree.Element, tag: str, matrix: Affine) -> Circle | None:
    a, b, c, d, e, f = matrix
    # A circle stays one under turns, mirrors and one scale alone.
    across, along = math.hypot(a, b), math.hypot(c, d)
    if abs(across - along) > _ALIKE * across or abs(a * c + b * d) > _ALIKE * across * along:
        return None
    x, y = _length(element, "cx"), _length(element, "cy")
    radius = _length(element, "r" if tag == "circle" else "rx")
    if tag == "ellipse" and abs(_length(element, "ry") - radius) > _ALIKE * radius:
        return None
    return a * x + c * y + e, b * x + d * y + f, radius * across, element.get("id", "")


def _length(element: ElementTree.Element, key: str) -> float:
    """Return a length in user units; ValueError, which ends the quick way, for one in words."""
    text = element.get(key, "0")
    try:
        return float(text)
    except ValueError:
        match = _LENGTH.match(text)
        if match is None:
            raise
        unit = (match.group(2) or "px").lower()
        return float(match.group(1)) * MM_PER_UNIT[unit] / MM_PER_UNIT["px"]


def _moved(matrix: Affine, text: str | None) -> Affine | None:
    """Return the matrix with a transform attribute applied; None for one that is not plain."""
    if not text:
        return matrix
    at = 0
    while at < len(text.rstrip()):
        step = _STEP.match(text, at)
        if step is None:
            return None
        values = [float(part) for part in re.split(r"[\s,]+", step.group(2).strip())]
        inner = _step(step.group(1), values)
        if inner is None:
            return None
        matrix = _product(matrix, inner)
        at = step.end()
    return matrix


def _step(name: str, values: list[float]) -> Affine | None:
    count = len(values)
    if name == "matrix" and count == 6:
        a, b, c, d, e, f = values
        return a, b, c, d, e, f
    if name == "translate" and count in (1, 2):
        return 1.0, 0.0, 0.0, 1.0, values[0], values[1] if count == 2 else 0.0
    if name == "scale" and count in (1, 2):
        return values[0], 0.0, 0.0, values[-1], 0.0, 0.0
    if name == "rotate" and count in (1, 3):
        angle = math.radians(values[0])
        cosine, sine = math.cos(angle), math.sin(angle)
        x, y = values[1:] if count == 3 else (0.0, 0.0)
        return cosine, sine, -sine, cosine, x - cosine * x + sine * y, y - sine * x - cosine * y
    return None


def _product(outer: Affine, inner: Affine) -> Affine:
    a, b, c, d, e, f = outer
    g, h, i, j, k, m = inner
    return (
        a * g + c * h, b * g + d * h, a * i + c * j, b * i + d * j,
        a * k + c * m + e, b * k + d * m + f,
    )  # fmt: skip
