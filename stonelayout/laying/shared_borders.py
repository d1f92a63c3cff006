"""Filled regions that touch, or nearly, are inset along their shared border before any is laid.

Stones on both edges of a border must stand a pitch apart. Each region steps back by half of what
the pitch lacks, so that rows run along the border on both sides whatever the order of the rules.
In turn:

1. `fill_regions` collects the regions that rules fill, with what their stones keep from an
   outline. A bare lattice has no row along its outline and is not inset.
2. `inset_shared_borders` finds pairs that are near (`_pairs_near`) and takes overlaps from the
   later region.
3. `_facing` cuts each outline into lines by how wide the gap to the other region is there.
4. `_shares_by_outline` decides who steps back: both alike, or only the region whose outline ends at
   the border while the other's runs on beyond it (a stem that a bar butts against stays straight).
5. `_inset` buffers those lines and takes the strips away; `_rows_lost` tells whether a region would
   lose one of its few rows, which then keeps its place while the other makes room.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.regions import rings_of
from stonelayout.laying.common.tolerances import EXACT_MM
from stonelayout.laying.layer_distance import least_distance
from stonelayout.laying.picking import region_of
from stonelayout.model.artwork import Shape
from stonelayout.model.catalogue import Sheet
from stonelayout.model.job import Rule
from stonelayout.model.pattern_options import ROWS

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
CORNER_DEGREES = 30.0
#: A region with this many rows can spare one.
MANY_ROWS = 4
#: Corners of a cut stay sharp up to this mitre.
_MITRE = 2.0


@dataclass(frozen=True)
class EdgeStone:
    """What a stone size keeps, in mm: half its pitch, and its centres' distance from the outline.

    That distance is half a stone and the margin.
    """

    half_pitch: float
    inset: float


@dataclass(frozen=True, eq=False)
class BorderedRegion:
    """One filled region beside others, with the stone sizes that fill it.

    ``owner`` names the shape that it is: regions of one owner are filled together and have no
    shared border.
    """

    region: BaseGeometry
    sizes: tuple[EdgeStone, ...]
    owner: object

    @property
    def pitch(self) -> float:
        """The largest pitch in mm."""
        return 2 * max(size.half_pitch for size in self.sizes)

    @property
    def room(self) -> BaseGeometry:
        """The room for centres of the size that gets nearest to the outline, and EXACT_MM more."""
        least = min(size.inset for size in self.sizes) - EXACT_MM
        return shapely.buffer(self.region, -least, quad_segs=16)


def distance_lacking(first: BorderedRegion, second: BorderedRegion) -> float:
    """Return by how many mm stones on both edges of a border stand too near each other."""
    return max(
        one.half_pitch + other.half_pitch - one.inset - other.inset
        for one in first.sizes
        for other in second.sizes
    )


def inset_shared_borders(regions: Sequence[BorderedRegion]) -> list[BaseGeometry]:
    """Return each region without the strips that it gives up along shared borders.

    Where two regions touch, or lie so near that stones on their edges would stand nearer than
    their pitches ask (half of each), both step back alike: the rows on both sides run along the
    border, a pitch apart, whatever the order. Where one outline goes straight on beyond the border
    and the other ends there, only the latter steps back, so that the row along the former stays
    straight. A region that would lose one of its few rows keeps its place, and the other makes
    room for it; of two that would lose their only row the earlier. Where regions overlap, the
    later one loses what they share and steps back alone.
    """
    whole = list(regions)
    pairs = _pairs_near(whole)
    overlap = {(i, j) for i, j in pairs if _overlap(whole[i].region, whole[j].region)}
    for i, j in pairs:
        if (i, j) in overlap:
            left = shapely.difference(whole[j].region, whole[i].region)
            whole[j] = replace(whole[j], region=_areas(left))
    pairs = [(i, j) for i, j in pairs if not (whole[i].region.is_empty or whole[j].region.is_empty)]
    facing = {
        (a, b): list(
            _facing(whole[a].region, whole[b].region, distance_lacking(whole[a], whole[b]))
        )
        for i, j in pairs
        for a, b in ((i, j), (j, i))
    }
    shares = _shares_by_outline(whole, pairs) | {pair: 1.0 for pair in pairs if pair in overlap}
    cut = _inset(whole, shares, facing)
    lost = {
        k: _rows_lost(whole[k], cut[k])
        for k in {k for pair in pairs for k in pair}
        if cut[k] is not whole[k].region
    }
    for i, j in pairs:
        first, second = lost.get(i, MANY_ROWS), lost.get(j, MANY_ROWS)
        if (i, j) in overlap:
            continue
        if first != second or first == 1:
            shares[i, j] = 1.0 if first <= second else 0.0
        elif first < MANY_ROWS:
            shares[i, j] = 0.5
    return _inset(whole, shares, facing) if lost and min(lost.values()) < MANY_ROWS else cut


def _pairs_near(bordered: Sequence[BorderedRegion]) -> list[Pair]:
    """Return the pairs of regions whose stones can stand too near each other, earlier first."""
    if len(bordered) < 2:
        return []
    regions = np.array([one.region for one in bordered])
    most = max(2 * max(size.half_pitch - size.inset for size in one.sizes) for one in bordered)
    tree = shapely.STRtree(regions)
    found = tree.query(regions, predicate="dwithin", distance=max(most, 0.0)).T
    return [
        (int(i), int(j))
        for i, j in sorted(map(tuple, found))
        if i < j and bordered[i].owner != bordered[j].owner
    ]


def _overlap(first: BaseGeometry, second: BaseGeometry) -> bool:
    shared = _areas(shapely.intersection(first, second))
    return bool(shared.area) and not shapely.buffer(shared, -OVERLAP_MM / 2).is_empty


def _areas(shape: BaseGeometry) -> BaseGeometry:
    """Return the polygons of what an overlay leaves."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _shares_by_outline(
    regions: Sequence[BorderedRegion], pairs: Sequence[Pair]
) -> dict[Pair, float]:
    """Return the later region's share of each inset: all where its outline ends at the border."""
    beside: dict[int, list[int]] = {}
    for i, j in pairs:
        beside.setdefault(i, []).append(j)
        beside.setdefault(j, []).append(i)
    on = {(k, other) for k, others in beside.items() for other in _running_on(regions, k, others)}
    return {(i, j): 0.5 + (((i, j) in on) - ((j, i) in on)) / 2 for i, j in pairs}


