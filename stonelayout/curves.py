"""Curves: subpaths of lines and Béziers, arcs made into Béziers, all flattened to a chord error."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from .errors import ArtworkError

Points = npt.NDArray[np.float64]
#: Largest distance in mm between a curve and its chords: a tenth of a cutter's resolution or so.
CHORD_ERROR_MM = 0.005
#: More points than any drawing needs; a file that asks for more is refused, not swallowed.
MOST_POINTS = 2_000_000
#: An arc is cut into pieces of at most 30 degrees: each cubic is within 4e-7 of its radius.
_ARC_PIECE = math.pi / 6.0
#: The most chords one Bézier segment is cut into.
_MOST_CHORDS = 20_000


@dataclass(frozen=True, eq=False)
class Subpath:
    """One subpath: its start, then segments of degree 1 (line), 2 or 3 (Béziers).

    ``points`` has shape (1 + degrees.sum(), 2): the start point, then each segment's control
    points and end point. ``closed`` tells that the end joins the start (by a straight line where
    they differ). An empty ``degrees`` is a dot.
    """

    points: Points
    degrees: npt.NDArray[np.int8]
    closed: bool


@dataclass(frozen=True, eq=False)
class Flat:
    """A flattened subpath: ``points`` (n, 2), no two consecutive equal, the first not repeated.

    ``joints`` (n,) tells which points are ends of segments as drawn, the others lie inside curves.
    """

    points: Points
    joints: npt.NDArray[np.bool_]
    closed: bool


def flatten(subpath: Subpath, error: float = CHORD_ERROR_MM) -> Flat:
    """Replace curves by chords that stay within ``error`` (same unit as the points) of them.

    The number of chords comes from the bound |B''| h² / 8 on the distance between a curve and
    its chord (de Boor, A Practical Guide to Splines, from memory), with B'' bounded by the second
    differences of the control points. Raises ArtworkError for more than ``MOST_POINTS`` points.
    """
    degrees = subpath.degrees
    if not len(degrees) or degrees.max() == 1:
        points, joints = subpath.points, np.ones(len(subpath.points), dtype=np.bool_)
    else:
        points, joints = _chords(subpath.points, degrees, error)
    return _without_repeats(points, joints, subpath.closed)


def _chords(
    control: Points, degrees: npt.NDArray[np.int8], error: float
) -> tuple[Points, npt.NDArray[np.bool_]]:
    ends = np.cumsum(degrees, dtype=np.int64)
    starts = ends - degrees
    count = np.ones(len(degrees), dtype=np.int64)
    for degree, factor in ((2, 0.25), (3, 0.75)):
        which = np.flatnonzero(degrees == degree)
        if len(which):
            nodes = control[starts[which][:, None] + np.arange(degree + 1)]
            bend = np.hypot(*np.moveaxis(np.diff(nodes, n=2, axis=1), -1, 0)).max(axis=1)
            need = np.ceil(np.sqrt(factor * bend / error))
            count[which] = np.clip(need, 1, _MOST_CHORDS).astype(np.int64)
    total = int(count.sum())
    if total > MOST_POINTS:
        raise ArtworkError(f"a path with {total:,} points is too large (most {MOST_POINTS:,})")
    out = np.empty((total + 1, 2))
    out[0] = control[0]
    last = np.cumsum(count)
    out[last] = control[ends]
    for degree in (2, 3):
        which = np.flatnonzero((degrees == degree) & (count > 1))
        if len(which):
            inner = count[which] - 1
            segment = np.repeat(which, inner)
            step = np.arange(len(segment)) - np.repeat(np.cumsum(inner) - inner, inner) + 1
            t = (step / count[segment])[:, None]
            nodes = control[starts[segment][:, None] + np.arange(degree + 1)]
            place = last[segment] - count[segment] + step
            out[place] = _bezier(nodes, t)
    joints = np.zeros(total + 1, dtype=np.bool_)
    joints[0] = True
    joints[last] = True
    return out, joints


def _bezier(nodes: Points, t: Points) -> Points:
    """Evaluate by de Casteljau's algorithm, which stays within the control polygon."""
    levels = [nodes[:, k] for k in range(nodes.shape[1])]
    while len(levels) > 1:
        levels = [a + (b - a) * t for a, b in pairwise(levels)]
    return levels[0]


