"""The order of lifting: which template's stones go on the tape first.

The smallest stones are lifted first, because a larger stone stands taller and would hold the tape
off the sheet (common practice). Of one size the order is as given: with one clearance a stone comes
down over another kind's hole whichever goes first, so order cannot mend that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from stonelayout.model.layer import Layer

from .tiles import Tile


def lifting_order(diameters: Sequence[float]) -> list[int]:
    """Return the indices of stones of these diameters (mm) in the order of lifting."""
    return sorted(range(len(diameters)), key=diameters.__getitem__)


def templates_in_lifting_order(tiles: Iterable[Tile]) -> list[Layer]:
    """Return the templates of all tiles in the order of lifting, each with its design's number.

    The smallest stones of every tile go first: a larger stone that one tile has left on the tape
    would hold it off the sheet of the next.
    """
    layers = [layer for part in tiles for layer in part.layers]
    return sorted(layers, key=lambda layer: layer.order)
