"""Laying a whole artwork: rules pick shapes, patterns lay stones, later rules give way.

The only file that knows all patterns.
"""

from __future__ import annotations

import importlib
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import JobError, LayoutError
from stonelayout.findings import Finding, in_order
from stonelayout.geometry.neighbours import clear_of
from stonelayout.geometry.points import Points
from stonelayout.geometry.regions import local_width_range
from stonelayout.laying.common.ask import Ask, Laid, Obstacles, Spec
from stonelayout.model.artwork import Artwork, Shape
from stonelayout.model.catalogue import Sheet, Stone
from stonelayout.model.job import Pick, Rule
from stonelayout.model.layout import Fill, Kind, Layout
from stonelayout.spelling import unknown
from stonelayout.units import mm

from .shared_borders import least_distance, region_of, side_by_side

#: Where each pattern is made: imported when a rule asks for it.
_MAKERS = {
    "lattice": ("stonelayout.laying.packing.lattice", "lay_lattice"),
    "even": ("stonelayout.laying.packing.even", "lay_even"),
    "graded": ("stonelayout.laying.packing.graded", "lay_graded"),
    "courses": ("stonelayout.laying.courses.courses", "lay_courses"),
}
#: Patterns that are rows: the shapes of one rule are laid together, so that rows settle where
#: they meet. The function gives the curves that the rows of one shape run on,
#: with the sizes along them.
_ROWS = {
    "edge": ("stonelayout.laying.rows.edge", "edge_tracks"),
    "spine": ("stonelayout.laying.rows.spine", "spine_tracks"),
}


def matches(pick: Pick, shape: Shape) -> bool:
    """Tell whether a shape has everything that a pick names."""
    return pick.all or (
        (pick.layer is None or pick.layer in (shape.layer, shape.layer_id))
        and (pick.id is None or pick.id in (shape.id, *shape.groups))
        and (pick.fill is None or pick.fill == (shape.fill or "none"))
        and (pick.stroke is None or pick.stroke == (shape.stroke or "none"))
    )


def pick_shapes(artwork: Artwork, rules: Sequence[Rule]) -> list[list[Shape]]:
    """Return the shapes of each rule, in the drawing's order.

    Raises JobError that lists every rule which picks nothing, with the nearest names.
    """
    picked: list[list[Shape]] = []
    taken: set[str] = set()
    for rule in rules:
        shapes = [s for s in artwork.shapes if matches(rule.pick, s)]
        if rule.pick.rest:
            shapes = [s for s in shapes if s.id not in taken]
        picked.append(shapes)
        taken.update(shape.id for shape in shapes)
    problems = [
        f"{rule.place}: {rule.key}.pick: no shape in {artwork.file or 'the artwork'} has "
        f"{rule.pick}{_nearest(rule.pick, artwork)}"
        for rule, shapes in zip(rules, picked, strict=True)
        if not shapes
    ]
    if problems:
        raise JobError(problems)
    return picked


def _nearest(pick: Pick, artwork: Artwork) -> str:
    shapes = artwork.shapes
    have: dict[str, set[str]] = {
        "layer": {s.layer for s in shapes} | {s.layer_id for s in shapes},
        "id": {name for s in shapes for name in (s.id, *s.groups)},
        "fill": {s.fill or "none" for s in shapes},
        "stroke": {s.stroke or "none" for s in shapes},
    }
    for key, names in have.items():
        value = getattr(pick, key)
        if value is not None and value not in names:
            held = [e for e in artwork.skipped if value in (e.id, e.layer)]
            if held and key in ("layer", "id"):
                what = f"{held[0].what} {held[0].id}".strip()
                return f"; what it holds is not read: {what}: {held[0].reason}"
            other = {"layer": "id", "id": "layer"}.get(key, key)
            if value in have[other]:
                return f'; it is no {key}: write {other} = "{value}"'
            return f"; {unknown(value, names - {''}, key)}"
    return "; each of them is there, but no shape has all at once"


@dataclass
class _Bench:
    """The stones laid so far."""

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
        before = ask.obstacles or Obstacles.none(len(ask.sizes))
        keep = clear_of(laid.centres, before.centres, before.distance, laid.size)
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
                    _middle(shape),
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
        if shape.area is None and rule.pattern not in _ROWS:
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

    def copy(self) -> _Bench:
        """Return a bench to go back to."""
        lists = {f.name: list(getattr(self, f.name)) for f in fields(self) if f.name != "sheet"}
        return _Bench(self.sheet, **lists)

    def layout(self, artwork: Artwork) -> Layout:
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


