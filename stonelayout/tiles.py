"""Tiles: a design that is larger than the sheet, divided into strips that are lifted in turn.

Every hole belongs whole to the strip that its centre stands in, so that no seam cuts a hole. Two
neighbours carry the same crosses where they meet: draw them on the tape from the one and seat the
tape by them on the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from .catalogue import Sheet
from .errors import InputError
from .registration import CLEAR_MM, MARGIN_MM, MARK_MM, bounds_of, registration
from .template import Layer, Mark, Page, Place, Registration

#: Seams tried on each side of an even division, as a share of a strip.
_PLAY = 0.12
_TRIES = 61
#: Counts tried above the least that could do: marks and seams take a little room of each strip.
_MORE_TILES = 4


@dataclass(frozen=True, eq=False)
class Tile:
    """One strip: ``number`` from 1 of ``count``, its layers and the page that they share."""

    number: int
    count: int
    layers: tuple[Layer, ...]
    registration: Registration

    @property
    def name(self) -> str:
        """Name for files: ``tile-1of3``."""
        return f"tile-{self.number}of{self.count}"


def tile(
    layers: Sequence[Layer], sheet: Sheet, across: float, along: float, *, turn: bool = True
) -> tuple[Tile, ...]:
    """Divide into strips whose pages fit ``across`` by ``along`` mm; turned too, if they may be.

    One tile is returned when nothing need be divided. The direction that takes fewer strips is
    chosen; a seam is moved a little where it then meets fewer holes. Raises InputError when even
    strips do not fit.
    """
    page = registration(layers, sheet).page
    if _fits(page, across, along, turn):
        return (Tile(1, 1, tuple(layers), registration(layers, sheet)),)
    box = bounds_of(layers)
    size = (box[2] - box[0], box[3] - box[1])
    spaces = [(across, along), (along, across)] if turn else [(across, along)]
    # (strips, axis): the width of a strip must fit one side, its length the other.
    least = [
        (max(2, math.ceil(size[axis] / space[axis])), axis)
        for axis in (0, 1)
        for space in spaces
        if size[1 - axis] < space[1 - axis]
    ]
    tries = sorted({(n + more, axis) for n, axis in least for more in range(_MORE_TILES)})
    for count, axis in tries:
        tiles = _strips(layers, sheet, axis, count)
        if tiles and all(_fits(t.registration.page, across, along, turn) for t in tiles):
            return tiles
    raise InputError(
        f"a design of {page.width:.0f} x {page.height:.0f} mm cannot be divided into strips that "
        f"fit {across:.0f} x {along:.0f} mm; use a wider sheet or a longer panel"
    )


def _fits(page: Page, across: float, along: float, turn: bool) -> bool:
    width, height = page.size
    upright = width <= across and height <= along
    return upright or (turn and height <= across and width <= along)


def _strips(layers: Sequence[Layer], sheet: Sheet, axis: int, count: int) -> tuple[Tile, ...]:
    """Return the strips across one axis; an empty tuple when one of them has no holes."""
    seams = _seams(layers, axis, count)
    edges = [-math.inf, *seams, math.inf]
    box = bounds_of(layers)
    tiles = []
    for k in range(count):
        mine = tuple(
            replace(layer, centres=layer.centres[inside])
            for layer in layers
            if (inside := _inside(layer.centres[:, axis], edges[k], edges[k + 1])).any()
        )
        if not mine:
            return ()
        near = [i for i in (k - 1, k) if 0 <= i < len(seams)]
        marks = [mark for i in near for mark in _overlap(i, seams[i], axis, box, sheet)]
        tiles.append(Tile(k + 1, count, mine, _with(registration(mine, sheet), marks)))
    return tuple(tiles)


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
    index: int, seam: float, axis: int, box: tuple[float, float, float, float], sheet: Sheet
) -> list[Mark]:
    """Return two crosses on the seam, outside all holes on both sides, and clear of other marks."""
    away = 3 * max(CLEAR_MM, 2 * sheet.least_web) + 1.5 * MARK_MM
    low, high = box[1 - axis] - away, box[3 - axis] + away
    marks = []
    for end, other in (("first", low), ("last", high)):
        at: Place = (seam, other) if axis == 0 else (other, seam)
        marks.append(_cross(f"overlap-{index + 1}-{end}", at))
    return marks


def _cross(name: str, at: Place) -> Mark:
    (x, y), half = at, MARK_MM / 2
    return Mark(name, (((x - half, y), (x + half, y)), ((x, y - half), (x, y + half))))


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
