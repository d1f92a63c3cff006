"""Tiles: a design that is larger than the sheet, divided into parts that are lifted in turn.

Every hole belongs whole to the tile that its centre stands in, so that no seam cuts a hole. Two
neighbours carry the same crosses where they meet: draw them on the tape from the one and seat the
tape by them on the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stonelayout.errors import InputError
from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import Layer, Mark, Place, Registration

from .registration import CLEAR_MM, MARGIN_MM, MARK_MM, bounds_of, cross, registration
from .roll import fits

#: Seams tried on each side of an even division, as a share of a tile.
_PLAY = 0.12
_TRIES = 61
#: Counts tried from the least that could do, along each side: marks take a little room.
_MORE_TILES = 5
#: No order takes more tiles than this.
_MOST_TILES = 200
#: How the names of the crosses that two neighbours share begin.
OVERLAP = "overlap-"

#: Gives the page and the marks of some layers.
Register = Callable[[Sequence[Layer]], Registration]


@dataclass(frozen=True, eq=False)
class Tile:
    """One part: ``number`` from 1 of ``count``, its layers and the page that they share."""

    number: int
    count: int
    layers: tuple[Layer, ...]
    registration: Registration

    @property
    def name(self) -> str:
        """Name for files: ``tile-1of3``."""
        return f"tile-{self.number}of{self.count}"


def tile(
    layers: Sequence[Layer],
    sheet: Sheet,
    room: tuple[float, float],
    *,
    turn: bool = True,
    register: Register | None = None,
) -> tuple[Tile, ...]:
    """Divide into tiles whose pages fit a ``room`` (across, along) in mm; turned, if they may be.

    One tile is returned when nothing need be divided. Few tiles go before many, strips before
    tiles in both directions; a seam is moved a little where it then meets fewer holes.
    ``register`` gives the marks of some layers (none: the usual ones). Raises InputError when no
    tiles fit.
    """
    marked = register or (lambda some: registration(some, sheet))
    whole = marked(layers)
    page = whole.page
    across, along = room
    if fits(page.size, room, turn=turn):
        return (Tile(1, 1, tuple(layers), whole),)
    box = bounds_of(layers)
    size = (box[2] - box[0], box[3] - box[1])
    spaces = [room, room[::-1]] if turn else [room]
    tries = {
        (math.ceil(size[0] / wide) + more, math.ceil(size[1] / high) + further)
        for wide, high in spaces
        for more in range(_MORE_TILES)
        for further in range(_MORE_TILES)
    }
    for columns, rows in sorted(tries, key=lambda n: (n[0] * n[1], min(n), n[1])):
        if not 1 < columns * rows <= _MOST_TILES:
            continue
        tiles = _grid(layers, sheet, columns, rows, marked)
        if tiles and all(fits(t.registration.page.size, room, turn=turn) for t in tiles):
            return tiles
    raise InputError(
        f"a design of {page.width:.0f} x {page.height:.0f} mm cannot be divided into tiles that "
        f"fit {across:.0f} x {along:.0f} mm; use a wider sheet or a longer panel"
    )


def _grid(
    layers: Sequence[Layer], sheet: Sheet, columns: int, rows: int, register: Register
) -> tuple[Tile, ...]:
    """Return the tiles row by row; none when one of them has no neighbour before it.

    Cells without a hole are no tiles.
    """
    edges = [
        [-math.inf, *_seams(layers, axis, count), math.inf]
        for axis, count in enumerate((columns, rows))
    ]
    cells: dict[tuple[int, int], tuple[Layer, ...]] = {}
    for row in range(rows):
        for column in range(columns):
            if mine := _cell(layers, edges, column, row):
                cells[column, row] = mine
    marks: dict[tuple[int, int], list[Mark]] = {cell: [] for cell in cells}
    seams = 0
    for cell in list(cells)[1:]:
        before = [(cell[0] - 1, cell[1]), (cell[0], cell[1] - 1)]
        near = [(axis, other) for axis, other in enumerate(before) if other in cells]
        if not near:
            return ()
        for axis, other in near:
            seams += 1
            box = bounds_of((*cells[cell], *cells[other]))
            shared = _overlap(seams, edges[axis][cell[axis]], axis, box, sheet)
            marks[cell] += shared
            marks[other] += shared
    return tuple(
        Tile(number, len(cells), mine, _with(register(mine), marks[cell]))
        for number, (cell, mine) in enumerate(cells.items(), start=1)
    )


def _cell(
    layers: Sequence[Layer], edges: Sequence[Sequence[float]], column: int, row: int
) -> tuple[Layer, ...]:
    """Return what the layers have between the edges of one column and row."""
    found = []
    for layer in layers:
        x, y = layer.centres.T
        inside = _inside(x, edges[0][column], edges[0][column + 1]) & _inside(
            y, edges[1][row], edges[1][row + 1]
        )
        if inside.any():
            found.append(replace(layer, centres=layer.centres[inside]))
    return tuple(found)


def _inside(values: npt.NDArray[np.float64], low: float, high: float) -> npt.NDArray[np.bool_]:
    return np.asarray((values >= low) & (values < high))


def _seams(layers: Sequence[Layer], axis: int, count: int) -> list[float]:
    """Return the seams, each near its place in an even division where it meets fewest holes."""
    box = bounds_of(layers)
    low, size = box[axis], (box[axis + 2] - box[axis]) / count
    seams = []
    for k in range(1, count):
        tries = low + size * (k + np.linspace(-_PLAY, _PLAY, _TRIES))
        met = sum(
            (np.abs(layer.centres[:, axis][None, :] - tries[:, None]) < layer.hole / 2).sum(axis=1)
            for layer in layers
        )
        # Of equals the one nearest to the even division.
        best = min(range(_TRIES), key=lambda i: (int(np.asarray(met)[i]), abs(i - _TRIES // 2), i))
        seams.append(float(tries[best]))
    return seams


def _overlap(
    number: int, seam: float, axis: int, box: tuple[float, float, float, float], sheet: Sheet
) -> list[Mark]:
    """Return two crosses on the seam between two tiles, outside the ``box`` of both their holes,
    and clear of other marks."""
    away = 3 * max(CLEAR_MM, 2 * sheet.least_web) + 1.5 * MARK_MM
    low, high = box[1 - axis] - away, box[3 - axis] + away
    marks = []
    for end, other in (("first", low), ("last", high)):
        at: Place = (seam, other) if axis == 0 else (other, seam)
        marks.append(cross(f"{OVERLAP}{number}-{end}", at))
    return marks


def _with(found: Registration, marks: Sequence[Mark]) -> Registration:
    """Return the registration with more marks, on a page that holds them."""
    ends = np.array([point for mark in marks for line in mark.lines for point in line])
    page = found.page
    corner = np.array([-page.offset[0], -page.offset[1]])
    low = np.minimum(corner, ends.min(axis=0) - MARGIN_MM)
    far = np.maximum(corner + (page.width, page.height), ends.max(axis=0) + MARGIN_MM)
    offset = np.ceil(-low - 1e-9)
    size = np.ceil(far + offset - 1e-9)
    larger = replace(
        page,
        width=float(size[0]),
        height=float(size[1]),
        offset=(float(offset[0]), float(offset[1])),
    )
    return replace(found, page=larger, marks=(*found.marks, *marks))
