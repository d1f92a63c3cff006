"""Strands: stretches of a shape's centre line, and where it is too narrow there for two rows."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from stonelayout.geometry.centreline import centreline
from stonelayout.geometry.centreline_paths import brought_out, cut
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Path

from .row_branching import Rims

#: Places a pitch at which the room along a centre line is looked at.
_PLACES = 16
#: Samples of an outline a pitch, to find its centre line.
_SAMPLES = 5.0
#: A branch is no whisker if it is narrow along this much, in pitches: a tip of 65 degrees is.
SPECK = 0.9
#: A stub on a joint with a radius below so much of the least that is wide gets its stone.
_STUB = 1.25
#: Between the outer outline and a hole two rows that hardly collide give way to one of them; one
#: between them is better where they would stand nearer to each other than this, in pitches.
_BESIDE_HOLE = 0.7
#: An arm is narrow along this much at least, in pitches; the end of any stroke is along half one.
_LEAST = 0.6
#: A wide stretch between narrow ones shorter than this, in pitches, is no place for two rows.
_ISLAND = 1.5
#: A tip takes a second stone on its centre line from so many pitches on (a tip of 50 degrees; one
#: of 30 if the row stands on the outline itself).
_TIP, _TIP_ON_LINE = 0.23, 1.0

Flags = npt.NDArray[np.bool_]
Spot = tuple[float, ...]
Run = tuple[int, int]


@dataclass(eq=False)
class Strand:
    """A stretch of centre line on which stones have room.

    At the places ``s`` (n,), arc lengths in mm, ``narrow`` (n,) tells where two rows would be
    nearer to each other than a pitch, ``thin`` (n,) where one between them is better than one of
    them. ``joints`` names the joint at each end, None at an end of the line; ``opens`` tells for
    both ends whether the line stops there in a wide part (it is lost where the sides of a narrow
    mouth are all that is near).
    """

    path: Path
    s: Points
    narrow: Flags
    thin: Flags
    joints: tuple[Spot | None, Spot | None]
    opens: tuple[bool, bool] = (False, False)

    @property
    def last(self) -> int:
        """Number of the last place."""
        return len(self.s) - 1

    def runs(self, narrow: bool) -> list[Run]:
        """Return the runs of places (first, last) that are narrow, or that are not."""
        edges = np.flatnonzero(np.diff(self.narrow)) + 1
        cuts = [0, *edges.tolist(), len(self.s)]
        return [(a, b - 1) for a, b in itertools.pairwise(cuts) if self.narrow[a] == narrow]

    def length(self, run: Run) -> float:
        """Return the length in mm of a run."""
        return float(self.s[run[1]] - self.s[run[0]])

    def mark(self, run: Run, narrow: bool) -> None:
        """Make a run narrow or wide."""
        self.narrow[run[0] : run[1] + 1] = narrow

    def free(self, run: Run) -> tuple[bool, bool]:
        """Tell for both ends of a run whether the line ends there, at no joint."""
        open_ = not self.path.closed
        return (
            open_ and run[0] == 0 and self.joints[0] is None and not self.opens[0],
            open_ and run[1] == self.last and self.joints[1] is None and not self.opens[1],
        )

    def mouths(self, run: Run) -> tuple[bool, bool]:
        """Tell for both ends of a run whether what follows is wide."""
        return run[0] > 0 or self.opens[0], run[1] < self.last or self.opens[1]

    def at_joints(self, run: Run) -> Iterator[Spot]:
        """Yield the joints at the ends of a run."""
        for joint, place, end in zip(self.joints, run, (0, self.last), strict=True):
            if joint is not None and place == end:
                yield joint


def strands_of(polygon: Polygon, floor: float, pitch: float) -> list[Strand]:
    """Return the strands of a polygon whose stones keep ``floor`` mm from its outline."""
    wide = floor + pitch / 2

    def wanted(points: Points, radius: Points) -> bool:
        steps = np.hypot(*np.diff(points, axis=0).T)
        middle = (radius[1:] + radius[:-1]) / 2
        room = middle >= floor
        if float(steps[room & (middle < wide)].sum()) > SPECK * pitch:
            return True
        return bool(radius[0] < _STUB * wide) and float(steps[room].sum()) > pitch

    strands: list[Strand] = []
    for branch in centreline(polygon, pitch / _SAMPLES, wanted):
        path = brought_out(branch, polygon, max(floor, 0.01 * pitch))
        ends = [
            None if free else tuple(branch.points[k].tolist())
            for k, free in zip((0, -1), branch.free, strict=True)
        ]
        parts = cut(path, polygon, floor, pitch)
        for k, (part, fits) in enumerate(parts):
            if fits and part.length > 1e-6:
                first, last = k == 0, k == len(parts) - 1
                joints = (ends[0] if first else None, ends[1] if last else None)
                strands.append(_strand(part, joints, polygon, wide, pitch))
    return strands


def _strand(
    path: Path, joints: tuple[Spot | None, Spot | None], polygon: Polygon, wide: float, pitch: float
) -> Strand:
    s = np.linspace(0, path.length, max(int(path.length / pitch * _PLACES), 4) + 1)
    narrow, thin = _narrow(path.at(s), polygon, wide, pitch)
    if path.closed:
        joints = (None, None)
        if narrow.any() and not narrow.all():
            turned = path.from_place(float(s[np.argmin(narrow)]))
            path = Path(turned.points, False, turned.along)
            narrow, thin = _narrow(path.at(s), polygon, wide, pitch)
    return Strand(path, s, narrow, thin, joints)


def _narrow(spots: Points, polygon: Polygon, wide: float, pitch: float) -> tuple[Flags, Flags]:
    points = np.asarray(shapely.points(spots))
    shapely.prepare(polygon.exterior)
    outer = np.asarray(shapely.distance(points, polygon.exterior))
    inner = np.full(len(spots), np.inf)
    if polygon.interiors:
        holes = shapely.union_all(list(polygon.interiors))
        shapely.prepare(holes)
        inner = np.asarray(shapely.distance(points, holes))
    away = np.minimum(outer, inner)
    narrow = np.asarray(away < wide - 1e-6 * pitch)
    beside_hole = np.abs(outer - inner) < 0.1 * pitch
    thin = narrow & (~beside_hole | (away < wide - (1 - _BESIDE_HOLE) * pitch / 2))
    return narrow, np.asarray(thin)


def settle(strands: list[Strand], rims: Rims, floor: float) -> None:
    """Make what is narrow only in passing wide, and wide only in passing narrow."""
    for strand in strands:
        if not strand.path.closed:
            ends = (strand.path.turned(), strand.path)
            first, last = (
                joint is None and rims.opening(path, path.length, rims.pitch) is not None
                for path, joint in zip(ends, strand.joints, strict=True)
            )
            strand.opens = first, last
    _widen_unless_thin(strands, rims.pitch)
    _narrow_islands(strands, _ISLAND * rims.pitch)
    least = (_TIP if floor else _TIP_ON_LINE) * rims.pitch
    for strand in strands:
        for run in strand.runs(True):
            free = strand.free(run)
            if free[0] != free[1] and any(strand.mouths(run)):
                ends_at = strand.s[list(run)].tolist()
                tip, mouth = ends_at if free[0] else ends_at[::-1]
                opens = rims.first_opening(strand.path, tip, mouth)
                if opens is None or abs(opens - tip) < least:
                    strand.mark(run, False)


def _narrow_islands(strands: list[Strand], most: float) -> None:
    """Make wide stretches narrow that are shorter than ``most`` mm, as far as joints go."""
    for strand in strands:
        for run in strand.runs(False):
            between = (run[0] > 0 or strand.free(run)[0]) and (
                run[1] < strand.last or strand.free(run)[1]
            )
            if between and run != (0, strand.last) and strand.length(run) < most:
                strand.mark(run, True)
    for arms in _at_joints(strands, False).values():
        if all(strand.length(run) < most for strand, run in arms) and any(
            run != (0, strand.last) for strand, run in arms
        ):
            for strand, run in arms:
                strand.mark(run, True)


def _at_joints(strands: list[Strand], narrow: bool) -> dict[Spot, list[tuple[Strand, Run]]]:
    found: dict[Spot, list[tuple[Strand, Run]]] = {}
    for strand in strands:
        for run in strand.runs(narrow):
            for joint in strand.at_joints(run):
                found.setdefault(joint, []).append((strand, run))
    return found


def _widen_unless_thin(strands: list[Strand], pitch: float) -> None:
    """Make narrow runs wide unless they, or others they meet at narrow joints, are thin."""
    runs = [(k, run) for k, strand in enumerate(strands) for run in strand.runs(True)]
    group = {key: key for key in runs}

    def root(key: tuple[int, Run]) -> tuple[int, Run]:
        while group[key] != key:
            key = group[key]
        return key

    first: dict[Spot, tuple[int, Run]] = {}
    for k, run in runs:
        for joint in strands[k].at_joints(run):
            group[root((k, run))] = root(first.setdefault(joint, (k, run)))
    most: dict[tuple[int, Run], float] = {}
    for k, run in runs:
        strand = strands[k]
        length = float(strand.thin[run[0] : run[1] + 1].sum()) * float(strand.s[1])
        most[root((k, run))] = max(most.get(root((k, run)), 0.0), length)
    for k, run in runs:
        if most[root((k, run))] < _LEAST * pitch:
            strands[k].mark(run, False)