def _running_on(regions: Sequence[BorderedRegion], own: int, others: Sequence[int]) -> list[int]:
    """Return the regions beside which an outline goes straight on, free, for a pitch or more."""
    pitch = regions[own].pitch
    near = {
        k: shapely.buffer(
            regions[k].region,
            max(distance_lacking(regions[own], regions[k]), CURVE_MM),
            quad_segs=4,
        )
        for k in others
    }
    taken = shapely.union_all(list(near.values()))
    runs = [
        run
        for run in _outline_sections(regions[own].region)
        if shapely.difference(run, taken).length >= pitch and run.intersects(taken)
    ]
    return [
        k for k in others if any(shapely.intersection(run, near[k]).length >= pitch for run in runs)
    ]


def _outline_sections(region: BaseGeometry) -> list[BaseGeometry]:
    """Return the outline of a region, parted at its corners."""
    found: list[BaseGeometry] = []
    for ring in rings_of(region):
        step = np.roll(ring, -1, axis=0) - ring
        last = np.roll(step, 1, axis=0)
        cross = last[:, 0] * step[:, 1] - last[:, 1] * step[:, 0]
        turn = np.degrees(np.abs(np.arctan2(cross, (last * step).sum(axis=1))))
        corners = np.flatnonzero(turn > CORNER_DEGREES)
        first = int(corners[0]) if len(corners) else 0
        path = np.concatenate((ring[first:], ring[: first + 1]))
        ends = np.append(corners - first, len(ring)) if len(corners) else np.array([0, len(ring)])
        found += [shapely.LineString(path[a : b + 1]) for a, b in pairwise(ends)]
    return found


def _rows_lost(region: BorderedRegion, cut: BaseGeometry) -> int:
    """Return which row an inset takes from part of a region: 1 the only one, MANY_ROWS none."""
    left = replace(region, region=cut).room
    pitch = region.pitch
    room = region.room
    for rows in range(1, MANY_ROWS):
        deep = shapely.buffer(room, -(rows - 1) / 2 * pitch, quad_segs=8)
        still = shapely.buffer(left, -(rows - 1) / 2 * pitch + EXACT_MM, quad_segs=8)
        reach = shapely.buffer(still, pitch, quad_segs=4)
        if not shapely.difference(deep, reach).is_empty:
            return rows
    return MANY_ROWS


def _inset(
    regions: Sequence[BorderedRegion], shares: dict[Pair, float], facing: Facing
) -> list[BaseGeometry]:
    """Return the regions inset along their borders; ``shares``: the later one's part of each."""
    lines: dict[int, dict[float, list[BaseGeometry]]] = {}
    for (i, j), share in shares.items():
        lacking = distance_lacking(regions[i], regions[j])
        for own, other, part in ((i, j, 1 - share), (j, i, share)):
            for gap, line in facing[own, other] if part > 0 else ():
                reach = round(gap + part * (lacking - gap), 9)
                lines.setdefault(own, {}).setdefault(reach, []).append(line)
    cut: list[BaseGeometry] = [one.region for one in regions]
    for k, found in lines.items():
        for reach, borders in found.items():
            joined: BaseGeometry = shapely.line_merge(shapely.union_all(borders))
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


def fill_regions(
    rules: Sequence[Rule], picked: Sequence[Sequence[Shape]], sheet: Sheet
) -> dict[tuple[int, str], BaseGeometry | None]:
    """Return what each rule that fills areas fills of each shape, cut back where shapes touch."""
    regions: dict[tuple[int, str], BaseGeometry | None] = {}
    bordered: dict[tuple[int, str], BorderedRegion] = {}
    for number, (rule, shapes) in enumerate(zip(rules, picked, strict=True)):
        for shape in shapes if rule.pattern not in ROWS else ():
            region = regions[number, shape.id] = region_of(rule, shape)
            # a bare grid has no row along its outline, and keeps all room it can get
            bare = rule.pattern == "lattice" and not rule.options.get("edge_row")
            if region is not None and not region.is_empty and not bare:
                margin = rule.options.get("margin", 0.0)
                sizes = tuple(
                    EdgeStone(
                        max(pitch, least_distance(stone, stone, sheet)) / 2,
                        stone.diameter / 2 + margin,
                    )
                    for stone, pitch in zip(rule.stones, rule.pitches, strict=True)
                )
                owner = shape.id, region is shape.area
                bordered[number, shape.id] = BorderedRegion(region, sizes, owner)
    regions.update(zip(bordered, inset_shared_borders(list(bordered.values())), strict=True))
    return regions
