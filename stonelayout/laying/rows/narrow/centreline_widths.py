"""Stretches of a shape's centre line, and where they are too narrow for two rows."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from stonelayout.geometry.centreline import centreline
from stonelayout.geometry.centreline_paths import parts_with_room, reaching_out
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

from .row_branching import RowRings

#: Places a pitch at which the room along a centre line is looked at.
_PLACES = 16
#: Samples of an outline a pitch, to find its centre line.
_SAMPLES = 5.0
#: A side branch of the centre line is kept if it is narrow along this much, in pitches: one into a
#: tip of 65 degrees is.
SPECK = 0.9
#: A stub on a joint with a radius below so much of the least that is wide gets its stone.
_STUB = 1.25
#: Of two rows between the outer outline and a hole that come only a little nearer than a pitch, one
#: loses stones; one row between them is better where they are nearer than this, in pitches.
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
class CentrelineStretch:
    """A stretch of centre line on which stones have room.

    At the places ``s`` (n,), arc lengths in mm, ``narrow`` (n,) tells where two rows would be
    nearer to each other than a pitch, ``thin`` (n,) where one between them is better than one of
    them. ``joints`` names the joint at each end, None at an end of the line; ``opens`` tells for
    both ends whether the line stops there in a wide part (it is lost where the sides of a narrow
    mouth are all that is near).
    """

    path: Polyline
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


def stretches_of(polygon: Polygon, floor: float, pitch: float) -> list[CentrelineStretch]:
    """Return the stretches in a polygon on which stones keep ``floor`` mm from its outline."""
    wide = floor + pitch / 2

    def wanted(points: Points, radius: Points) -> bool:
        steps = np.hypot(*np.diff(points, axis=0).T)
        middle = (radius[1:] + radius[:-1]) / 2
        room = middle >= floor
        if float(steps[room & (middle < wide)].sum()) > SPECK * pitch:
            return True
        return bool(radius[0] < _STUB * wide) and float(steps[room].sum()) > pitch

    stretches: list[CentrelineStretch] = []
    for branch in centreline(polygon, pitch / _SAMPLES, wanted):
        path = reaching_out(branch, polygon, max(floor, 0.01 * pitch))
        ends = [
            None if free else tuple(branch.points[k].tolist())
            for k, free in zip((0, -1), branch.free, strict=True)
        ]
        parts = parts_with_room(path, polygon, floor, pitch)
        for k, (part, fits) in enumerate(parts):
            if fits and part.length > 1e-6:
                first, last = k == 0, k == len(parts) - 1
                joints = (ends[0] if first else None, ends[1] if last else None)
                stretches.append(_stretch(part, joints, polygon, wide, pitch))
    return stretches


def _stretch(
    path: Polyline,
    joints: tuple[Spot | None, Spot | None],
    polygon: Polygon,
    wide: float,
    pitch: float,
) -> CentrelineStretch:
    s = np.linspace(0, path.length, max(int(path.length / pitch * _PLACES), 4) + 1)
    narrow, thin = _narrow(path.at(s), polygon, wide, pitch)
    if path.closed:
        joints = (None, None)
        if narrow.any() and not narrow.all():
            turned = path.from_place(float(s[np.argmin(narrow)]))
            path = Polyline(turned.points, False, turned.along)
            narrow, thin = _narrow(path.at(s), polygon, wide, pitch)
    return CentrelineStretch(path, s, narrow, thin, joints)


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


def settle_widths(stretches: list[CentrelineStretch], rings: RowRings, floor: float) -> None:
    """Make what is narrow only in passing wide, and wide only in passing narrow."""
    for stretch in stretches:
        if not stretch.path.closed:
            ends = (stretch.path.turned(), stretch.path)
            first, last = (
                joint is None and rings.opening(path, path.length, rings.pitch) is not None
                for path, joint in zip(ends, stretch.joints, strict=True)
            )
            stretch.opens = first, last
    _widen_unless_thin(stretches, rings.pitch)
    _narrow_islands(stretches, _ISLAND * rings.pitch)
    least = (_TIP if floor else _TIP_ON_LINE) * rings.pitch
    for stretch in stretches:
        for run in stretch.runs(True):
            free = stretch.free(run)
            if free[0] != free[1] and any(stretch.mouths(run)):
                ends_at = stretch.s[list(run)].tolist()
                tip, mouth = ends_at if free[0] else ends_at[::-1]
                opens = rings.first_opening(stretch.path, tip, mouth)
                if opens is None or abs(opens - tip) < least:
                    stretch.mark(run, False)


def _narrow_islands(stretches: list[CentrelineStretch], most: float) -> None:
    """Make wide stretches narrow that are shorter than ``most`` mm, as far as joints go."""
    for stretch in stretches:
        for run in stretch.runs(False):
            between = (run[0] > 0 or stretch.free(run)[0]) and (
                run[1] < stretch.last or stretch.free(run)[1]
            )
            if between and run != (0, stretch.last) and stretch.length(run) < most:
                stretch.mark(run, True)
    for arms in _at_joints(stretches, False).values():
        if all(stretch.length(run) < most for stretch, run in arms) and any(
            run != (0, stretch.last) for stretch, run in arms
        ):
            for stretch, run in arms:
                stretch.mark(run, True)


def _at_joints(
    stretches: list[CentrelineStretch], narrow: bool
) -> dict[Spot, list[tuple[CentrelineStretch, Run]]]:
    found: dict[Spot, list[tuple[CentrelineStretch, Run]]] = {}
    for stretch in stretches:
        for run in stretch.runs(narrow):
            for joint in stretch.at_joints(run):
                found.setdefault(joint, []).append((stretch, run))
    return found


def _widen_unless_thin(stretches: list[CentrelineStretch], pitch: float) -> None:
    """Make narrow runs wide unless they, or others they meet at narrow joints, are thin."""
    runs = [(k, run) for k, stretch in enumerate(stretches) for run in stretch.runs(True)]
    group = {key: key for key in runs}

    def root(key: tuple[int, Run]) -> tuple[int, Run]:
        while group[key] != key:
            key = group[key]
        return key

    first: dict[Spot, tuple[int, Run]] = {}
    for k, run in runs:
        for joint in stretches[k].at_joints(run):
            group[root((k, run))] = root(first.setdefault(joint, (k, run)))
    most: dict[tuple[int, Run], float] = {}
    for k, run in runs:
        stretch = stretches[k]
        length = float(stretch.thin[run[0] : run[1] + 1].sum()) * float(stretch.s[1])
        most[root((k, run))] = max(most.get(root((k, run)), 0.0), length)
    for k, run in runs:
        if most[root((k, run))] < _LEAST * pitch:
            stretches[k].mark(run, False)
