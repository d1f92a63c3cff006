"""What each rule fills of each shape: cut back where shapes touch, and how far stones keep off."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry.base import BaseGeometry

from stonelayout.model.artwork import Shape
from stonelayout.model.catalogue import Sheet, Stone
from stonelayout.model.job import Rule
from stonelayout.model.pattern_options import ROWS

from .border_insets import Side, share_seams

#: Room between two stones of unlike layers when they are as large as their sizes get, in mm.
LEAST_GAP_MM = 0.1


def least_distance(first: Stone, second: Stone, sheet: Sheet) -> float:
    """Return the least centre distance in mm between stones of two layers.

    The largest stones of both sizes stay clear of each other, and a stone already on the tape
    stays clear of the other layer's hole: its radius plus that hole's radius.
    """
    touching = (first.max + second.max) / 2 + LEAST_GAP_MM
    over_hole = max(
        (first.diameter + sheet.hole(second.diameter)) / 2,
        (second.diameter + sheet.hole(first.diameter)) / 2,
    )
    return max(touching, over_hole)


def region_of(rule: Rule, shape: Shape) -> BaseGeometry | None:
    """Return what a rule fills of a shape: its area, its stroke's, or None for lines."""
    if shape.stroke_area is not None and (shape.area is None or rule.strokes is not None):
        as_lines = rule.pattern in ROWS if rule.strokes is None else rule.strokes == "line"
        return None if as_lines else shape.stroke_area
    return shape.area


def side_by_side(
    rules: Sequence[Rule], picked: Sequence[Sequence[Shape]], sheet: Sheet
) -> dict[tuple[int, str], BaseGeometry | None]:
    """Return what each rule that fills areas fills of each shape, cut back where shapes touch."""
    regions: dict[tuple[int, str], BaseGeometry | None] = {}
    sides: dict[tuple[int, str], Side] = {}
    for number, (rule, shapes) in enumerate(zip(rules, picked, strict=True)):
        for shape in shapes if rule.pattern not in ROWS else ():
            region = regions[number, shape.id] = region_of(rule, shape)
            # a bare grid has no row along its outline, and keeps all room it can get
            bare = rule.pattern == "lattice" and not rule.options.get("edge_row")
            if region is not None and not region.is_empty and not bare:
                margin = rule.options.get("margin", 0.0)
                sizes = tuple(
                    (
                        max(pitch, least_distance(stone, stone, sheet)) / 2,
                        stone.diameter / 2 + margin,
                    )
                    for stone, pitch in zip(rule.stones, rule.pitches, strict=True)
                )
                owner = shape.id, region is shape.area
                sides[number, shape.id] = Side(region, sizes, owner)
    regions.update(zip(sides, share_seams(list(sides.values())), strict=True))
    return regions
