"""The size that is asked for: of the drawing's page, or of the finished design on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from stonelayout.errors import InputError
from stonelayout.findings import Finding
from stonelayout.model.artwork import Artwork
from stonelayout.model.job import Rule
from stonelayout.units import mm

from .picking import matches

#: A design that fills less than this share of the page is clearly smaller than the size asked for.
_FILLS = 0.85
_ASKED = {"width asked": 0, "height asked": 1}
_SIDES = ("wide", "high")


def picked_size(artwork: Artwork, rules: Sequence[Rule]) -> tuple[float, float] | None:
    """Return width and height in mm round all shapes that the rules pick; None for none.

    Without rules all shapes count.
    """
    boxes = np.array(
        [
            shape.bounds
            for shape in artwork.shapes
            if not rules or any(rule.pick.rest or matches(rule.pick, shape) for rule in rules)
        ]
    )
    if not len(boxes):
        return None
    width, height = boxes[:, 2:].max(axis=0) - boxes[:, :2].min(axis=0)
    return float(width), float(height)


def at_size(
    read: Callable[[float | None, float | None], Artwork],
    width: float | None,
    height: float | None,
    size_of: str | None = None,
    rules: Sequence[Rule] = (),
) -> Artwork:
    """Return the artwork that ``read`` gives at the width or height (mm) asked for.

    ``read`` takes those of the page. ``size_of`` ``"design"``: they are those of the shapes that
    the rules pick, whatever the page leaves free round them. Raises InputError unless it is one
    of the two then, and what ``read`` raises.
    """
    given = [(side, asked) for side, asked in enumerate((width, height)) if asked is not None]
    if size_of == "design" and len(given) != 1:
        raise InputError("the size of the design: give its width or its height, one of the two")
    artwork = read(width, height)
    design = picked_size(artwork, rules) if size_of == "design" else None
    side, asked = given[0] if given else (0, 0.0)
    if design is None or not design[side]:
        return artwork
    found = read(artwork.size[0] * asked / design[side], None)
    return replace(found, size_from=f"{('width', 'height')[side]} of the design")


def smaller_than_asked(
    artwork: Artwork, rules: Sequence[Rule], size_of: str | None = None, flag: str = ""
) -> tuple[Finding, ...]:
    """Return a warning where a size was asked for and the design clearly fills less of the page.

    Code: ``smaller-than-asked``. Silent once ``size_of`` says what is meant. ``flag`` is how a
    command asks for the design's size; none: a job file.
    """
    side = _ASKED.get(artwork.size_from)
    design = picked_size(artwork, rules)
    if side is None or size_of is not None or not design or not design[side]:
        return ()
    asked, found = artwork.size[side], design[side]
    if found >= _FILLS * asked:
        return ()
    name = ("width", "height")[side]
    page = round(asked * asked / found, 1)
    how = (
        f'write size_of = "design" beside it (or {name} = "{mm(page, 1)}"); if the page is meant, '
        'size_of = "page"'
    )
    if flag:
        how = f"say {flag} design (or --{name} {mm(page, 1).replace(' ', '')})"
    words = (
        f"the design itself is {mm(found, 1)} {_SIDES[side]}: the {name} of {mm(asked, 1)} is the "
        f"page's. For a design {mm(asked, 1)} {_SIDES[side]} {how}"
    )
    return (Finding("smaller-than-asked", "warning", words),)
