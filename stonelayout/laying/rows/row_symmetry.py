"""Mirror-symmetric drawings get mirror-symmetric rows.

A closed row by itself starts on its axis (``tracks.row_curves.own_start``). Where rows meet, and
among several curves, the result may still differ from side to side: then one side and its mirror
image replace both (``mirrored_stones``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.neighbours import ROUNDING, pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline, lines_through
from stonelayout.geometry.symmetry import NEARLY_MM, SAME_PLACE_MM, curves_alike, image
from stonelayout.laying.rows.tracks.size_runs import Sizes

from .row_state import RowState

#: A stone too near to its own image is put on the axis if that lies on a row, or misses one by
#: no more than this share of its pitch.
_OFF_ROW = 0.12
#: Shapes with stones nearer than this to each other, in pitches, are mirrored together or not.
_MEETS = 1.5
#: What a symmetric layout may cost: this share of the stones, and one.
_COST = 0.01
#: Where nothing is drawn, in mm.
_NOWHERE = -1e9

Flags = npt.NDArray[np.bool_]
Numbers = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class RowStones:
    """Stones of several asks: ``centres`` (n, 2) in mm, ``size`` (n,), ``ask`` (n,) and the
    number of the ``row`` (n,) that each stands in, -1 where another's mirror image was laid.
    """

    centres: Points
    size: Sizes
    ask: Numbers
    row: Numbers

    def __len__(self) -> int:
        return len(self.centres)

    def only(self, which: Flags) -> RowStones:
        """Return some of the stones."""
        return RowStones(self.centres[which], self.size[which], self.ask[which], self.row[which])

    def and_(self, *others: RowStones) -> RowStones:
        """Return these stones and others."""
        all_ = (self, *others)
        return RowStones(
            np.concatenate([stones.centres for stones in all_]),
            np.concatenate([stones.size for stones in all_]),
            np.concatenate([stones.ask for stones in all_]),
            np.concatenate([stones.row for stones in all_]),
        )


@dataclass(frozen=True)
class _Axis:
    """A line of symmetry: where x (``axis`` 0) or y (1) is ``level``; which ask mirrors which."""

    axis: int
    level: float
    partner: dict[int, int]

    def image(self, points: Points) -> Points:
        """Return mirrored points (n, 2)."""
        return image(points, self.axis, self.level)

    def are_images(self, one: Sequence[Polyline], two: Sequence[Polyline]) -> bool:
        """Tell whether curves are, to the eye, the mirror images of others."""
        return curves_alike(one, two, self.axis, self.level, NEARLY_MM)

    def onto(self, points: Points) -> Points:
        """Return points (n, 2) moved onto the axis."""
        found = points.copy()
        found[:, self.axis] = self.level
        return found


def mirrored_stones(
    stones: RowStones,
    drawn: Sequence[Sequence[Polyline]],
    rows: Sequence[RowState],
    pitches: Points,
    clear: Callable[[RowStones], bool],
) -> RowStones:
    """Return stones made symmetric about the upright and level axes of what was ``drawn``.

    First those of all asks together, then those of each. Where a side has its mirror image laid
    otherwise, one of the two (that with more stones) is laid on both sides, unless that costs
    stones. Whole rows round an axis stay, as an odd number of stones has one axis at most.
    ``pitches`` (sizes,) in mm; ``clear`` tells whether stones keep off what was laid before.
    """
    groups = [list(range(len(drawn)))] if len(drawn) > 1 else []
    groups += [[k] for k in range(len(drawn))]
    meeting = _meeting(stones, pitches)
    for group in groups:
        paths = [path for k in group for path in drawn[k] if path.length > 0]
        mine = np.isin(stones.ask, group)
        if not paths or not mine.any():
            continue
        if len(group) == 1 and group[0] in meeting:
            continue
        for axis in (0, 1):
            about = _axis(paths, axis, group, drawn)
            fresh = None if about is None else _mirrored(stones, about, rows, pitches)
            if fresh is not None and clear(fresh):
                stones = fresh
                meeting = _meeting(stones, pitches)
    return stones


def _meeting(stones: RowStones, pitches: Points) -> set[int]:
    """Return the asks with stones near those of others."""
    pairs, _ = pairs_nearer(stones.centres, _MEETS * float(pitches.max()))
    asks = stones.ask[pairs]
    return set(asks[asks[:, 0] != asks[:, 1]].ravel().tolist())


def _axis(
    paths: list[Polyline], axis: int, group: list[int], drawn: Sequence[Sequence[Polyline]]
) -> _Axis | None:
    """Return the axis of symmetry of a group through the middle of its curves, by length."""
    from scipy.spatial import KDTree

    total = sum(path.length for path in paths)
    moment = sum(
        float((np.diff(path.along) * (path.points[1:, axis] + path.points[:-1, axis])).sum())
        for path in paths
    )
    about = _Axis(axis, moment / (2 * total), {})
    boxes = np.array([_box(drawn[k]) for k in group]).reshape(-1, 4)
    images = np.sort(about.image(boxes.reshape(-1, 2)).reshape(-1, 2, 2), axis=1).reshape(-1, 4)
    tree = KDTree(np.where(np.isfinite(boxes), boxes, _NOWHERE))
    for k, box in zip(group, np.where(np.isfinite(images), images, _NOWHERE), strict=True):
        near = sorted(tree.query_ball_point(box, NEARLY_MM, p=np.inf))
        alike = next((group[j] for j in near if about.are_images(drawn[k], drawn[group[j]])), None)
        if alike is None:
            return None
        about.partner[k] = alike
    return about


def _box(paths: Sequence[Polyline]) -> Points:
    """Return the box (4,) about curves: least and greatest x and y; nan without any."""
    if not paths:
        return np.full(4, np.nan)
    points = np.concatenate([path.points for path in paths])
    return np.concatenate((points.min(axis=0), points.max(axis=0)))


def _mirrored(
    stones: RowStones, about: _Axis, rows: Sequence[RowState], pitches: Points
) -> RowStones | None:
    """Return the stones with one side of an axis laid on both, or None where that is worse."""
    whole = [
        k
        for k, row in enumerate(rows)
        if row.ask in about.partner
        and row.path.closed
        and not row.lost
        and not row.given
        and not row.pinned.any()
        and np.count_nonzero(stones.row == k) > 1
        and about.are_images([row.path], [row.path])
    ]
    mine = np.isin(stones.ask, list(about.partner)) & ~np.isin(stones.row, whole)
    rest, moving = stones.only(~mine), stones.only(mine)
    if not len(moving) or _missed(moving.centres, about.image(moving.centres)) <= SAME_PLACE_MM:
        return None
    lines = lines_through([row.path for row in rows if row.ask in about.partner])
    both = [_one_side(moving, rest, side, about, lines, pitches) for side in (-1.0, 1.0)]
    best = both[1] if len(both[1]) > len(both[0]) else both[0]
    if len(best) < len(stones) - 1 - _COST * len(moving):
        return None
    pairs, length = pairs_nearer(best.centres, float(pitches.max()))
    short = length < pitches[best.size[pairs]].mean(axis=1) * (1 - ROUNDING)
    return None if short.any() else best


def _one_side(
    moving: RowStones,
    rest: RowStones,
    side: float,
    about: _Axis,
    lines: BaseGeometry,
    pitches: Points,
) -> RowStones:
    """Return all stones with those on one side of the axis laid on both."""
    away = side * (moving.centres[:, about.axis] - about.level)
    on = moving.only(np.abs(away) <= SAME_PLACE_MM)
    on = RowStones(about.onto(on.centres), on.size, on.ask, on.row)
    near = (away > -NEARLY_MM) & (2 * away < pitches[moving.size] * (1 - ROUNDING))
    near &= np.abs(away) > SAME_PLACE_MM
    half = moving.only((away > SAME_PLACE_MM) & ~near)
    partner = np.array([about.partner[int(k)] for k in half.ask], dtype=np.intp)
    other = RowStones(about.image(half.centres), half.size, partner, np.full(len(half), -1))
    found = rest.and_(half, other, on)
    for k in np.flatnonzero(near):
        one = moving.only(np.arange(len(moving)) == k)
        pitch = pitches[one.size[0]]
        for place in _on_axis(one.centres, about, lines, pitch):
            away = np.hypot(*(found.centres - place).T)
            if (away >= (pitch + pitches[found.size]) / 2).all():
                found = found.and_(RowStones(place[None], one.size, one.ask, one.row))
                break
    return found


def _on_axis(centre: Points, about: _Axis, lines: BaseGeometry, pitch: float) -> Points:
    """Return places (k, 2) on the axis for a stone too near to its image, the nearest first.

    Straight across, if a row is near there, and where rows within a pitch cross the axis.
    """
    across = about.onto(centre)
    along = np.roll(np.array([[0.0, pitch]]), about.axis, axis=1)
    ray = shapely.LineString(np.concatenate((across - along, across + along)))
    met = shapely.get_coordinates(shapely.intersection(lines, ray))
    met = met[np.argsort(np.hypot(*(met - across).T), kind="stable")]
    near = lines.distance(shapely.Point(across[0])) <= _OFF_ROW * pitch
    return np.concatenate((across, met)) if near else met


def _missed(spots: Points, images: Points) -> float:
    from scipy.spatial import KDTree

    away = np.asarray(KDTree(spots).query(images)[0])
    return float(away.max())
