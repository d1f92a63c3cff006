"""The catalogue: stone sizes, colours, sheets and cutters; packaged TOML, a user's file over it."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from stonelayout.errors import CatalogueError, InputError
from stonelayout.spelling import unknown
from stonelayout.toml.places import Places
from stonelayout.units import parse_length

_RGB = re.compile(r"#[0-9a-f]{6}\Z")
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
    builder = _Builder()
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


def _length(value: Any) -> float:
    if not isinstance(value, str):
        raise InputError(f'{value!r} is not a length; write e.g. "0.5 mm"')
    found = parse_length(value)
    if found < 0:
        raise InputError(f'"{value}" is negative')
    return found


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(f"{value!r} is not a number")
    if not math.isfinite(value) or value < 0:
        raise InputError(f"{value!r} is not a number of zero or more")
    return float(value)


def _share(value: Any) -> float:
    share = _number(value)
    if share >= 1:
        raise InputError(f"{value!r} is not a share from 0 to 1")
    return share


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 20:
        raise InputError(f"{value!r} is not a whole number from 1 to 20")
    return value


def _yes_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{value!r} is not true or false")
    return value


def _word(value: Any) -> str:
    if not isinstance(value, str):
        raise InputError(f"{value!r} is not text in quotes")
    return value


def _force(value: Any) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{value!r} is not a pair [least, most] of grams-force")
    low, high = _number(value[0]), _number(value[1])
    if low > high:
        raise InputError(f"{value!r}: the first must not be more than the second")
    return low, high


def _rgb(value: Any) -> str:
    if not isinstance(value, str) or not _RGB.match(value.lower()):
        raise InputError(f'{value!r} is not a colour; write e.g. "#1f4fa8"')
    return value.lower()


#: How each key of a row is read. A new key of a dataclass needs its line here.
_READERS: dict[type, dict[str, Callable[[Any], Any]]] = {
    Stone: {"min": _length, "max": _length, "pp": _word},
    Sheet: {
        "about": _word,
        "width": _length,
        "length": _length,
        "thickness": _length,
        "clearance": _length,
        "least_web": _length,
        "least_share": _share,
        "colour": _word,
        "force": _force,
        "speed": _number,
        "passes": _count,
        "overcut": _length,
        "measured": _yes_no,
    },
    Cutter: {
        "about": _word,
        "width": _length,
        "blade_offset": _length,
        "speed": _number,
        "travel": _number,
        "lift": _number,
    },
}
_TABLES: dict[str, type] = {"stone": Stone, "sheet": Sheet, "cutter": Cutter}


class _Builder:
    """Collects rows from files in order, and every problem in them."""

    def __init__(self) -> None:
        self.rows: dict[str, dict[str, dict[str, Any]]] = {name: {} for name in _TABLES}
        self.colours: dict[str, str] = {}
        self.places: dict[tuple[str, str], str] = {}
        self.problems: list[str] = []

    def add(self, text: str, file: str) -> None:
        try:
            data = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise CatalogueError(f"not TOML: {error}", file=file) from None
        places = Places(text, file)
        for table, content in data.items():
            if table == "colour" and isinstance(content, dict):
                for name, value in content.items():
                    self._try(places, f"colour.{name}", self._set_colour, name, value)
            elif table in _TABLES and isinstance(content, dict):
                for name, row in content.items():
                    self._row(places, table, name, row)
            else:
                names = [*_TABLES, "colour"]
                self.problems.append(places.at(table, unknown(table, names, "table")))

    def _set_colour(self, name: str, value: Any) -> None:
        self.colours[name.lower()] = _rgb(value)

    def _try(self, places: Places, key: str, action: Callable[..., None], *args: Any) -> None:
        try:
            action(*args)
        except InputError as error:
            self.problems.append(places.at(key, error.message))

    def _row(self, places: Places, table: str, name: str, row: Any) -> None:
        where = f"{table}.{name}"
        if not isinstance(row, dict):
            self.problems.append(places.at(where, f"write it as a table: [{where}]"))
            return
        readers = _READERS[_TABLES[table]]
        rows = self.rows[table]
        start = row.get("base", name)
        if "base" in row and start not in rows:
            self.problems.append(places.at(f"{where}.base", unknown(start, rows, table)))
        built = dict(rows.get(start, {}))
        if "base" in row and table == "sheet":
            built |= {"measured": False, "like": (start, *built.get("like", ()))}
        for key, value in row.items():
            if key == "base":
                continue
            if key not in readers:
                self.problems.append(places.at(f"{where}.{key}", unknown(key, readers, "key")))
                continue
            self._try(
                places, f"{where}.{key}", lambda k, v: built.update({k: readers[k](v)}), key, value
            )
        rows[name] = built
        self.places[table, name] = places.at(where, "")

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