def _without_repeats(points: Points, joints: npt.NDArray[np.bool_], closed: bool) -> Flat:
    keep = np.ones(len(points), dtype=np.bool_)
    keep[1:] = (np.abs(np.diff(points, axis=0)) > 0.0).any(axis=1)
    if not keep.all():
        group = np.cumsum(keep) - 1
        merged = np.zeros(int(group[-1]) + 1, dtype=np.bool_)
        np.logical_or.at(merged, group, joints)
        points, joints = points[keep], merged
    if closed and len(points) > 1 and (points[0] == points[-1]).all():
        points, joints = points[:-1], joints[:-1]
    return Flat(points, joints, closed)


def transformed(subpath: Subpath, matrix: Points) -> Subpath:
    """Return the subpath under a 2 × 3 affine matrix; exact for lines and Béziers."""
    return Subpath(subpath.points @ matrix[:, :2].T + matrix[:, 2], subpath.degrees, subpath.closed)


def arc_cubics(
    start: tuple[float, float],
    radii: tuple[float, float],
    rotation: float,
    large: bool,
    sweep: bool,
    end: tuple[float, float],
) -> list[tuple[float, float]]:
    """Return an SVG elliptical arc as cubics: three points a piece, the last one being ``end``.

    ``rotation`` is in degrees; both radii are above zero, and scaled up where too small (SVG 2,
    appendix "Implementation notes", elliptical arcs). [] when start and end are equal. Raises
    ArtworkError for a large arc whose radius is beyond 1e9 times its span.
    """
    (x1, y1), (x2, y2) = start, end
    if (x1, y1) == (x2, y2):
        return []
    rx, ry = abs(radii[0]), abs(radii[1])
    span = math.hypot(x2 - x1, y2 - y1)
    largest = max(rx, ry)
    if largest > 1e9 * span and large:
        raise ArtworkError("an arc's radius is too large")
    if min(rx, ry) < 1e-9 * largest or largest > 1e9 * span:
        thirds = [(x1 + (x2 - x1) * k / 3.0, y1 + (y2 - y1) * k / 3.0) for k in (1, 2)]
        return [*thirds, end]
    if largest < 1e-6 * span:  # it is scaled up below; this keeps the squares in range
        rx, ry = rx / largest * 1e-6 * span, ry / largest * 1e-6 * span
    phi = math.radians(rotation % 360.0)
    cos_phi, sin_phi = math.cos(phi), math.sin(phi)
    dx, dy = (x1 - x2) / 2.0, (y1 - y2) / 2.0
    u, v = (cos_phi * dx + sin_phi * dy) / rx, (cos_phi * dy - sin_phi * dx) / ry
    size = u * u + v * v
    if size > 1.0:
        rx, ry = rx * math.sqrt(size), ry * math.sqrt(size)
        u, v, size = u / math.sqrt(size), v / math.sqrt(size), 1.0
    root = math.sqrt(max(0.0, 1.0 / size - 1.0)) * (-1.0 if large == sweep else 1.0)
    centre_u, centre_v = root * v, -root * u
    theta = math.atan2(v - centre_v, u - centre_u)
    delta = math.atan2(-v - centre_v, -u - centre_u) - theta
    if sweep and delta < 0.0:
        delta += math.tau
    elif not sweep and delta > 0.0:
        delta -= math.tau
    mid_x, mid_y = (x1 + x2) / 2.0, (y1 + y2) / 2.0

    # the unit circle onto the ellipse: columns of the map, and the centre
    px, py, qx, qy = cos_phi * rx, sin_phi * rx, -sin_phi * ry, cos_phi * ry
    x0 = mid_x + px * centre_u + qx * centre_v
    y0 = mid_y + py * centre_u + qy * centre_v
    pieces = max(1, math.ceil(abs(delta) / _ARC_PIECE - 1e-9))
    step = delta / pieces
    k = 4.0 / 3.0 * math.tan(step / 4.0)
    points: list[tuple[float, float]] = []
    cos, sin = math.cos(theta), math.sin(theta)
    for piece in range(1, pieces + 1):
        a, b = cos - k * sin, sin + k * cos
        points.append((x0 + px * a + qx * b, y0 + py * a + qy * b))
        cos, sin = math.cos(theta + piece * step), math.sin(theta + piece * step)
        a, b = cos + k * sin, sin - k * cos
        points.append((x0 + px * a + qx * b, y0 + py * a + qy * b))
        points.append((x0 + px * cos + qx * sin, y0 + py * cos + qy * sin))
    points[-1] = end
    return points
