"""Hole files: round holes read from any SVG, as centres and diameters in mm."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from xml.etree import ElementTree

import numpy as np
import numpy.typing as npt

from .artwork import Artwork, Shape, Skipped
from .errors import LayoutError
from .template import Points
from .units import MM_PER_UNIT

#: A closed line is a round hole when no point of it is further from the mean circle than this
#: share of its radius: four Bezier curves in place of a circle are 0.027 % off, ovals much more.
ROUND_SHARE = 0.005
#: or than this many mm: what a cutter cannot show, one HP-GL unit.
ROUND_MM = 0.025
#: Fewest points of a line that is taken for a circle: a hexagon is not a hole.
LEAST_POINTS = 8
#: Holes whose diameters differ by no more than this, in mm, are meant for one stone size.
GROUP_MM = 0.04
#: The stone sizes of a catalogue are fewer than this.
MOST_GROUPS = 60


@dataclass(frozen=True, eq=False)
class HoleSet:
    """Round holes of one file, in mm of its page, y down.

    ``centres`` (n, 2); ``diameters`` (n,); ``names`` the id of each. ``size`` is the page.
    ``not_round`` lists what is drawn and is no round hole; ``skipped`` what was not read.
    """

    centres: Points
    diameters: Points
    names: tuple[str, ...]
    size: tuple[float, float]
    not_round: tuple[Skipped, ...] = ()
    skipped: tuple[Skipped, ...] = ()

    def __len__(self) -> int:
        return len(self.centres)


def read_holes(data: bytes | str, name: str = "holes.svg") -> HoleSet:
    """Read the round holes of an SVG: circles, ellipses, arcs or Bezier curves, in any transform.

    A file of plain circles is read directly, any other by the SVG importer. What stands in a group
    with the id ``registration``, and an element with the id ``outline``, is left out: it is no
    hole. Raises ArtworkError when the file cannot be read.
    """
    raw = data.encode("utf-8") if isinstance(data, str) else data
    plain = _read_plain(raw)
    if plain is not None:
        return plain
    from .svg import read_svg

    return holes_of(read_svg(raw, name=name))


def holes_of(artwork: Artwork) -> HoleSet:
    """Find the round holes among an artwork's shapes; each closed line counts for itself."""
    centres: list[tuple[float, float]] = []
    diameters: list[float] = []
    names: list[str] = []
    odd: list[Skipped] = []
    for shape in artwork.shapes:
        if shape.layer_id == "registration" or shape.id == "outline":
            continue
        for line in shape.outline:
            circle = fit_circle(line.points) if line.closed else None
            if circle is None:
                odd.append(_odd(shape, closed=line.closed))
                continue
            centres.append(circle[0])
            diameters.append(circle[1])
            names.append(shape.id)
    return HoleSet(
        np.array(centres, dtype=np.float64).reshape(-1, 2),
        np.array(diameters, dtype=np.float64),
        tuple(names),
        artwork.size,
        tuple(odd),
        artwork.skipped,
    )


def _odd(shape: Shape, *, closed: bool) -> Skipped:
    reason = "not round" if closed else "not a closed line"
    return Skipped(shape.tag, reason, shape.id, shape.layer, shape.line)


def fit_circle(points: Points) -> tuple[tuple[float, float], float] | None:
    """Return (centre, diameter) in mm of a round line, None when it is not round.

    ``points`` (n, 2) is a closed line that does not repeat its first point. The circle is the
    algebraic least-squares fit (Kasa 1976, "A circle fitting procedure and its error analysis"),
    exact when all points lie on one circle. Its points must go round it once, without a gap of
    more than a quarter turn.
    """
    if len(points) < LEAST_POINTS:
        return None
    middle = points.mean(axis=0)
    local = points - middle
    matrix = np.column_stack((2 * local, np.ones(len(local))))
    try:
        (cx, cy, rest), *_ = np.linalg.lstsq(matrix, (local**2).sum(axis=1), rcond=None)
    except np.linalg.LinAlgError:
        return None
    square = float(rest + cx * cx + cy * cy)
    if not (math.isfinite(square) and square > 0):
        return None
    radius = math.sqrt(square)
    from_centre = local - (cx, cy)
    off = np.abs(np.hypot(*from_centre.T) - radius).max()
    if off > max(ROUND_SHARE * radius, min(ROUND_MM, radius / 10)):
        return None
    angles = np.arctan2(from_centre[:, 1], from_centre[:, 0])
    steps = np.diff(angles, append=angles[:1])
    steps = (steps + math.pi) % (2 * math.pi) - math.pi
    if abs(abs(steps.sum()) - 2 * math.pi) > 1e-6 or np.abs(steps).max() > math.pi / 2:
        return None
    return (float(middle[0] + cx), float(middle[1] + cy)), 2 * radius


