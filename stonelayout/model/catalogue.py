"""The catalogue: stone sizes, colours, sheets and cutters; packaged TOML, a user's file over it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from stonelayout.errors import CatalogueError, JobError
from stonelayout.spelling import unknown
from stonelayout.toml.places import Places, read_toml
from stonelayout.toml.tables import TableReader
from stonelayout.toml.values import (
    Reader,
    any_text_value,
    force_value,
    fraction_value,
    length_from_zero_value,
    number_value,
    rgb_value,
    whole_number,
    yes_no_value,
)

_PACKAGED = ("stones.toml", "colours.toml", "sheets.toml", "cutters.toml")
DEFAULT_SHEET = "thin-flock"
DEFAULT_CUTTER = "desktop-12"
T = TypeVar("T")


@dataclass(frozen=True)
class Stone:
    """A stone size: a sieve class, so a range of diameters in mm.

    ``diameter`` is the nominal (mid-range) diameter: gaps, pitches and holes count from it.
    """

    name: str
    min: float
    max: float
    pp: str = ""

    @property
    def diameter(self) -> float:
        """Nominal diameter in mm, the middle of the range."""
        return round((self.min + self.max) / 2, 4)


@dataclass(frozen=True)
class Sheet:
    """A template material. Lengths in mm, force in grams-force (low, high).

    ``least_share`` is the least share of material that must be left along a line of holes: the
    ligament efficiency (pitch - hole) / pitch of a regular row. ``measured``: clearance and least
    web are those of a coupon; ``like`` names the sheets that the row starts from, nearest first.
    """

    name: str
    about: str
    width: float
    length: float
    thickness: float
    clearance: float
    least_web: float
    least_share: float = 0.07
    colour: str = "black"
    force: tuple[float, float] = (0.0, 0.0)
    speed: float = 0.0
    passes: int = 2
    overcut: float = 0.0
    measured: bool = False
    like: tuple[str, ...] = ()

    def hole(self, diameter: float) -> float:
        """Diameter in mm of the hole for a stone of this nominal diameter."""
        return diameter + self.clearance


@dataclass(frozen=True)
class Cutter:
    """A drag-knife cutter: width and blade offset in mm, speeds in mm/s, lift in seconds."""

    name: str
    about: str
    width: float
    blade_offset: float
    speed: float
    travel: float
    lift: float


@dataclass(frozen=True)
class Catalogue:
    """All that a job can name: mappings from name to Stone, ``#rrggbb``, Sheet and Cutter."""

    stones: Mapping[str, Stone] = field(default_factory=dict)
    colours: Mapping[str, str] = field(default_factory=dict)
    sheets: Mapping[str, Sheet] = field(default_factory=dict)
    cutters: Mapping[str, Cutter] = field(default_factory=dict)

    def stone(self, name: str) -> Stone:
        """Return the stone size; CatalogueError with the nearest names when there is none."""
        return _pick(self.stones, name.lower(), "stone", name)

    def sheet(self, name: str) -> Sheet:
        """Return the sheet; CatalogueError with the nearest names when there is none."""
        return _pick(self.sheets, name, "sheet")

    def cutter(self, name: str) -> Cutter:
        """Return the cutter; CatalogueError with the nearest names when there is none."""
        return _pick(self.cutters, name, "cutter")

    def rgb(self, colour: str) -> str:
        """Return the colour as ``#rrggbb``; CatalogueError with the nearest words when unknown."""
        return _pick(self.colours, colour.lower(), "colour", colour)


def _pick(table: Mapping[str, T], name: str, what: str, given: str | None = None) -> T:
    try:
        return table[name]
    except KeyError:
        raise CatalogueError(unknown(given or name, table, what)) from None


def load_catalogue(*files: str | Path) -> Catalogue:
    """Return the packaged catalogue with the user's files laid over it, in the order given.

    A row of a user's file with a known name changes only the keys that it gives; a new sheet or
    cutter may start from another row with ``base = "thin-flock"``. Raises CatalogueError that
    lists every problem found, with file and line.
    """
    builder = _CatalogueBuilder()
    for name in _PACKAGED:
        source = resources.files("stonelayout").joinpath("data", name)
        builder.add(source.read_text(encoding="utf-8"), name)
    for path in files:
        try:
            text = Path(path).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise CatalogueError(f"cannot read: {_reason(error)}", file=str(path)) from None
        builder.add(text, str(path))
    return builder.finish()


