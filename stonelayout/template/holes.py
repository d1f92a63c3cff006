"""Hole files: round holes read from any SVG, as centres and diameters in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stonelayout.errors import LayoutError
from stonelayout.geometry.points import Points
from stonelayout.model.artwork import Artwork, Shape, Skipped

from .registration import EDGE, MARKS_ID, OUTLINE

#: A closed line is a round hole when no point of it is further from the mean circle than this
#: share of its radius: four Bezier curves in place of a circle are 0.027 % off, ovals much more.
ROUND_SHARE = 0.005
#: or than this many mm: what a cutter cannot show, one HP-GL unit.
ROUND_MM = 0.025
#: A line that is off its circle by no more than this share is a circle as drawn (as above).
DRAWN_SHARE = 0.0005
#: Ends of a line that are this near, in mm, meet: coordinates of files are rounded so.
MEET_MM = 0.001
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
    ``in_px``: the file gives its size in px alone, so that it was taken at 96 px an inch.
    """

    centres: Points
    diameters: Points
    names: tuple[str, ...]
    size: tuple[float, float]
    not_round: tuple[Skipped, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    in_px: bool = False

    def __len__(self) -> int:
        return len(self.centres)

    def at_width(self, width: float) -> HoleSet:
        """Return the same holes on a page of this width in mm."""
        by = width / self.size[0]
        return replace(
            self,
            centres=self.centres * by,
            diameters=self.diameters * by,
            size=(width, self.size[1] * by),
            in_px=False,
        )


def read_holes(data: bytes | str, name: str = "holes.svg") -> HoleSet:
    """Read the round holes of an SVG: circles, ellipses, arcs or Bezier curves, in any transform.

    A file of plain circles is read directly, any other by the SVG importer. Our own register marks,
    known by their edge, and our outline are left out; in files of others nothing is, whatever its
    name. Raises ArtworkError when the file cannot be read.
    """
    raw = data.encode("utf-8") if isinstance(data, str) else data
    from .fast_circles import read_plain

    plain = read_plain(raw)
    if plain is not None:
        table, names, size, in_px = plain
        return HoleSet(table[:, :2].copy(), 2 * table[:, 2], names, size, in_px=in_px)
    from stonelayout.svg import read_svg

    return holes_of(read_svg(raw, name=name))


def holes_of(artwork: Artwork) -> HoleSet:
    """Find the round holes among an artwork's shapes; each closed line counts for itself.

    A line whose ends meet is closed, with or without the command that says so.
    """
    marked = any(shape.id.startswith(EDGE) for shape in artwork.shapes)
    centres: list[tuple[float, float]] = []
    diameters: list[float] = []
    names: list[str] = []
    odd: list[Skipped] = []
    for shape in artwork.shapes:
        if marked and (MARKS_ID.match(shape.layer_id) or shape.id == OUTLINE):
            continue
        for line in shape.outline:
            points, closed = line.points, line.closed
            if not closed and len(points) > LEAST_POINTS and _meet(points[0], points[-1]):
                points, closed = points[:-1], True
            circle = fit_circle(points) if closed else None
            if circle is None:
                odd.append(_odd(shape, closed=closed))
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
        " px an inch" in artwork.size_from,
    )


def _meet(start: Points, end: Points) -> bool:
    return float(np.hypot(*(start - end))) <= MEET_MM


def _odd(shape: Shape, *, closed: bool) -> Skipped:
    reason = "not round" if closed else "not a closed line"
    return Skipped(shape.tag, reason, shape.id, shape.layer, shape.line)


def fit_circle(points: Points) -> tuple[tuple[float, float], float] | None:
    """Return (centre, diameter) in mm of a round line, None when it is not round.

    ``points`` (n, 2) is a closed line that does not repeat its first point. The circle is the
    algebraic least-squares fit (Kasa 1976, "A circle fitting procedure and its error analysis"),
    exact when all points lie on one circle. Its points must go round it once, without a gap of
    more than a quarter turn. The diameter of an oval is its largest, so that no web is taken for
    wider than it is.
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
    if off > DRAWN_SHARE * radius:
        radius = float(np.hypot(*from_centre.T).max())
    return (float(middle[0] + cx), float(middle[1] + cy)), 2 * radius


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
