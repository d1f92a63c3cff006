"""The quote: cost line by line, price, margin, and the time by hand and by machine.

All money is Decimal. Sheet is bought by length, so what counts is the length of roll that the roll
plan takes. Every figure can be worked out again with a pocket calculator from the words beside
it: lengths and minutes are rounded before they are priced, and each line to whole cents.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from stonelayout.errors import InputError
from stonelayout.model.catalogue import Sheet
from stonelayout.model.order import GROSS, Design, exact, needs, whole
from stonelayout.model.shop_rates import Shop
from stonelayout.template.roll import length_of, roll_of
from stonelayout.units import counted

from .work_time import (
    TENTH,
    Minutes,
    crossing_of,
    finishing_minutes,
    hand_minutes,
    machine_minutes,
    sets_worn,
    template_minutes,
    tenth,
)

CENT = Decimal("0.01")


@dataclass(frozen=True)
class CostLine:
    """One cost: its group (stones, sheet, tape, labour), what, how it was worked out, amount."""

    group: str
    what: str
    how: str
    amount: Decimal


@dataclass(frozen=True)
class Packs:
    """What must be bought of one stone when none is in stock: ``packs`` of ``pack`` gross."""

    name: str
    packs: int
    pack: int
    amount: Decimal


@dataclass(frozen=True)
class JobPrice:
    """One of several jobs in a quote: its copies, and the price of one of its transfers."""

    name: str
    copies: int
    price: Decimal


@dataclass(frozen=True)
class Quote:
    """A quote for an order of ``copies`` transfers; amounts in the shop's currency.

    ``price`` is for one transfer, ``total`` for all; where ``job_prices`` tell several jobs apart,
    each has a price of its own, and ``price`` is only their average; ``margin`` the share of the
    total that is left. ``crossing`` is the number of copies from which ``crossing_to`` (``hand`` or
    ``machine``) is the faster way, None when one way is faster at every number up to 2000.
    """

    currency: str
    copies: int
    lines: tuple[CostLine, ...]
    off: Decimal
    price: Decimal
    hand: Minutes
    machine: Minutes | None
    crossing: int | None
    crossing_to: str
    demo: bool
    shop: str
    packs: tuple[Packs, ...] = ()
    job_prices: tuple[JobPrice, ...] = ()

    @property
    def cost(self) -> Decimal:
        """Sum of the lines."""
        return sum((line.amount for line in self.lines), Decimal(0))

    @property
    def total(self) -> Decimal:
        """Price of the whole order."""
        if self.job_prices:
            return sum((part.price * part.copies for part in self.job_prices), Decimal(0))
        return self.price * self.copies

    @property
    def margin(self) -> Decimal:
        """Share of the total that is left when the costs are paid; negative at a loss."""
        return (self.total - self.cost) / self.total if self.total else Decimal(0)


def quote(
    designs: Sequence[Design],
    sheet: Sheet,
    shop: Shop,
    *,
    spare: float = 0.03,
    pressed: bool = True,
    compare: bool = True,
    jobs: Mapping[str, Sequence[Design]] | None = None,
) -> Quote:
    """Quote an order; ``compare`` looks for the number of copies where the faster way changes.

    ``jobs`` are the same designs by the name of their job: two jobs and more get a price each, for
    the share of the cost that each would have alone.
    Raises InputError naming all stones and the sheet that the shop file gives no price for, or
    when there is nothing to make.
    """
    copies = sum(design.copies for design in designs)
    if not copies or not any(design.stones for design in designs):
        raise InputError("there are no stones to quote")
    _prices_known(designs, sheet, shop, spare)
    hand = hand_minutes(designs, sheet, shop, pressed)
    lines = (
        *_stone_lines(designs, shop, spare),
        _sheet_line(designs, sheet, shop),
        _tape_line(designs, shop),
        *_labour_lines(designs, sheet, shop, hand, pressed),
    )
    off = shop.off(copies)
    cost = sum((line.amount for line in lines), Decimal(0))
    asked = cost * (1 - off)
    prices = _job_prices(jobs or {}, asked / (1 - shop.margin), sheet, shop, spare, pressed)
    # divided once: a quotient's last digit, rounded up, would cost the customer a step
    price = _rounded(asked / ((1 - shop.margin) * copies), shop)
    if prices:
        price = cents(sum((part.price * part.copies for part in prices), Decimal(0)) / copies)
    crossing, crossing_to = crossing_of(designs, sheet, shop, pressed) if compare else (None, "")
    return Quote(
        currency=shop.currency,
        copies=copies,
        lines=lines,
        off=off,
        price=price,
        hand=hand,
        machine=machine_minutes(designs, shop, pressed),
        crossing=crossing,
        crossing_to=crossing_to,
        demo=shop.demo,
        shop=shop.file,
        packs=_packs(designs, shop, spare),
        job_prices=prices,
    )


def _job_prices(
    jobs: Mapping[str, Sequence[Design]],
    charged: Decimal,
    sheet: Sheet,
    shop: Shop,
    spare: float,
    pressed: bool,
) -> tuple[JobPrice, ...]:
    """Divide what is charged among several jobs, as their costs alone are to each other."""
    if len(jobs) < 2:
        return ()
    alone = {
        name: quote(mine, sheet, shop, spare=spare, pressed=pressed, compare=False).cost
        for name, mine in jobs.items()
    }
    whole_cost = sum(alone.values(), Decimal(0))
    prices = []
    for name, mine in jobs.items():
        copies = sum(design.copies for design in mine)
        asked = charged * alone[name] / whole_cost if whole_cost else Decimal(0)
        prices.append(JobPrice(name, copies, _rounded(asked / copies, shop)))
    return tuple(prices)


def _rounded(price: Decimal, shop: Shop) -> Decimal:
    """Return a price rounded up to the shop's step."""
    return (price / shop.rounding).to_integral_value(ROUND_CEILING) * shop.rounding