def _reason(error: OSError | UnicodeDecodeError) -> str:
    if isinstance(error, UnicodeDecodeError):
        return "not UTF-8 text"
    return error.strerror or str(error)


#: How each key of a row is read. A new key of a dataclass needs its line here.
_READERS: dict[type, dict[str, Reader]] = {
    Stone: {"min": length_from_zero_value, "max": length_from_zero_value, "pp": any_text_value},
    Sheet: {
        "about": any_text_value,
        "width": length_from_zero_value,
        "length": length_from_zero_value,
        "thickness": length_from_zero_value,
        "clearance": length_from_zero_value,
        "least_web": length_from_zero_value,
        "least_share": fraction_value,
        "colour": any_text_value,
        "force": force_value,
        "speed": number_value,
        "passes": whole_number(1, 20),
        "overcut": length_from_zero_value,
        "measured": yes_no_value,
    },
    Cutter: {
        "about": any_text_value,
        "width": length_from_zero_value,
        "blade_offset": length_from_zero_value,
        "speed": number_value,
        "travel": number_value,
        "lift": number_value,
    },
}
_TABLES: dict[str, type] = {"stone": Stone, "sheet": Sheet, "cutter": Cutter}


class _CatalogueBuilder:
    """Collects rows from files in order, and every problem in them."""

    def __init__(self) -> None:
        self.rows: dict[str, dict[str, dict[str, Any]]] = {name: {} for name in _TABLES}
        self.colours: dict[str, str] = {}
        self.places: dict[tuple[str, str], str] = {}
        self.problems: list[str] = []

    def add(self, text: str, file: str) -> None:
        try:
            data = read_toml(text, file)
        except JobError as error:
            raise CatalogueError(error.message) from None
        reader = TableReader(Places(text, file))
        for table in data:
            reader.only([table], (*_TABLES, "colour"))
            if table == "colour":
                rows = reader.named(data, table)
                found = reader.keys(table, rows, dict.fromkeys(rows, rgb_value))
                self.colours |= {name.lower(): rgb for name, rgb in found.items()}
            elif table in _TABLES:
                for name, row in reader.named(data, table).items():
                    self._row(reader, table, name, row)
        self.problems += reader.problems

    def _row(self, reader: TableReader, table: str, name: str, raw: Any) -> None:
        where = f"{table}.{name}"
        rows = self.rows[table]
        given = reader.mapping(where, raw)
        if given is None:
            return
        start, row = given.get("base", name), {k: v for k, v in given.items() if k != "base"}
        if "base" in given and (not isinstance(start, str) or start not in rows):
            reader.problem(f"{where}.base", unknown(start, rows, table))
            start = name
        built = dict(rows.get(start, {}))
        if "base" in given and table == "sheet":
            built |= {"measured": False, "like": (start, *built.get("like", ()))}
        rows[name] = built | reader.keys(where, row, _READERS[_TABLES[table]])
        self.places[table, name] = reader.places.at(where, "")

    def finish(self) -> Catalogue:
        built = {
            table: {name: self._build(table, name, row) for name, row in rows.items()}
            for table, rows in self.rows.items()
        }
        if not self.problems:
            self._check(built)
        if self.problems:
            raise CatalogueError("\n".join(self.problems))
        return Catalogue(built["stone"], self.colours, built["sheet"], built["cutter"])

    def _build(self, table: str, name: str, row: dict[str, Any]) -> Any:
        kind = _TABLES[table]
        missing = [
            f.name
            for f in fields(kind)
            if f.name in _READERS[kind] and f.name not in row and not _has_default(f)
        ]
        if missing:
            self.problems.append(self.places[table, name] + f"missing {', '.join(missing)}")
            return None
        return kind(name=name, **row)

    def _check(self, built: dict[str, dict[str, Any]]) -> None:
        for name, stone in built["stone"].items():
            if not 0 < stone.min <= stone.max:
                self.problems.append(
                    self.places["stone", name] + "min must be above 0 and not above max"
                )
        for table in ("sheet", "cutter"):
            for name, row in built[table].items():
                if row.width <= 0:
                    self.problems.append(self.places[table, name] + "width must be above 0")
        for name, sheet in built["sheet"].items():
            if sheet.colour not in self.colours:
                self.problems.append(
                    self.places["sheet", name] + unknown(sheet.colour, self.colours, "colour")
                )


def _has_default(row_field: Any) -> bool:
    return row_field.default is not MISSING
