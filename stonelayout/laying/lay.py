"""Laying a whole artwork: rules pick shapes, patterns lay stones, later rules give way.

The only file that knows all patterns. To add one: describe it in ``model.pattern_options``, write a
module with one function from Ask to Laid, and name that in MAKERS.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import LayoutError
from stonelayout.findings import Finding
from stonelayout.laying.common.ask import Ask, Obstacles, Spec
from stonelayout.laying.layout_builder import LayoutBuilder, place_in
from stonelayout.laying.picking import pick_shapes
from stonelayout.model.artwork import Artwork, Shape
from stonelayout.model.catalogue import Sheet
from stonelayout.model.job import Rule
from stonelayout.model.layout import Kind, Layout
from stonelayout.model.pattern_options import ROWS
from stonelayout.units import counted

from .picking import region_of
from .shared_borders import fill_regions

#: More stones than any design has; a wrong unit asks for thousands of times as many.
MOST_STONES = 1_000_000
#: Area that a stone takes in the densest packing, in squares of the pitch: sqrt(3) / 2.
HEXAGONAL = 0.866
#: What lays each pattern: a module of this package and its function, imported when a rule asks.
#: A pattern in pattern_options.ROWS gives the curves that the rows of one shape run on, with the
#: sizes along them; the shapes of one rule are then laid together, so that rows settle where they
#: meet. Any other pattern fills an area: from an Ask to a Laid (common.ask).
MAKERS = {
    "edge": ("rows.edge", "edge_tracks"),
    "spine": ("rows.spine", "spine_tracks"),
    "courses": ("courses.courses", "lay_courses"),
    "lattice": ("packing.lattice", "lay_lattice"),
    "even": ("packing.even", "lay_even"),
    "graded": ("packing.graded", "lay_graded"),
}


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
    builder = LayoutBuilder(sheet)
    picked = pick_shapes(artwork, rules)
    _refuse_too_many(rules, picked, artwork.file)
    regions = fill_regions(rules, picked, sheet)
    done, total = 0, sum(map(len, picked))
    for number, (rule, shapes) in enumerate(zip(rules, picked, strict=True)):
        if rule.pattern in ROWS:
            if progress:
                progress(done, total, shapes[0].id)
            _lay_rows(builder, rule, shapes)
            done += len(shapes)
            continue
        left = [regions[number, shape.id] for shape in shapes]
        builder = _lay_fills(builder, number, rule, shapes, left, _after(progress, done, total))
        done += len(shapes)
    if progress:
        progress(total, total, "")
    builder.findings.extend(_not_picked(artwork.shapes, picked))
    layout = replace(builder.layout(artwork), sheet=sheet.name)
    if not len(layout):
        raise LayoutError(_why_nothing(layout.findings), file=artwork.file or None)
    return layout


def _refuse_too_many(rules: Sequence[Rule], picked: Sequence[Sequence[Shape]], file: str) -> None:
    """Raise LayoutError, before anything is laid, for more stones than any design has."""
    total = 0.0
    for rule, shapes in zip(rules, picked, strict=True):
        pitch = min(rule.pitches)
        for shape in shapes:
            region = region_of(rule, shape)
            length = sum(line.length for line in shape.outline)
            if rule.pattern in ROWS:
                total += length / pitch
            elif region is not None:
                total += region.area / (HEXAGONAL * pitch**2)
    if total > MOST_STONES:
        raise LayoutError(
            f"the design would take some {total:,.0f} stones (most {MOST_STONES:,}): look at its "
            "width and unit",
            file=file or None,
        )


def _why_nothing(findings: Sequence[Finding]) -> str:
    """Say that no stone fits, and why not on the first shape that was to get some."""
    bare = [one for one in findings if one.code in ("shape-without-stones", "row-without-room")]
    if not bare:
        return "no stone fits anywhere: choose a smaller stone or a larger width"
    more = f" (and {counted(len(bare) - 1, 'more shape')})" if len(bare) > 1 else ""
    return f"no stone fits anywhere: {bare[0].layer}: {bare[0].message}{more}"


def _after(
    progress: Callable[[int, int, str], None] | None, done: int, total: int
) -> Callable[[int, str], None]:
    return lambda more, shape: progress(done + more, total, shape) if progress else None


def _lay_fills(
    before: LayoutBuilder,
    number: int,
    rule: Rule,
    shapes: Sequence[Shape],
    regions: Sequence[BaseGeometry | None],
    progress: Callable[[int, str], None],
) -> LayoutBuilder:
    """Return what stands once a rule has laid, again without sizes of too few stones."""
    builder, answers = before.copy(), []
    for done, (shape, region) in enumerate(zip(shapes, regions, strict=True)):
        progress(done, shape.id)
        ask = _ask(rule, shape, region, builder.obstacles(rule, shape))
        answers.append(_maker(rule.pattern)(ask))
        builder.fill(number, rule, shape, ask, answers[-1])
    if "fewest" not in rule.options:
        return builder
    from stonelayout.laying.packing.graded import sparse_sizes, unused_sizes

    used = {before.kinds[k] for kind in before.kind for k in kind}
    own = [Kind(stone.name, rule.colour, stone.diameter) for stone in rule.stones]
    anyway = [k for k, kind in enumerate(own) if kind in used]
    diameters = [stone.diameter for stone in rule.stones]
    for size in unused_sizes(answers, len(own)):
        builder.findings.append(
            Finding(
                "size-not-used",
                "note",
                f"{rule.key} uses no {rule.stones[size].name}: no place was left that it would "
                "fill better than the other sizes",
                place_in(shapes[0]),
                shapes[0].id,
            )
        )
    for size, count in sparse_sizes(answers, diameters, rule.options["fewest"], anyway):
        left = [k for k in range(len(own)) if k != size]
        stones = tuple(rule.stones[k] for k in left)
        fewer = replace(rule, stones=stones, pitches=tuple(rule.pitches[k] for k in left))
        builder = _lay_fills(before, number, fewer, shapes, regions, progress)
        builder.findings.append(
            Finding(
                "size-left-out",
                "note",
                f"{rule.key} does without {rule.stones[size].name}, which would have had only "
                f"{count} stone{'s' if count > 1 else ''}; fewest = 1 uses every size",
                place_in(shapes[0]),
                shapes[0].id,
                count,
            )
        )
        kinds = np.concatenate(builder.kind[len(before.kind) :])
        if len(np.unique(kinds)) > 1:  # else another size may do better
            break
    return builder


def _lay_rows(builder: LayoutBuilder, rule: Rule, shapes: Sequence[Shape]) -> None:
    from stonelayout.laying.rows.row_junctions import lay_rows_together

    asks = [
        _ask(rule, shape, region_of(rule, shape), builder.obstacles(rule, shape))
        for shape in shapes
    ]
    laid = lay_rows_together(asks, _maker(rule.pattern))
    for shape, ask, answer in zip(shapes, asks, laid, strict=True):
        builder.add(rule, shape, ask, answer)


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


def _maker(pattern: str) -> Any:
    module, name = MAKERS[pattern]
    return getattr(importlib.import_module(f"stonelayout.laying.{module}"), name)


def _not_picked(shapes: Iterable[Shape], picked: Sequence[Sequence[Shape]]) -> Iterable[Finding]:
    taken = {shape.id for group in picked for shape in group}
    for shape in shapes:
        if shape.id not in taken:
            yield Finding(
                "shape-not-picked",
                "warning",
                f"no rule picks this shape (layer {shape.layer or '-'}, fill "
                f"{shape.fill or 'none'}, stroke {shape.stroke or 'none'}): it gets no stones",
                place_in(shape),
                shape.id,
            )
