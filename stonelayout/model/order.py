"""An order: designs with their copies, and the stones that they need in all."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .layer import Layer
    from .layout import Layout

#: Stones in a gross (trade unit).
GROSS = 144
_DIGITS = re.compile(r"(\d+)")


@dataclass(frozen=True)
class Design:
    """One design of an order: what the layout says of it, and how many copies are wanted.

    ``counts`` is stones by (size, colour) in one copy; ``layers`` the number of layers;
    ``size`` the (width, height) in mm of the page of the whole design; ``cut_seconds`` the time to
    cut one set of templates; ``pages`` the sizes of all sheets, where they are not ``layers`` times
    ``size``: tiles.
    """

    name: str
    counts: Mapping[tuple[str, str], int]
    layers: int
    size: tuple[float, float]
    copies: int = 1
    cut_seconds: float = 0.0
    pages: tuple[tuple[float, float], ...] = ()

    @property
    def sheets(self) -> tuple[tuple[float, float], ...]:
        """Width and height in mm of every sheet that is cut for one set of templates."""
        return self.pages or (self.size,) * self.layers

    @property
    def stones(self) -> int:
        """Stones in one copy."""
        return sum(self.counts.values())


def design_of(
    name: str,
    layout: Layout,
    layers: Sequence[Layer],
    size: tuple[float, float],
    copies: int = 1,
    cut_seconds: float = 0.0,
    pages: tuple[tuple[float, float], ...] = (),
) -> Design:
    """Return a layout as a design; ``size`` is that of the page of its templates, in mm."""
    counts: dict[tuple[str, str], int] = {}
    for kind, count in zip(layout.kinds, layout.counts(), strict=True):
        key = (kind.size, kind.colour)
        counts[key] = counts.get(key, 0) + count
    return Design(name, counts, len(layers), size, copies, cut_seconds, pages)


@dataclass(frozen=True)
class Need:
    """Stones of one size and colour for a whole order: ``placed`` in all copies, and ``spare``."""

    size: str
    colour: str
    placed: int
    spare: int

    @property
    def total(self) -> int:
        """Placed and spare."""
        return self.placed + self.spare

    @property
    def gross(self) -> int:
        """Whole gross that hold the total."""
        return whole(self.total, GROSS)

    @property
    def name(self) -> str:
        """Size and colour: ``ss6 crystal``."""
        return f"{self.size} {self.colour}"


def needs(designs: Iterable[Design], spare: float = 0.0) -> tuple[Need, ...]:
    """Return what the designs need by size and colour, smallest size first.

    ``spare`` is a share (0.03 for 3 %), taken of each size and colour over the whole order and
    rounded up to whole stones.
    """
    placed: dict[tuple[str, str], int] = {}
    for design in designs:
        for kind, count in design.counts.items():
            placed[kind] = placed.get(kind, 0) + count * design.copies
    share = exact(spare)
    return tuple(
        Need(
            size,
            colour,
            count,
            int((share * count).to_integral_value(rounding=ROUND_CEILING)),
        )
        for (size, colour), count in sorted(placed.items(), key=lambda item: _order(*item[0]))
        if count
    )


def taken_out(designs: Iterable[Design], spare: float) -> int:
    """Return the stones to take out by the job sheets of all designs, each with its own spare.

    They are more than ``needs`` has: the spare is rounded up in each design.
    """
    return sum(need.total for design in designs for need in needs([design], spare))


def exact(value: float, digits: int = 9) -> Decimal:
    """Return a measured number as the decimal that it was written as (0.03, not 0.0299999...)."""
    return Decimal(repr(round(float(value), digits)))


def whole(count: int, parts: int) -> int:
    """Return how many groups of ``parts`` hold the count: the quotient, rounded up."""
    return -(-count // parts)


def _order(size: str, colour: str) -> tuple[list[tuple[int, str]], str]:
    """Sort ss6 before ss10: digits by value."""
    parts = [part for part in _DIGITS.split(size) if part]
    return [(int(part), "") if part.isdigit() else (0, part) for part in parts], colour
