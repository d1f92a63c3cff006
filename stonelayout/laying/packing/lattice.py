"""The ``lattice`` pattern: a regular grid, at the angle and offset that place the most stones."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import SLACK_MM
from stonelayout.geometry.regions import sides_of
from stonelayout.laying.common.ask import Ask, Laid
from stonelayout.laying.common.part_fill import Part, fill_parts
from stonelayout.laying.rows.middle_row import middle_row

#: Angles tried, in degrees: finer steps add at most one stone (algorithm study, 24 against 60).
ANGLE_STEP = 2.5
#: Offsets tried across the rows, in shares of a row spacing.
OFFSETS = 16
#: Sides at least this many pitches long lend their direction to the search, at most so many.
LONG_SIDE, MOST_SIDES = 3.0, 6
#: Of so many equal counts at one angle the best centred is taken.
MOST_TIES = 24


@dataclass(frozen=True, eq=False)
class _Rows:
    """Where rows of several offsets cross a room: chords [start, stop] with their row's phase."""

    offset: npt.NDArray[np.intp]
    height: Points
    start: Points
    stop: Points
    shift: Points


@dataclass(frozen=True)
class Grid:
    """A grid's place: ``angle`` in radians, ``across`` and ``along`` the rows in mm."""

    angle: float
    across: float
    along: float


