"""Seams: shapes that touch share the distance their stones keep, so that no row gives way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.regions import rings_of
from stonelayout.laying.common.tolerances import EXACT_MM

Pair = tuple[int, int]
#: A line of an outline, and how wide the gap is there, in mm.
GapLine = tuple[float, BaseGeometry]
Facing = dict[Pair, list[GapLine]]

#: Outlines that miss each other by this much, in mm, are one line: rounding.
SAME_MM = 1e-4
#: Outlines that miss each other by this much, in mm, are one curve, flattened twice.
CURVE_MM = 0.012
#: Wider gaps between two outlines are told apart in so many steps.
STEPS = 8
#: What two shapes share is overlap when it is this wide somewhere, in mm.
OVERLAP_MM = 0.02
#: An outline shorter than so many times what the gap opens on it turns off there: a corner.
STEEP = 3.0
#: An outline that turns by more degrees than this at one place has a corner there.
CORNER = 30.0
#: A row is lost when a place of it lies so many pitches from all that is left.
LOST = 1.0
#: A region with this many rows can spare one.
MANY = 4
#: Corners of a cut stay sharp up to this mitre.
_MITRE = 2.0


@dataclass(frozen=True, eq=False)
class Side:
    """One filled region beside others, and what its stones keep; later sides give way.

    ``sizes`` (k, 2) holds for each size half a pitch and what its centres keep from the outline
    (half a stone and the margin), in mm; ``owner`` names the region: sides of one owner fill it
    together and have no seam.
    """

    region: BaseGeometry
    sizes: tuple[tuple[float, float], ...]
    owner: object

    @property
    def room(self) -> BaseGeometry:
        """The room for centres of the size that gets nearest to the outline, and EXACT_MM more."""
        keep = min(keep for _, keep in self.sizes) - EXACT_MM
        return shapely.buffer(self.region, -keep, quad_segs=16)


def short(first: Side, second: Side) -> float:
    """Return by how much stones of two sides on both edges of a seam stand too near, in mm."""
    return max(
        half + other - keep - kept for half, keep in first.sizes for other, kept in second.sizes
    )


def share_seams(sides: Sequence[Side]) -> list[BaseGeometry]:
    """Return the region of each side with what its seams cost it taken away.

    Where two regions touch, or lie so near that stones on their edges would stand nearer than
    their pitches ask (half of each), both step back alike: the rows on both sides run along the
    seam, a pitch apart, whatever the order. Where a side goes straight on beyond the seam and the
    other region ends there, only the latter steps back, so that the row along that side stays
    straight. A region that would lose one of its few rows keeps its place, and the other makes
    room for it; of two that would lose their only row the earlier. Where regions overlap, the
    later one loses what they share and steps back alone.
    """
    whole = list(sides)
    pairs = _near(whole)
    overlap = {(i, j) for i, j in pairs if _overlap(whole[i].region, whole[j].region)}
    for i, j in pairs:
        if (i, j) in overlap:
            left = shapely.difference(whole[j].region, whole[i].region)
            whole[j] = replace(whole[j], region=_areas(left))
    pairs = [(i, j) for i, j in pairs if not (whole[i].region.is_empty or whole[j].region.is_empty)]
    facing = {
        (a, b): list(_facing(whole[a].region, whole[b].region, short(whole[a], whole[b])))
        for i, j in pairs
        for a, b in ((i, j), (j, i))
    }
    shares = _by_sides(whole, pairs) | {pair: 1.0 for pair in pairs if pair in overlap}
    cut = _cut(whole, shares, facing)
    lost = {
        k: _rows_lost(whole[k], cut[k])
        for k in {k for pair in pairs for k in pair}
        if cut[k] is not whole[k].region
    }
    for i, j in pairs:
        first, second = lost.get(i, MANY), lost.get(j, MANY)
        if (i, j) in overlap:
            continue
        if first != second or first == 1:
            shares[i, j] = 1.0 if first <= second else 0.0
        elif first < MANY:
            shares[i, j] = 0.5
    return _cut(whole, shares, facing) if lost and min(lost.values()) < MANY else cut


def _near(sides: Sequence[Side]) -> list[Pair]:
    """Return the pairs of sides whose stones can stand too near each other, earlier first."""
    if len(sides) < 2:
        return []
    regions = np.array([side.region for side in sides])
    most = max(2 * max(half - keep for half, keep in side.sizes) for side in sides)
    tree = shapely.STRtree(regions)
    found = tree.query(regions, predicate="dwithin", distance=max(most, 0.0)).T
    return [
        (int(i), int(j))
        for i, j in sorted(map(tuple, found))
        if i < j and sides[i].owner != sides[j].owner
    ]


def _overlap(first: BaseGeometry, second: BaseGeometry) -> bool:
    shared = _areas(shapely.intersection(first, second))
    return bool(shared.area) and not shapely.buffer(shared, -OVERLAP_MM / 2).is_empty


def _areas(shape: BaseGeometry) -> BaseGeometry:
    """Return the polygons of what an overlay leaves."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _by_sides(sides: Sequence[Side], pairs: Sequence[Pair]) -> dict[Pair, float]:
    """Return the later side's part of each seam: that of the one whose outline ends there."""
    beside: dict[int, list[int]] = {}
    for i, j in pairs:
        beside.setdefault(i, []).append(j)
        beside.setdefault(j, []).append(i)
    on = {(k, other) for k, others in beside.items() for other in _going_on(sides, k, others)}
    return {(i, j): 0.5 + (((i, j) in on) - ((j, i) in on)) / 2 for i, j in pairs}


