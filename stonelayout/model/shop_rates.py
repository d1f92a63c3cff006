"""The shop file: what the shop pays, how fast it works, how it sets a price. Money is Decimal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from decimal import Decimal
from importlib import resources
from typing import Any, Literal

from stonelayout.errors import InputError, JobError
from stonelayout.spelling import unknown
from stonelayout.toml.places import Places, read_toml
from stonelayout.toml.tables import TableReader
from stonelayout.toml.values import (
    Reader,
    money_step_value,
    money_value,
    one_of,
    percent_value,
    positive_length_value,
    quantity_value,
    rate_value,
    text_value,
    whole_number,
    yes_no_value,
)

from .catalogue import Catalogue
from .order import exact, whole

DEMO_FILE = "shop.toml"


@dataclass(frozen=True)
class StonePrice:
    """Price of a gross of one size, by colour where it differs; ``pack`` is in gross."""

    gross: Decimal
    pack: int = 1
    colour: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True)
class SheetPrice:
    """Price of a roll of the catalogue's size; ``reuses`` transfers are made from a template."""

    roll: Decimal
    reuses: int = 1


@dataclass(frozen=True)
class Sets:
    """How many sets of templates an order wears out: a set is changed after ``transfers``.

    ``transfers`` is None where the shop file has no price for the sheet, and so no figure.
    """

    count: int = 1
    transfers: int | None = None

    @classmethod
    def of(cls, copies: int, price: SheetPrice | None) -> Sets:
        """Return the sets for so many copies."""
        return cls() if price is None else cls(whole(copies, price.reuses), price.reuses)


ONE_SET = Sets()


@dataclass(frozen=True)
class Tape:
    """Lifting tape: price of a roll, width and length in mm."""

    roll: Decimal
    width: float
    length: float


@dataclass(frozen=True)
class Hand:
    """Times of template and brush; minutes, and pieces a minute.

    ``cutting_attended`` is the share of the cutter's time that somebody must stand by.
    """

    setup_minutes: Decimal
    weeded_a_minute: Decimal
    layer_minutes: Decimal
    brushed_a_minute: Decimal
    cutting_attended: Decimal = Decimal(1)
    check_minutes: Decimal = Decimal(0)
    press_minutes: Decimal = Decimal(0)


@dataclass(frozen=True)
class Machine:
    """Times of a placement machine: minutes to set up a design, stones a minute."""

    setup_minutes: Decimal
    stones_a_minute: Decimal


@dataclass(frozen=True)
class Break:
    """A quantity break: from so many copies on, a share ``off`` the price."""

    start: int
    off: Decimal


@dataclass(frozen=True)
class Shop:
    """One shop's prices and times. ``demo`` marks invented ones; ``file`` is shown on quotes."""

    file: str
    currency: str
    labour: Decimal
    margin: Decimal
    hand: Hand
    stones: Mapping[str, StonePrice]
    sheets: Mapping[str, SheetPrice]
    tape: Tape
    machine: Machine | None = None
    rounding: Decimal = Decimal("0.01")
    waste: Decimal = Decimal(0)
    templates: Literal["order", "life"] = "order"
    demo: bool = False
    breaks: tuple[Break, ...] = ()

    def gross_price(self, size: str, colour: str) -> Decimal | None:
        """Return the price of a gross of this size and colour; None when there is none."""
        price = self.stones.get(size)
        return None if price is None else price.colour.get(colour, price.gross)

    def pack(self, size: str) -> int:
        """Return the gross in the smallest pack of this size, 1 where nothing is said."""
        price = self.stones.get(size)
        return 1 if price is None else price.pack

    def off(self, copies: int) -> Decimal:
        """Return the share off at this many copies."""
        return max((b.off for b in self.breaks if b.start <= copies), default=Decimal(0))


def demo_shop(catalogue: Catalogue) -> Shop:
    """Return the shop of invented prices that comes with stonelayout."""
    source = resources.files("stonelayout").joinpath("data", DEMO_FILE)
    return parse_shop(source.read_text(encoding="utf-8"), DEMO_FILE, catalogue)


def parse_shop(text: str, file: str, catalogue: Catalogue) -> Shop:
    """Read a shop file's text. Raises JobError that lists every problem found, with its line."""
    data = read_toml(text, file, Decimal)
    reader = _ShopReader(Places(text, file), catalogue)
    shop = reader.shop(data, file)
    if reader.problems or shop is None:
        raise JobError(reader.problems)
    return shop


def _share(value: Any) -> Decimal:
    return exact(percent_value(value))