def lay_lattice(ask: Ask) -> Laid:
    """Lay a regular grid on each part of the region.

    Options: ``grid`` (hex or square), ``angle`` (degrees against the page's horizontal, None for
    the best), ``edge_row``, ``margin``. Counts are exact for each angle and offset: a scan line a
    row gives chords, and the best phase along the rows is where most of their arcs overlap.
    """

    def grid(part: Part) -> Points:
        return best_lattice(
            part.room,
            part.sizes[0].pitch,
            square=part.options.get("grid") == "square",
            angles=_fixed_angle(part),
            mirrors=part.mirrors,
        )

    def fill(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
        if part.options.get("edge_row"):
            from stonelayout.laying.common.outline_smoothing import smoothed_part
            from stonelayout.laying.courses.edge_row import fill_behind_edge_row

            found = fill_behind_edge_row(smoothed_part(part), grid)
        else:
            found = grid(part)
        return found, np.zeros(len(found), dtype=np.intp)

    return fill_parts(ask, fill, middle_row, beside=True)


def _fixed_angle(part: Part) -> tuple[float, ...] | None:
    angle = part.options.get("angle")
    if angle is None:
        return None
    local = part.frame.turn @ np.array(
        [math.cos(math.radians(angle)), math.sin(math.radians(angle))]
    )
    return (math.atan2(local[1], local[0]),)


def best_lattice(
    room: BaseGeometry,
    pitch: float,
    *,
    square: bool = False,
    angles: tuple[float, ...] | None = None,
    mirrors: tuple[bool, bool] = (False, False),
) -> Points:
    """Return the points (n, 2) of the grid that has the most points in a room of polygons.

    ``mirrors`` asks for a grid that is symmetric about x = 0 and about y = 0; it then has its
    rows along one of these lines. Of equal counts the first angle wins, then the best centred.
    """
    if room.is_empty:
        return np.empty((0, 2))
    sides = sides_of(room).reshape(-1, 4)
    if angles is None:
        angles = (0.0, math.pi / 2) if any(mirrors) else _angles(sides, pitch, square=square)
    best: list[Grid] = []
    most = 0
    for angle in angles:
        fixed = _axes(angle, mirrors)
        found = _best_offsets(sides, pitch, angle, fixed, square=square)
        top = max((count for count, _ in found), default=0)
        if top > most:
            most, best = top, [grid for count, grid in found if count == top]
    if not best:
        return np.asarray(shapely.point_on_surface(room).coords[0], dtype=np.float64)[None, :]
    middle = np.array(shapely.centroid(room).coords[0])
    fills = [lattice_points(sides, pitch, grid, square=square) for grid in best[:MOST_TIES]]
    off = [round(float(np.hypot(*(fill.mean(axis=0) - middle))), 6) for fill in fills]
    return fills[off.index(min(off))]


def _axes(angle: float, mirrors: tuple[bool, bool]) -> tuple[bool, bool]:
    """Tell whether the grid must be symmetric along and across its rows, at an angle."""
    quarter = round(angle / (math.pi / 2), 9)
    if not quarter.is_integer():
        return False, False
    return (mirrors[0], mirrors[1]) if quarter % 2 == 0 else (mirrors[1], mirrors[0])


def _angles(sides: Points, pitch: float, *, square: bool) -> tuple[float, ...]:
    period = math.pi / 2 if square else math.pi / 3
    step = sides[:, 2:] - sides[:, :2]
    length = np.hypot(step[:, 0], step[:, 1])
    bearing = np.mod(np.arctan2(step[:, 1], step[:, 0]), period)
    first = [0.0] if square else [0.0, math.pi / 6]
    exact: dict[float, float] = {}
    weight: dict[float, float] = {}
    for i in np.argsort(-length, kind="stable"):
        key = round(float(bearing[i]), 5) % round(period, 5)
        exact.setdefault(key, float(bearing[i]))
        weight[key] = weight.get(key, 0.0) + float(length[i])
    keys = sorted((k for k in weight if weight[k] >= LONG_SIDE * pitch), key=lambda k: -weight[k])
    long = [exact[k] for k in keys]
    steps = np.arange(0.0, period, math.radians(ANGLE_STEP)).tolist()
    return tuple(dict.fromkeys([*first, *long[:MOST_SIDES], *steps]))


def _turned(sides: Points, angle: float) -> Points:
    """Turn sides so that rows at ``angle`` lie along x."""
    c, s = math.cos(angle), math.sin(angle)
    x0, y0, x1, y1 = sides.T
    return np.stack((c * x0 + s * y0, c * y0 - s * x0, c * x1 + s * y1, c * y1 - s * x1), axis=1)


def _offsets(sides: Points, spacing: float, fixed: bool, *, square: bool) -> Points:
    """Return the offsets to try across the rows: even steps, rows along long sides, centred."""
    if fixed:
        return np.array([0.0, spacing / 2] if square else [0.0])
    low, high = float(sides[:, [1, 3]].min()), float(sides[:, [1, 3]].max())
    middle = (low + high) / 2
    level = np.abs(sides[:, 3] - sides[:, 1]) < SLACK_MM * 10
    run = np.abs(sides[level, 2] - sides[level, 0])
    along = sides[level, 1][np.argsort(-run, kind="stable")[:MOST_SIDES]]
    steps = np.arange(OFFSETS) * (spacing / OFFSETS) + middle
    return np.concatenate(([middle, middle + spacing / 2, low, high], along, steps))


def _rows(sides: Points, offsets: Points, pitch: float, spacing: float, shift: float) -> _Rows:
    """Cut a room (turned) with the rows of each offset. Every second row has a phase shift."""
    low, high = float(sides[:, [1, 3]].min()), float(sides[:, [1, 3]].max())
    first = np.ceil((low - SLACK_MM - offsets) / spacing).astype(np.intp)
    last = np.floor((high + SLACK_MM - offsets) / spacing).astype(np.intp)
    counts = np.maximum(last - first + 1, 0)
    which = np.repeat(np.arange(len(offsets)), counts)
    number = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    number = number + np.repeat(first, counts)
    height = offsets[which] + number * spacing
    cut = np.clip(height, low + SLACK_MM / 4, high - SLACK_MM / 4)
    order = np.argsort(cut, kind="stable")
    bottom, top = np.minimum(sides[:, 1], sides[:, 3]), np.maximum(sides[:, 1], sides[:, 3])
    begin = np.searchsorted(cut[order], bottom, side="left")
    hits = np.searchsorted(cut[order], top, side="left") - begin
    side = np.repeat(np.arange(len(sides)), hits)
    row = order[
        np.arange(hits.sum()) - np.repeat(np.cumsum(hits) - hits, hits) + np.repeat(begin, hits)
    ]
    x0, y0, x1, y1 = sides[side].T
    at = x0 + (cut[row] - y0) * ((x1 - x0) / (y1 - y0))
    order = np.lexsort((at, row))
    at, row = at[order], row[order][::2]
    phase = np.where(number[row] % 2 == 0, 0.0, shift * pitch)
    return _Rows(which[row], height[row], at[::2] - SLACK_MM / 4, at[1::2] + SLACK_MM / 4, phase)


def _best_offsets(
    sides: Points, pitch: float, angle: float, fixed: tuple[bool, bool], *, square: bool
) -> list[tuple[int, Grid]]:
    """Return for each offset across the rows the best place along them, and its count."""
    spacing = pitch if square else pitch * math.sqrt(3) / 2
    turned = _turned(sides, angle)
    offsets = _offsets(turned, spacing, fixed[1], square=square)
    rows = _rows(turned, offsets, pitch, spacing, 0.0 if square else 0.5)
    length = rows.stop - rows.start
    whole = np.floor(length / pitch)
    rest = length - whole * pitch
    arc = np.mod(rows.start - rows.shift, pitch)
    base = np.bincount(rows.offset, whole, len(offsets))
    if fixed[0]:
        found = []
        for along in (0.0, pitch / 2):
            extra = np.mod(along - arc, pitch) <= rest
            total = base + np.bincount(rows.offset, extra, len(offsets))
            found += [
                (int(n), Grid(angle, float(o), along)) for n, o in zip(total, offsets, strict=True)
            ]
        return found
    wraps = arc + rest >= pitch
    base += np.bincount(rows.offset[wraps], minlength=len(offsets))
    end = np.where(wraps, arc + rest - pitch, arc + rest)
    position = np.concatenate((arc, end))
    change = np.repeat((1, -1), len(arc))
    offset = np.tile(rows.offset, 2)
    order = np.lexsort((-change, position, offset))
    position, change, offset = position[order], change[order], offset[order]
    running = np.cumsum(change)
    first = np.searchsorted(offset, np.arange(len(offsets) + 1))
    found = []
    for k in range(len(offsets)):
        span = slice(first[k], first[k + 1])
        if first[k] == first[k + 1]:
            continue
        # after the last event of an offset the running sum is its start again
        level = running[span] - running[first[k + 1] - 1]
        places = position[span]
        width = np.diff(places, append=places[0] + pitch)
        top = np.flatnonzero(level == level.max())
        i = top[np.argmax(width[top])]
        grid = Grid(angle, float(offsets[k]), float(places[i] + width[i] / 2))
        found.append((int(base[k] + level[i]), grid))
    return found


def lattice_points(sides: Points, pitch: float, grid: Grid, *, square: bool = False) -> Points:
    """Return the points (n, 2) of one grid in a room given by its sides (m, 4)."""
    spacing = pitch if square else pitch * math.sqrt(3) / 2
    rows = _rows(
        _turned(sides, grid.angle),
        np.array([grid.across]),
        pitch,
        spacing,
        0.0 if square else 0.5,
    )
    origin = rows.shift + grid.along
    first = np.ceil((rows.start - origin) / pitch).astype(np.intp)
    counts = np.maximum(np.floor((rows.stop - origin) / pitch).astype(np.intp) - first + 1, 0)
    number = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    along = np.repeat(origin, counts) + (number + np.repeat(first, counts)) * pitch
    across = np.repeat(rows.height, counts)
    c, s = math.cos(grid.angle), math.sin(grid.angle)
    return np.stack((c * along - s * across, s * along + c * across), axis=1)