def lay(
    artwork: Artwork,
    rules: Sequence[Rule],
    sheet: Sheet,
    progress: Callable[[int, int, str], None] | None = None,
) -> Layout:
    """Lay stones on an artwork by the rules, the first first.

    ``progress`` is told, before each shape, how many are done, how many there are and the shape's
    id; and once more at the end. Returns the layout; its ``findings`` tell what was left out, and
    which shapes no rule picks. Raises JobError when a rule picks nothing, LayoutError when no
    stone at all can be laid.
    """
    bench = _Bench(sheet)
    picked = pick_shapes(artwork, rules)
    regions = side_by_side(rules, picked, sheet)
    done, total = 0, sum(map(len, picked))
    for number, (rule, shapes) in enumerate(zip(rules, picked, strict=True)):
        if rule.pattern in _ROWS:
            if progress:
                progress(done, total, shapes[0].id)
            _lay_rows(bench, rule, shapes)
            done += len(shapes)
            continue
        left = [regions[number, shape.id] for shape in shapes]
        bench = _lay_fills(bench, number, rule, shapes, left, _after(progress, done, total))
        done += len(shapes)
    if progress:
        progress(total, total, "")
    bench.findings.extend(_not_picked(artwork.shapes, picked))
    layout = replace(bench.layout(artwork), sheet=sheet.name)
    if not len(layout):
        raise LayoutError(
            "no stone fits anywhere: choose a smaller stone or a larger width",
            file=artwork.file or None,
        )
    return layout


def _after(
    progress: Callable[[int, int, str], None] | None, done: int, total: int
) -> Callable[[int, str], None]:
    return lambda more, shape: progress(done + more, total, shape) if progress else None


def _lay_fills(
    before: _Bench,
    number: int,
    rule: Rule,
    shapes: Sequence[Shape],
    regions: Sequence[BaseGeometry | None],
    progress: Callable[[int, str], None],
) -> _Bench:
    """Return the bench with what a rule lays, laid again without a size that earns no template."""
    bench, answers = before.copy(), []
    for done, (shape, region) in enumerate(zip(shapes, regions, strict=True)):
        progress(done, shape.id)
        ask = _ask(rule, shape, region, bench.obstacles(rule, shape))
        answers.append(_named(_MAKERS[rule.pattern])(ask))
        bench.fill(number, rule, shape, ask, answers[-1])
    if "fewest" not in rule.options:
        return bench
    from stonelayout.laying.packing.size_use import unearned, unplaced

    used = {before.kinds[k] for kind in before.kind for k in kind}
    own = [Kind(stone.name, rule.colour, stone.diameter) for stone in rule.stones]
    anyway = [k for k, kind in enumerate(own) if kind in used]
    diameters = [stone.diameter for stone in rule.stones]
    for size in unplaced(answers, len(own)):
        bench.findings.append(
            Finding(
                "size-not-used",
                "note",
                f"{rule.key} uses no {rule.stones[size].name}: no place was left that it would "
                "fill better than the other sizes",
                _middle(shapes[0]),
                shapes[0].id,
            )
        )
    for size, count in unearned(answers, diameters, rule.options["fewest"], anyway):
        left = [k for k in range(len(own)) if k != size]
        stones = tuple(rule.stones[k] for k in left)
        fewer = replace(rule, stones=stones, pitches=tuple(rule.pitches[k] for k in left))
        bench = _lay_fills(before, number, fewer, shapes, regions, progress)
        bench.findings.append(
            Finding(
                "size-left-out",
                "note",
                f"{rule.key} does without {rule.stones[size].name}, which would have had only "
                f"{count} stone{'s' if count > 1 else ''}; fewest = 1 uses every size",
                _middle(shapes[0]),
                shapes[0].id,
                count,
            )
        )
        kinds = np.concatenate(bench.kind[len(before.kind) :])
        if len(np.unique(kinds)) > 1:  # else another size may do better
            break
    return bench


def _lay_rows(bench: _Bench, rule: Rule, shapes: Sequence[Shape]) -> None:
    from stonelayout.laying.rows.row_junctions import lay_rows_together

    asks = [
        _ask(rule, shape, region_of(rule, shape), bench.obstacles(rule, shape)) for shape in shapes
    ]
    laid = lay_rows_together(asks, _named(_ROWS[rule.pattern]))
    for shape, ask, answer in zip(shapes, asks, laid, strict=True):
        bench.add(rule, shape, ask, answer)


def _ask(rule: Rule, shape: Shape, region: BaseGeometry | None, obstacles: Obstacles) -> Ask:
    return Ask(
        region=region,
        lines=shape.outline,
        sizes=tuple(
            Spec(stone.diameter, pitch)
            for stone, pitch in zip(rule.stones, rule.pitches, strict=True)
        ),
        options=rule.options,
        obstacles=obstacles,
        name=shape.id,
    )


def _named(home: tuple[str, str]) -> Any:
    module, name = home
    return getattr(importlib.import_module(module), name)


def _not_picked(shapes: Iterable[Shape], picked: Sequence[Sequence[Shape]]) -> Iterable[Finding]:
    taken = {shape.id for group in picked for shape in group}
    for shape in shapes:
        if shape.id not in taken:
            yield Finding(
                "shape-not-picked",
                "warning",
                f"no rule picks this shape (layer {shape.layer or '-'}, fill "
                f"{shape.fill or 'none'}, stroke {shape.stroke or 'none'}): it gets no stones",
                _middle(shape),
                shape.id,
            )


def _middle(shape: Shape) -> tuple[float, float]:
    if shape.area is not None and not shape.area.is_empty:
        point = shapely.point_on_surface(shape.area)
        return float(point.x), float(point.y)
    x0, y0, x1, y1 = shape.bounds
    return (x0 + x1) / 2, (y0 + y1) / 2