def price_list(
    design: Design, sheet: Sheet, shop: Shop, *, spare: float = 0.03, pressed: bool = True
) -> tuple[Quote, ...]:
    """Quote one design at one copy, at each quantity break, and at its own number of copies."""
    numbers = sorted({1, design.copies, *(b.start for b in shop.breaks)})
    return tuple(
        quote([replace(design, copies=n)], sheet, shop, spare=spare, pressed=pressed, compare=False)
        for n in numbers
    )


def _charged(design: Design, sheet: Sheet, shop: Shop) -> Decimal:
    """Return how many sets of templates this order pays."""
    if shop.templates == "life":
        return Decimal(design.copies) / shop.sheets[sheet.name].reuses
    return Decimal(sets_worn(design, sheet, shop))


def _prices_known(designs: Sequence[Design], sheet: Sheet, shop: Shop, spare: float) -> None:
    absent = [
        f"{need.size}: write [stone.{need.size}] with gross = PRICE"
        for need in needs(designs, spare)
        if shop.gross_price(need.size, need.colour) is None
    ]
    if sheet.name not in shop.sheets:
        absent.append(f"{sheet.name}: write [sheet.{sheet.name}] with roll = PRICE")
    if absent:
        raise InputError("\n".join(f"no price for {line}" for line in dict.fromkeys(absent)))


def _stone_lines(designs: Sequence[Design], shop: Shop, spare: float) -> list[CostLine]:
    lines = []
    for need in needs(designs, spare):
        price = shop.gross_price(need.size, need.colour) or Decimal(0)
        how = f"{need.placed} + {need.spare} spare, at {price:.2f} a gross of {GROSS}"
        lines.append(CostLine("stones", need.name, how, cents(need.total * price / GROSS)))
    return lines


def _packs(designs: Sequence[Design], shop: Shop, spare: float) -> tuple[Packs, ...]:
    found = []
    for need in needs(designs, spare):
        pack, price = shop.pack(need.size), shop.gross_price(need.size, need.colour) or Decimal(0)
        packs = whole(need.total, GROSS * pack)
        found.append(Packs(need.name, packs, pack, cents(packs * pack * price)))
    return tuple(found)


