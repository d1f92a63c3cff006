"""The pieces that a design is cut in: whole, or in tiles where the sheet does not hold it.

One rule for all: a template fits a panel of the sheet's roll, or it is cut in tiles where the user
asks for that, or it is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from stonelayout.errors import LayoutError
from stonelayout.findings import Finding
from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import Layer, Registration
from stonelayout.units import mm_and_inches

from .registration import registration
from .roll import Roll, holds, panel_room, roll_of
from .tiles import OVERLAP, Register, Tile, tile

#: How tiles are asked for where there is no job file.
TILE_OPTION = "say --tile to cut it in tiles"


def marks_of(sheet: Sheet, label: str = "", line: int = 0) -> Register:
    """Return what gives the usual marks of some layers, with the name of a list's line on them."""

    def marks(layers: Sequence[Layer]) -> Registration:
        found = registration(layers, sheet)
        if not label:
            return found
        from stonelayout.lettering.name_mark import named

        return named(found, label, line)

    return marks


def too_large(
    size: tuple[float, float],
    sheet: Sheet,
    *,
    roll: Roll | None = None,
    marked: bool = False,
    how: str = "",
) -> str:
    """Return in words that a design of this size (mm) is too large, and what to do; "" if it fits.

    ``roll`` is the one that it is cut from (none: as the sheet is sold); ``marked``: the size
    holds the marks round it; ``how`` says how to ask for tiles (``TILE_OPTION``), none: in a job
    file.
    """
    roll = roll or roll_of(sheet)
    if holds(size, roll):
        return ""
    across, along = panel_room(roll)
    how = how or "write tile = true under [sheet] to cut it in tiles"
    return (
        f"the design measures {mm_and_inches(size[0])} x {mm_and_inches(size[1])}"
        f"{' with its marks' if marked else ''}, and sheet {sheet.name} holds templates of "
        f"{mm_and_inches(across)} x {mm_and_inches(along)} at most: make it smaller, choose a "
        f"wider sheet, or {how}"
    )


def pieces(
    layers: Sequence[Layer],
    sheet: Sheet,
    register: Register,
    *,
    tiled: bool,
    roll: Roll | None = None,
    how: str = "",
) -> tuple[Tile, ...]:
    """Return the design as it is cut: whole as one tile, or divided where it does not fit.

    ``register`` gives the page and marks of some layers. Raises LayoutError for a design that
    does not fit and is not to be ``tiled`` (``how`` as for ``too_large``), InputError when no
    tiles fit.
    """
    found = register(layers)
    roll = roll or roll_of(sheet)
    words = too_large(found.page.size, sheet, roll=roll, marked=True, how=how)
    if not words:
        return (Tile(1, 1, tuple(layers), found),)
    if not tiled:
        raise LayoutError(words)
    parts = tile(layers, sheet, panel_room(roll), turn=roll.turn, register=register)
    return tuple(
        replace(part, layers=tuple(replace(layer, tile=part.name) for layer in part.layers))
        for part in parts
    )


def pages_of(tiles: Sequence[Tile]) -> tuple[tuple[float, float], ...]:
    """Return the width and height in mm of the page of every template, tile by tile."""
    return tuple(part.registration.page.size for part in tiles for _ in part.layers)


def in_tiles(tiles: Sequence[Tile]) -> tuple[Finding, ...]:
    """Return a note that the design is cut in tiles: ``cut-in-tiles``; nothing for a whole one."""
    if len(tiles) < 2:
        return ()
    names = ", ".join(f"{part.name}-..." for part in tiles)
    words = (
        f"larger than the sheet: cut in {len(tiles)} tiles ({names}), which are lifted on one tape "
        "by the crosses that neighbours share; the job sheet has the order"
    )
    return (Finding("cut-in-tiles", "note", words),)


def seams(tiles: Sequence[Tile]) -> list[tuple[Tile, Tile, str]]:
    """Return each pair of neighbours, the earlier first, and the side of it that they meet at."""
    found = []
    for k, later in enumerate(tiles):
        mine = {mark.name: mark.lines for mark in later.registration.marks}
        for earlier in tiles[:k]:
            shared = [
                mark.lines
                for mark in earlier.registration.marks
                if mark.name.startswith(OVERLAP) and mine.get(mark.name) == mark.lines
            ]
            if shared:
                (x0, y0), (x1, y1) = (lines[0][0] for lines in shared[:2])
                side = "right" if abs(x0 - x1) < abs(y0 - y1) else "bottom"
                found.append((earlier, later, side))
    return found
