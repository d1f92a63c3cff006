"""All checks of one set of templates in one place, for every command and for the library."""

from __future__ import annotations

from collections.abc import Sequence

from stonelayout.findings import Finding, in_order
from stonelayout.model.catalogue import Catalogue, Sheet
from stonelayout.model.layer import Layer, Page
from stonelayout.template.roll import holds, roll_of
from stonelayout.template.tiling import too_large

from .contrast import check_contrast
from .tearing import check_strength
from .webs import check


def all_checks(
    layers: Sequence[Layer],
    sheet: Sheet,
    catalogue: Catalogue,
    page: Page,
    piece: Page | None,
    how: str = "",
    *,
    given: bool = False,
) -> tuple[Finding, ...]:
    """Return the findings of all checks, the most serious first.

    Webs, stones between layers, size, tear lines, contrast. ``page`` is the page of the templates
    with its margins; ``piece`` is what must fit the roll: ``page`` itself, the holes alone for a
    file of others, None for a design that is cut in tiles. ``how`` says how tiles are asked for
    (see ``too_large``); ``given``: the holes are a file's, so that no stones can be laid anew.
    """
    ours = piece is page and not holds(page.size, roll_of(sheet))
    words = too_large(page.size, sheet, marked=True, how=how) if ours else ""
    return in_order(
        (
            *check(layers, sheet, catalogue, None if ours else piece, given=given),
            *([Finding("larger-than-sheet", "error", words)] if words else ()),
            *check_strength(layers, sheet, page),
            *check_contrast(layers, sheet, catalogue),
        )
    )
