"""The minutes that an order takes, by template and brush and by machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from stonelayout.model.catalogue import Sheet
from stonelayout.model.order import Design, exact, whole
from stonelayout.model.shop_rates import Machine, Shop

TENTH = Decimal("0.1")
#: How many copies are looked at for the quantity where hand and machine change places.
MOST_COPIES = 2000


@dataclass(frozen=True)
class Minutes:
    """Work on an order in minutes: ``setup`` once, ``templates`` each fresh set, ``copies``."""

    setup: Decimal
    templates: Decimal
    copies: Decimal

    @property
    def total(self) -> Decimal:
        """All minutes of the order."""
        return self.setup + self.templates + self.copies


def hand_minutes(designs: Sequence[Design], sheet: Sheet, shop: Shop, pressed: bool) -> Minutes:
    """Return the minutes with template and brush; a worn template is cut anew."""
    templates = copies = Decimal(0)
    for design in designs:
        templates += sum(template_minutes(design, shop)) * sets_worn(design, sheet, shop)
        copies += _hand_each(design, shop, pressed) * design.copies
    return Minutes(shop.hand.setup_minutes, tenth(templates), tenth(copies))


def machine_minutes(designs: Sequence[Design], shop: Shop, pressed: bool) -> Minutes | None:
    """Return the minutes with the placement machine; None when the shop has none."""
    if shop.machine is None:
        return None
    copies = sum(
        (_machine_each(d, shop.machine, shop, pressed) * d.copies for d in designs), Decimal(0)
    )
    return Minutes(shop.machine.setup_minutes * len(designs), Decimal(0), tenth(copies))


def _hand_each(design: Design, shop: Shop, pressed: bool) -> Decimal:
    brushing = design.stones / shop.hand.brushed_a_minute
    return (
        shop.hand.layer_minutes * len(design.sheets) + brushing + finishing_minutes(shop, pressed)
    )


def _machine_each(design: Design, machine: Machine, shop: Shop, pressed: bool) -> Decimal:
    return design.stones / machine.stones_a_minute + finishing_minutes(shop, pressed)


def finishing_minutes(shop: Shop, pressed: bool) -> Decimal:
    """Return the minutes to check one transfer, and to press it if we do."""
    return shop.hand.check_minutes + (shop.hand.press_minutes if pressed else 0)


def template_minutes(design: Design, shop: Shop) -> tuple[Decimal, Decimal]:
    """Return the attended minutes to cut and the minutes to weed one set of templates."""
    cutting = exact(design.cut_seconds, 3) / 60 * shop.hand.cutting_attended
    return cutting, design.stones / shop.hand.weeded_a_minute


def sets_worn(design: Design, sheet: Sheet, shop: Shop) -> int:
    """Return how many sets of templates the copies of a design wear out."""
    return whole(design.copies, shop.sheets[sheet.name].reuses)


def crossing_of(
    designs: Sequence[Design], sheet: Sheet, shop: Shop, pressed: bool
) -> tuple[int | None, str]:
    """Return the least number of copies at which the faster way is not that of one copy."""
    if shop.machine is None or len(designs) != 1:
        return None, ""
    design, reuses = designs[0], shop.sheets[sheet.name].reuses
    templates = sum(template_minutes(design, shop), Decimal(0))
    hand_each = _hand_each(design, shop, pressed)
    machine_each = _machine_each(design, shop.machine, shop, pressed)
    ahead = shop.hand.setup_minutes - shop.machine.setup_minutes
    first = None
    for n in range(1, MOST_COPIES + 1):
        more_by_hand = (ahead + tenth(templates * whole(n, reuses)) + tenth(hand_each * n)) - tenth(
            machine_each * n
        )
        by_hand = more_by_hand < 0
        if first is None:
            first = by_hand
        elif by_hand != first:
            return n, "hand" if by_hand else "machine"
    return None, "hand" if first else "machine"


def tenth(value: Decimal) -> Decimal:
    """Round to one decimal, halves up."""
    return value.quantize(TENTH, ROUND_HALF_UP)
