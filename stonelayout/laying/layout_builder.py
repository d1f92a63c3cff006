"""The stones laid so far by the rules of a job, and what was found on the way."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, fields

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.findings import Finding, in_order
from stonelayout.geometry.points import Points
from stonelayout.geometry.regions import local_width_range
from stonelayout.laying.common.ask import Ask, Laid, Obstacles
from stonelayout.laying.layer_distance import least_distance
from stonelayout.laying.picking import region_of
from stonelayout.model.artwork import Artwork, Shape
from stonelayout.model.catalogue import Sheet, Stone
from stonelayout.model.job import Rule
from stonelayout.model.layout import Fill, Kind, Layout
from stonelayout.model.pattern_options import ROWS
from stonelayout.units import mm


@dataclass
class LayoutBuilder:
    """The stones laid so far, kind by kind, and what was found on the way."""

    sheet: Sheet
    kinds: list[Kind] = field(default_factory=list)
    stones: list[Stone] = field(default_factory=list)
    centres: list[Points] = field(default_factory=list)
    kind: list[npt.NDArray[np.intp]] = field(default_factory=list)
    pitch: list[Points] = field(default_factory=list)
    source: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    fills: list[Fill] = field(default_factory=list)

    def kind_of(self, stone: Stone, colour: str) -> int:
        """Return the number of a kind, new or known."""
        kind = Kind(stone.name, colour, stone.diameter)
        if kind not in self.kinds:
            self.kinds.append(kind)
            self.stones.append(stone)
        return self.kinds.index(kind)

    def obstacles(self, rule: Rule, shape: Shape) -> Obstacles:
        """Return the stones near a shape, with the distance that each keeps from the rule's."""
        if not any(len(laid) for laid in self.centres):
            return Obstacles.none(len(rule.stones))
        centres = np.concatenate(self.centres)
        kind = np.concatenate(self.kind)
        pitch = np.concatenate(self.pitch)
        x0, y0, x1, y1 = shape.bounds
        reach = max(float(pitch.max()), *rule.pitches) + max(stone.max for stone in rule.stones)
        near = np.flatnonzero(
            (centres[:, 0] > x0 - reach)
            & (centres[:, 0] < x1 + reach)
            & (centres[:, 1] > y0 - reach)
            & (centres[:, 1] < y1 + reach)
        )
        distance = np.empty((len(near), len(rule.stones)))
        for column, (stone, own) in enumerate(zip(rule.stones, rule.pitches, strict=True)):
            mine = self.kind_of(stone, rule.colour)
            least = np.array(
                [
                    own if k == mine else least_distance(other, stone, self.sheet)
                    for k, other in enumerate(self.stones)
                ]
            )
            distance[:, column] = np.maximum(least[kind[near]], (pitch[near] + own) / 2)
        return Obstacles(centres[near], distance)

    def add(self, rule: Rule, shape: Shape, ask: Ask, laid: Laid) -> None:
        """Add what a rule laid on a shape, but for stones too near to those of earlier rules."""
        obstacles = ask.obstacles or Obstacles.none(len(ask.sizes))
        keep = obstacles.clear(laid.centres, laid.size)
        removed = np.flatnonzero(~keep)
        if len(removed):
            x, y = laid.centres[removed[0]]
            self.findings.append(
                Finding(
                    "stones-given-way",
                    "note",
                    f"{len(removed)} of {len(keep)} stones of {rule.key} were left out, where "
                    "stones of an earlier rule stand too near",
                    (float(x), float(y)),
                    shape.id,
                    len(removed),
                )
            )
        kinds = np.array([self.kind_of(s, rule.colour) for s in rule.stones], dtype=np.intp)
        size = laid.size[keep]
        self.centres.append(laid.centres[keep])
        self.kind.append(kinds[size])
        self.pitch.append(np.array(rule.pitches)[size])
        self.source.extend([shape.id] * len(size))
        self.findings.extend(laid.findings)
        if not len(size) and not any(one.code == "row-without-room" for one in laid.findings):
            full = shape.id in self.source or bool(len(removed))
            region = region_of(rule, shape)
            why = "earlier rules have filled it" if full else self._why_bare(rule, shape, region)
            self.findings.append(
                Finding(
                    "shape-without-stones",
                    "note" if full else "warning",
                    f"gets no stones from {rule.key}: {why}",
                    place_in(shape),
                    shape.id,
                )
            )

    def _why_bare(self, rule: Rule, shape: Shape, region: BaseGeometry | None) -> str:
        """Return why a rule laid nothing on a shape, and what to do."""
        over = self._stands_on(region)
        if over:
            return (
                f"the stones of {over} stand there; pick it in a rule before that of {over}, or "
                "knock it out of the shape under it"
            )
        least = rule.stones[-1]
        if shape.area is None and rule.pattern not in ROWS:
            return (
                f"it is a line drawn {mm(shape.stroke_width)} wide, too narrow to fill with "
                f"{least.name} ({mm(least.diameter)}); choose pattern edge, a row on the line"
            )
        widest = local_width_range(region)[1] if region is not None else 0.0
        if 0 < widest < least.diameter:
            digits = 2 if mm(widest) != mm(least.diameter) else 4
            return (
                f"it is {mm(widest, digits)} wide at most, less than {least.name} "
                f"({mm(least.diameter)}); "
                "choose a smaller size or make the drawing wider"
            )
        return f"it has no room for {least.name} ({mm(least.diameter)}); choose a smaller size"

    def _stands_on(self, region: BaseGeometry | None) -> str:
        """Return the shape whose stones stand most in a region; "" when none do."""
        if region is None or not self.source:
            return ""
        inside = np.flatnonzero(shapely.contains_xy(region, np.concatenate(self.centres)))
        return Counter(self.source[k] for k in inside).most_common(1)[0][0] if len(inside) else ""

    def fill(self, number: int, rule: Rule, shape: Shape, ask: Ask, laid: Laid) -> None:
        """Add the stones that rule ``number`` laid to fill a shape."""
        start = len(self.source)
        self.add(rule, shape, ask, laid)
        self.fills.append(Fill(shape.id, number, start, len(self.source)))

    def copy(self) -> LayoutBuilder:
        """Return a builder to go back to."""
        lists = {f.name: list(getattr(self, f.name)) for f in fields(self) if f.name != "sheet"}
        return LayoutBuilder(self.sheet, **lists)

    def layout(self, artwork: Artwork) -> Layout:
        """Return all that was laid."""
        empty = np.empty((0, 2))
        return Layout(
            size=artwork.size,
            kinds=tuple(self.kinds),
            centres=np.concatenate([empty, *self.centres]),
            kind=np.concatenate([np.empty(0, dtype=np.intp), *self.kind]),
            source=tuple(self.source),
            findings=in_order(self.findings),
            fills=tuple(self.fills),
        )


def place_in(shape: Shape) -> tuple[float, float]:
    """Return a place (x, y) in mm in a shape, for findings about it."""
    if shape.area is not None and not shape.area.is_empty:
        point = shapely.point_on_surface(shape.area)
        return float(point.x), float(point.y)
    x0, y0, x1, y1 = shape.bounds
    return (x0 + x1) / 2, (y0 + y1) / 2