def _going_on(sides: Sequence[Side], own: int, others: Sequence[int]) -> list[int]:
    """Return the sides beside which an outline goes straight on, free, for a pitch or more."""
    pitch = 2 * max(half for half, _ in sides[own].sizes)
    near = {
        k: shapely.buffer(sides[k].region, max(short(sides[own], sides[k]), CURVE_MM), quad_segs=4)
        for k in others
    }
    taken = shapely.union_all(list(near.values()))
    runs = [
        run
        for run in _runs(sides[own].region)
        if shapely.difference(run, taken).length >= pitch and run.intersects(taken)
    ]
    return [
        k for k in others if any(shapely.intersection(run, near[k]).length >= pitch for run in runs)
    ]


def _runs(region: BaseGeometry) -> list[BaseGeometry]:
    """Return the outline of a region, parted at its corners."""
    found: list[BaseGeometry] = []
    for ring in rings_of(region):
        step = np.roll(ring, -1, axis=0) - ring
        last = np.roll(step, 1, axis=0)
        cross = last[:, 0] * step[:, 1] - last[:, 1] * step[:, 0]
        turn = np.degrees(np.abs(np.arctan2(cross, (last * step).sum(axis=1))))
        corners = np.flatnonzero(turn > CORNER)
        first = int(corners[0]) if len(corners) else 0
        path = np.concatenate((ring[first:], ring[: first + 1]))
        ends = np.append(corners - first, len(ring)) if len(corners) else np.array([0, len(ring)])
        found += [shapely.LineString(path[a : b + 1]) for a, b in pairwise(ends)]
    return found


def _rows_lost(side: Side, cut: BaseGeometry) -> int:
    """Return which row a cut takes from some part of a region: 1 its only one; MANY for none."""
    left = replace(side, region=cut).room
    pitch = 2 * max(half for half, _ in side.sizes)
    room = side.room
    for rows in range(1, MANY):
        deep = shapely.buffer(room, -(rows - 1) / 2 * pitch, quad_segs=8)
        still = shapely.buffer(left, -(rows - 1) / 2 * pitch + EXACT_MM, quad_segs=8)
        reach = shapely.buffer(still, LOST * pitch, quad_segs=4)
        if not shapely.difference(deep, reach).is_empty:
            return rows
    return MANY


def _cut(sides: Sequence[Side], shares: dict[Pair, float], facing: Facing) -> list[BaseGeometry]:
    """Return the regions, cut back from their seams; ``shares``: the later side's part of each."""
    lines: dict[int, dict[float, list[BaseGeometry]]] = {}
    for (i, j), share in shares.items():
        lacking = short(sides[i], sides[j])
        for own, other, part in ((i, j, 1 - share), (j, i, share)):
            for gap, line in facing[own, other] if part > 0 else ():
                reach = round(gap + part * (lacking - gap), 9)
                lines.setdefault(own, {}).setdefault(reach, []).append(line)
    cut: list[BaseGeometry] = [side.region for side in sides]
    for k, found in lines.items():
        for reach, seams in found.items():
            joined: BaseGeometry = shapely.line_merge(shapely.union_all(seams))
            strip = shapely.buffer(joined, reach, join_style="mitre", mitre_limit=_MITRE)
            cut[k] = shapely.difference(cut[k], strip)
        cut[k] = _areas(cut[k])
    return cut


def _facing(region: BaseGeometry, other: BaseGeometry, lacking: float) -> Iterable[GapLine]:
    """Yield the outline of ``other`` where it faces a region nearer than ``lacking``, with gaps."""
    if lacking <= 0:
        return
    x0, y0, x1, y1 = region.bounds
    pad = lacking + 1.0
    edge = shapely.clip_by_rect(other.boundary, x0 - pad, y0 - pad, x1 + pad, y1 + pad)
    edge = shapely.intersection(edge, shapely.buffer(region, lacking, quad_segs=8))
    last = 0.0
    steps = np.linspace(CURVE_MM, max(lacking, CURVE_MM), STEPS + 1)[1:]
    for gap in (SAME_MM, CURVE_MM, *steps):
        near = edge
        if gap < lacking:
            outer = shapely.buffer(region, gap, quad_segs=8)
            near = shapely.intersection(edge, outer)
            edge = shapely.difference(edge, outer)
        # a line that is short for what the gap opens on it turns off: there the gap is `last`
        for line in shapely.get_parts(near):
            steep = line.length < STEEP * (gap - last)
            wide = last if steep else 0.0 if gap == SAME_MM else float(gap)
            if line.length > 0:
                yield wide, line
        last = float(gap)
        rest = [line for line in shapely.get_parts(edge) if line.length > 0]
        if all(line.length < STEEP * (lacking - last) for line in rest):
            yield from ((last, line) for line in rest)
            return