# A file of plain circles, as stonelayout writes them, needs no importer: 100,000 holes a second.

_SVG = "{http://www.w3.org/2000/svg}"
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_SIZE = re.compile(rf"({_NUMBER})\s*(mm|cm|in|pt|pc|q|px)?\Z", re.IGNORECASE)
_PLAIN_NUMBER = re.compile(rf"{_NUMBER}\Z")
_PLAIN_KEYS = {
    "svg": {"width", "height", "viewBox", "version", "id"},
    "g": {"id", "fill", "stroke", "stroke-width"},
    "circle": {"id", "cx", "cy", "r", "fill", "stroke", "stroke-width"},
}


def _read_plain(raw: bytes) -> HoleSet | None:
    """Read a file of nothing but groups and circles in mm; None: the importer must read it."""
    if b"<!" in raw.replace(b"<!--", b"")[:4096]:
        return None
    try:
        root = ElementTree.fromstring(raw)  # noqa: S314 - expat stops entity bombs; no doctype here
    except (ElementTree.ParseError, LookupError, ValueError):
        return None
    size = _plain_size(root)
    circles = [] if size is None else _plain_circles(root, depth=0)
    if size is None or circles is None:
        return None
    try:
        table = np.array(
            [[c.get("cx", "0"), c.get("cy", "0"), c.get("r", "")] for c in circles], dtype="U32"
        )
        values = table.astype(np.float64).reshape(-1, 3)
    except ValueError:
        return None
    if not np.isfinite(values).all() or (values[:, 2] <= 0).any():
        return None
    names = tuple(c.get("id") or f"circle-{k}" for k, c in enumerate(circles, start=1))
    return HoleSet(values[:, :2].copy(), 2 * values[:, 2], names, size)


def _plain_size(root: ElementTree.Element) -> tuple[float, float] | None:
    if root.tag != _SVG + "svg" or not set(root.keys()) <= _PLAIN_KEYS["svg"]:
        return None
    sides = []
    for key in ("width", "height"):
        match = _SIZE.match(root.get(key, "").strip())
        if match is None:
            return None
        sides.append(float(match.group(1)) * MM_PER_UNIT[(match.group(2) or "px").lower()])
    box = re.split(r"[\s,]+", root.get("viewBox", "").strip())
    if len(box) != 4 or not all(_PLAIN_NUMBER.match(part) for part in box):
        return None
    numbers = [float(part) for part in box]
    if numbers != [0.0, 0.0, *sides] or not all(0 < side < 1e6 for side in sides):
        return None
    return sides[0], sides[1]


def _plain_circles(parent: ElementTree.Element, depth: int) -> list[ElementTree.Element] | None:
    found: list[ElementTree.Element] = []
    for child in parent:
        tag = child.tag[len(_SVG) :] if isinstance(child.tag, str) else ""
        if tag in ("title", "desc", "metadata"):
            continue
        if _left_out(child):
            continue
        if tag not in ("g", "circle") or not set(child.keys()) <= _PLAIN_KEYS[tag] or depth > 50:
            return None
        if tag == "circle":
            found.append(child)
            continue
        inside = _plain_circles(child, depth + 1)
        if inside is None:
            return None
        found += inside
    return found


def _left_out(element: ElementTree.Element) -> bool:
    return element.get("id") in ("registration", "outline")


def groups_of(diameters: Points, tolerance: float = GROUP_MM) -> list[npt.NDArray[np.intp]]:
    """Return the indices of holes that are one size, smallest first.

    A group holds diameters (n,) no more than ``tolerance`` mm over its smallest. Raises
    LayoutError beyond MOST_GROUPS groups.
    """
    order = np.argsort(diameters, kind="stable")
    values = diameters[order]
    groups = []
    start = 0
    while start < len(values):
        end = int(np.searchsorted(values, values[start] + tolerance, side="right"))
        groups.append(np.sort(order[start:end]))
        start = end
        if len(groups) > MOST_GROUPS:
            raise LayoutError(f"holes of more than {MOST_GROUPS} diameters: this is no template")
    return groups
