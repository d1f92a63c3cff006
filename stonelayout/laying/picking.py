"""Which shapes of an artwork each rule picks, and what of them it fills."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry.base import BaseGeometry

from stonelayout.errors import JobError
from stonelayout.model.artwork import Artwork, Shape
from stonelayout.model.job import Pick, Rule
from stonelayout.model.pattern_options import ROWS
from stonelayout.spelling import unknown


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


def region_of(rule: Rule, shape: Shape) -> BaseGeometry | None:
    """Return what a rule fills of a shape: its area, its stroke's, or None for lines."""
    if shape.stroke_area is not None and (shape.area is None or rule.strokes is not None):
        as_lines = rule.pattern in ROWS if rule.strokes is None else rule.strokes == "line"
        return None if as_lines else shape.stroke_area
    return shape.area