def _sheet_line(designs: Sequence[Design], sheet: Sheet, shop: Shop) -> CostLine:
    """Return the length of roll that the templates take, as the roll plan lays them, and waste."""
    price, roll = shop.sheets[sheet.name], roll_of(sheet)
    if shop.templates == "life":
        length = Decimal(0)
        for design in designs:
            length += exact(length_of(design.sheets, roll), 3) * _charged(design, sheet, shop)
    else:
        pages = tuple(page for d in designs for page in d.sheets * sets_worn(d, sheet, shop))
        length = exact(length_of(pages, roll), 3)
    length = tenth(length / 10)
    whole_roll = tenth(exact(sheet.length, 3) / 10)
    with_waste = tenth(length * (1 + shop.waste))
    templates = sum(len(design.sheets) for design in designs)
    charged = sum((_charged(design, sheet, shop) for design in designs), Decimal(0))
    each = f", {plain(charged)} of each" if len(designs) == 1 else ""
    how = (
        f"{counted(templates, 'template')}{each}: {length} cm of roll, with {share(shop.waste)} "
        f"waste {with_waste} of its {whole_roll} cm at {price.roll:.2f}"
    )
    return CostLine("sheet", sheet.name, how, cents(with_waste / whole_roll * price.roll))


def _tape_line(designs: Sequence[Design], shop: Shop) -> CostLine:
    tape = shop.tape
    length = Decimal(0)
    for design in designs:
        short, long = sorted(exact(side, 3) for side in design.size)
        tape_width = exact(tape.width, 3)
        across, along = (long, short) if long <= tape_width else (short, long)
        strips = (across / tape_width).to_integral_value(ROUND_CEILING)
        length += along / 10 * strips * design.copies
    length = tenth(length)
    whole_roll = tenth(exact(tape.length, 3) / 10)
    how = f"{length} cm of the roll's {whole_roll} cm at {tape.roll:.2f}"
    return CostLine("tape", "lifting tape", how, cents(length / whole_roll * tape.roll))


def _labour_lines(
    designs: Sequence[Design], sheet: Sheet, shop: Shop, hand: Minutes, pressed: bool
) -> list[CostLine]:
    cutting = weeding = Decimal(0)
    for design in designs:
        charged = _charged(design, sheet, shop)
        cut, weed = template_minutes(design, shop)
        cutting += cut * charged
        weeding += weed * charged
    copies = sum(design.copies for design in designs)
    stones = sum(design.stones * design.copies for design in designs)
    finishing = tenth(finishing_minutes(shop, pressed) * copies)
    rows = [
        ("set-up", hand.setup, "once an order"),
        (
            "cutting",
            tenth(cutting),
            f"{share(shop.hand.cutting_attended)} of the cutter's time",
        ),
        ("weeding", tenth(weeding), f"{plain(shop.hand.weeded_a_minute)} discs a minute"),
        (
            "brushing and lifting",
            hand.copies - finishing,
            f"{stones} stones at {plain(shop.hand.brushed_a_minute)} a minute, "
            f"{plain(shop.hand.layer_minutes)} min a template",
        ),
        (
            "checking and pressing" if pressed else "checking",
            finishing,
            counted(copies, "transfer"),
        ),
    ]
    return [
        CostLine(
            "labour",
            what,
            f"{minutes} min at {shop.labour:.2f} an hour ({note})",
            cents(minutes * shop.labour / 60),
        )
        for what, minutes, note in rows
        if minutes
    ]


def cents(amount: Decimal) -> Decimal:
    """Round an amount to whole cents, halves up."""
    return amount.quantize(CENT, ROUND_HALF_UP)


def plain(value: Decimal) -> str:
    """Write a number with at most three decimals and no trailing zeros."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return text or "0"


def share(value: Decimal) -> str:
    """Write a share as a percentage with at most one decimal: ``2.5 %``."""
    return f"{plain((value * 100).quantize(TENTH, ROUND_HALF_UP))} %"