def _part(value: Any) -> Decimal:
    share = _share(value)
    if share >= 1:
        raise InputError(f'"{value}" must be less than 100 %')
    return share


_COUNT = whole_number(1, 100_000)
_SHOP: dict[str, Reader] = {
    "demo": yes_no_value,
    "currency": text_value,
    "labour": money_value,
    "margin": _part,
    "rounding": money_step_value,
    "waste": _share,
    "templates": one_of(("order", "life"), "way to charge templates"),
}
_ROWS: dict[type, dict[str, Reader]] = {
    Hand: {
        "setup_minutes": quantity_value,
        "weeded_a_minute": rate_value,
        "layer_minutes": quantity_value,
        "brushed_a_minute": rate_value,
        "cutting_attended": _share,
        "check_minutes": quantity_value,
        "press_minutes": quantity_value,
    },
    Machine: {"setup_minutes": quantity_value, "stones_a_minute": rate_value},
    Tape: {"roll": money_value, "width": positive_length_value, "length": positive_length_value},
    SheetPrice: {"roll": money_value, "reuses": _COUNT},
}
_TABLES = ("shop", "hand", "machine", "tape", "sheet", "stone", "break")


class _ShopReader(TableReader):
    """Reads a shop's tables and keeps every problem."""

    def __init__(self, places: Places, catalogue: Catalogue) -> None:
        super().__init__(places)
        self.catalogue = catalogue

    def shop(self, data: Mapping[str, Any], file: str) -> Shop | None:
        self.only(data, _TABLES)
        head = self.table(data, "shop", _SHOP)
        self.missing("shop", data.get("shop", {}), ("currency", "labour", "margin"))
        hand = self.record("hand", data.get("hand", {}), Hand)
        tape = self.record("tape", data.get("tape", {}), Tape)
        machine = self.record("machine", data["machine"], Machine) if "machine" in data else None
        sheets = self.rows(data, "sheet", self.catalogue.sheets, self.sheet)
        stones = self.rows(data, "stone", self.catalogue.stones, self.stone)
        breaks = self.breaks(data.get("break", []))
        if self.problems:
            return None
        for name, sheet in self.catalogue.sheets.items():
            if sheet.measured and name not in sheets:  # the same material under another name
                lent = next((sheets[base] for base in sheet.like if base in sheets), None)
                sheets |= {name: lent} if lent is not None else {}
        return Shop(
            file=file,
            hand=hand,
            tape=tape,
            machine=machine,
            sheets=sheets,
            stones=stones,
            breaks=breaks,
            **head,
        )

    def record(self, key: str, raw: Any, kind: type) -> Any:
        """Read one table as a dataclass; None with a problem when it is not whole."""
        needed = [f.name for f in fields(kind) if f.default is MISSING]
        found = self.row(key, raw, _ROWS[kind], needed)
        return None if found is None else kind(**found)

    def rows(
        self,
        data: Mapping[str, Any],
        table: str,
        known: Mapping[str, Any],
        read: Callable[[str, Any], Any],
    ) -> dict[str, Any]:
        found = {}
        for name, row in self.named(data, table).items():
            if name not in known:
                self.problem(f"{table}.{name}", unknown(name, known, table))
            else:
                found[name] = read(f"{table}.{name}", row)
        return found

    def sheet(self, key: str, raw: Any) -> SheetPrice | None:
        price: SheetPrice | None = self.record(key, raw, SheetPrice)
        return price

    def stone(self, key: str, raw: Any) -> StonePrice | None:
        readers = {
            "gross": money_value,
            "pack": _COUNT,
            "colour": lambda value: self.colours(f"{key}.colour", value),
        }
        found = self.row(key, raw, readers, ("gross",), " with gross = PRICE")
        return None if found is None else StonePrice(**found)

    def colours(self, key: str, raw: Any) -> dict[str, Decimal]:
        if not isinstance(raw, dict):
            raise InputError("write e.g. { crystal = 0.60, jet = 0.60 }")
        return self.keys(key, raw, dict.fromkeys(self.catalogue.colours, money_value))

    def breaks(self, raw: Any) -> tuple[Break, ...]:
        found = []
        for k, entry in enumerate(self.array("break", raw, "quantity break") or (), start=1):
            key = f"break[{k}]"
            read = self.keys(key, entry, {"from": _COUNT, "off": _part})
            self.missing(key, entry, ("from", "off"))
            if len(read) == 2:
                found.append(Break(read["from"], read["off"]))
        if len({b.start for b in found}) < len(found):
            self.problem("break", "two quantity breaks start at the same number of copies")
        return tuple(sorted(found, key=lambda b: b.start))
