"""Curves: subpaths of lines and Béziers, flattened to a chord error."""

from __future__ import annotations

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
