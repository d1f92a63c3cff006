"""Reading the tables of a user's TOML file: every problem kept, with its key and line."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from stonelayout.errors import InputError
from stonelayout.spelling import unknown

from .places import Places
from .values import Reader

T = TypeVar("T")


class TableReader:
    """Reads tables strictly and keeps every problem, so that all can be shown at once."""

    def __init__(self, places: Places) -> None:
        self.places = places
        self.problems: list[str] = []

    def problem(self, key: str, message: str) -> None:
        """Keep a problem with the key's place."""
        self.problems.append(self.places.at(key, message))

    def value(self, key: str, read: Callable[[Any], T], raw: Any) -> T | None:
        """Read one value; on a problem keep it and return None."""
        try:
            return read(raw)
        except InputError as error:
            self.problem(key, error.message)
            return None

    def only(self, names: Iterable[str], known: Iterable[str]) -> None:
        """Keep a problem for each table of a file, by name, that is none of the known ones."""
        for key in names:
            if key not in known:
                self.problem(key, unknown(key, known, "table"))

    def table(
        self, data: Mapping[str, Any], name: str, readers: Mapping[str, Reader]
    ) -> dict[str, Any]:
        """Read a table that may be missing: unknown keys and wrong values become problems."""
        return self.keys(name, self.mapping(name, data.get(name, {})) or {}, readers)

    def row(
        self,
        key: str,
        raw: Any,
        readers: Mapping[str, Reader],
        needed: Iterable[str] = (),
        example: str = "",
    ) -> dict[str, Any] | None:
        """Read a table that must be whole, with the keys needed; None with problems when not."""
        before = len(self.problems)
        table = self.mapping(key, raw, example)
        if table is None:
            return None
        found = self.keys(key, table, readers)
        self.missing(key, table, needed)
        return found if len(self.problems) == before else None

    def mapping(self, key: str, raw: Any, example: str = "") -> Mapping[str, Any] | None:
        """Return what is a table as it stands; None with a problem for anything else."""
        if isinstance(raw, dict):
            return raw
        self.problem(key, f"write it as a table: [{key}]{example}")
        return None

    def named(self, data: Mapping[str, Any], table: str) -> Mapping[str, Any]:
        """Return the rows ``[table.NAME]`` of a file by their names."""
        raw = data.get(table, {})
        if isinstance(raw, dict):
            return raw
        self.problem(table, f"write a table for each: [{table}.NAME]")
        return {}

    def array(self, key: str, raw: Any, what: str) -> list[Mapping[str, Any]] | None:
        """Return the tables ``[[key]]``, of which each is one ``what``; None with a problem."""
        if isinstance(raw, list) and all(isinstance(entry, dict) for entry in raw):
            return raw
        self.problem(key, f"write each {what} as a table of its own: [[{key}]]")
        return None

    def keys(
        self, where: str, raw: Mapping[str, Any], readers: Mapping[str, Reader]
    ) -> dict[str, Any]:
        """Read the keys of one table that stands at ``where``; what is wrong is left out."""
        found = {}
        for key, value in raw.items():
            if key not in readers:
                self.problem(f"{where}.{key}", unknown(key, readers, "key"))
            elif (read := self.value(f"{where}.{key}", readers[key], value)) is not None:
                found[key] = read
        return found

    def missing(self, key: str, raw: Any, needed: Iterable[str]) -> None:
        """Keep a problem where a table lacks keys; one that is no table has its own."""
        if isinstance(raw, dict) and (absent := [name for name in needed if name not in raw]):
            self.problem(key, f"missing {', '.join(absent)}")
