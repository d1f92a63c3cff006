"""Curves: subpaths of lines and Béziers, flattened to a chord error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.errors import ArtworkError

from .points import Points

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
    count = np.ones(len(degrees), dtype=np.int64)
    groups = []
    for degree, factor in ((2, 0.25), (3, 0.75)):
        which = np.flatnonzero(degrees == degree)
        if len(which):
            nodes = control[ends[which, None] + np.arange(-degree, 1)]
            sides = nodes[:, 1:] - nodes[:, :-1]
            bends = sides[:, 1:] - sides[:, :-1]
            bend = np.hypot(bends[..., 0], bends[..., 1]).max(axis=1)
            need = np.ceil(np.sqrt(factor * bend / error))
            count[which] = np.minimum(np.maximum(need, 1), _MOST_CHORDS)
            groups.append((which, nodes))
    last = np.cumsum(count)
    total = int(last[-1])
    if total > MOST_POINTS:
        raise ArtworkError(f"a path with {total:,} points is too large (most {MOST_POINTS:,})")
    out = np.empty((total + 1, 2))
    out[0] = control[0]
    out[last] = control[ends]
    for which, nodes in groups:
        inner = count[which] - 1
        before = np.cumsum(inner) - inner
        segment = np.repeat(np.arange(len(which)), inner)
        step = np.arange(1, len(segment) + 1) - before[segment]
        whole = count[which][segment]
        out[last[which][segment] - whole + step] = _bezier(nodes[segment], step / whole)
    joints = np.zeros(total + 1, dtype=np.bool_)
    joints[0] = True
    joints[last] = True
    return out, joints


def _bezier(nodes: Points, t: npt.NDArray[np.float64]) -> Points:
    """Evaluate by de Casteljau's algorithm, which stays within the control polygon."""
    while nodes.shape[1] > 1:
        first = nodes[:, :-1]
        nodes = first + (nodes[:, 1:] - first) * t[:, None, None]
    return nodes[:, 0]


def _without_repeats(points: Points, joints: npt.NDArray[np.bool_], closed: bool) -> Flat:
    repeats = (points[1:] == points[:-1]).all(axis=1)
    if repeats.any():
        keep = np.concatenate(([True], ~repeats))
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
