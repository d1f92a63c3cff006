"""All checks of one set of templates in one place, for every command and for the library."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from stonelayout.findings import Finding, in_order
from stonelayout.model.catalogue import Catalogue, Sheet
from stonelayout.model.layer import Layer, Page
from stonelayout.template.tiling import too_large

from .contrast import check_contrast
from .tearing import check_strength
from .webs import check, check_one_sheet


def all_checks(
    layers: Sequence[Layer],
    sheet: Sheet,
    catalogue: Catalogue,
    page: Page,
    piece: Page | None,
    how: str = "",
    *,
    given: bool = False,
    files: Sequence[str] = (),
) -> tuple[Finding, ...]:
    """Return the findings of all checks, the most serious first.

    Webs, stones between layers, size, tear lines, contrast. ``page`` is the page of the templates
    with its margins; ``piece`` is what must fit the roll: ``page`` itself, the holes alone for a
    file of others, None for a design that is cut in tiles. ``how`` says how tiles are asked for
    (see ``too_large``); ``given``: the holes are a file's, so that no stones can be laid anew.
    ``files`` names the file of each layer: sizes in one file may be cut from one sheet.
    """
    words = too_large(page.size, sheet, marked=True, how=how) if piece is page else ""
    return in_order(
        (
            *check(layers, sheet, catalogue, None if words else piece, given=given),
            *([Finding("larger-than-sheet", "error", words)] if words else ()),
            *check_strength(layers, sheet, page),
            *check_contrast(layers, sheet, catalogue),
            *_in_one_file(layers, files, sheet),
        )
    )


def _in_one_file(layers: Sequence[Layer], files: Sequence[str], sheet: Sheet) -> list[Finding]:
    found: list[Finding] = []
    for (one, file), (other, beside) in combinations(zip(layers, files, strict=bool(files)), 2):
        if file == beside:
            found += check_one_sheet(one, other, sheet)
    return found
