"""Reading the tables of a user's TOML file: every problem kept, with its key and line."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from stonelayout.errors import InputError
from stonelayout.spelling import unknown
from stonelayout.units import parse_length

from .places import Places

T = TypeVar("T")
_PERCENT = re.compile(r"\s*(\d+(?:\.\d+)?)\s*%\s*\Z")


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

    def table(
        self, data: Mapping[str, Any], name: str, readers: Mapping[str, Callable[[Any], Any]]
    ) -> dict[str, Any]:
        """Read a table strictly: unknown keys and wrong values become problems."""
        raw = data.get(name, {})
        if not isinstance(raw, dict):
            self.problem(name, f"write it as a table: [{name}]")
            return {}
        return self.keys(name, raw, readers)

    def keys(
        self, where: str, raw: Mapping[str, Any], readers: Mapping[str, Callable[[Any], Any]]
    ) -> dict[str, Any]:
        """Read the keys of one table that stands at ``where``; what is wrong is left out."""
        found = {}
        for key, value in raw.items():
            if key not in readers:
                self.problem(f"{where}.{key}", unknown(key, readers, "key"))
            elif (read := self.value(f"{where}.{key}", readers[key], value)) is not None:
                found[key] = read
        return found


def text_value(value: Any) -> str:
    """Read text in quotes that is not blank; InputError if it is not."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f'{value!r} is not text; write it in quotes, e.g. "waves"')
    return value.strip()


def positive_length_value(value: Any) -> float:
    """Read a length of more than zero in mm; InputError if it is not."""
    if not isinstance(value, str):
        raise InputError(f'{value!r} is not a length; write e.g. "0.5 mm"')
    found = parse_length(value)
    if found <= 0:
        raise InputError(f'"{value}" must be more than zero')
    return found


def length_value(value: Any) -> float:
    """Read a length in mm; InputError if it is not."""
    if not isinstance(value, str):
        raise InputError(f'{value!r} is not a length; write e.g. "0.5 mm"')
    return parse_length(value)


def percent_value(value: Any) -> float:
    """Read ``"3 %"`` as a share, 0.03; InputError if it is not from 0 to 100 %."""
    match = _PERCENT.match(value) if isinstance(value, str) else None
    if match is None or float(match.group(1)) > 100:
        raise InputError(f'{value!r} is not a share from 0 to 100; write e.g. "3 %"')
    return round(float(match.group(1)) / 100.0, 9)


def copies_value(value: Any) -> int:
    """Read a whole number of copies; InputError if it is not from 1 to a million."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 1_000_000:
        raise InputError(f"{value!r} is not a whole number from 1 to 1000000")
    return value


def yes_no_value(value: Any) -> bool:
    """Read true or false; InputError if it is neither."""
    if not isinstance(value, bool):
        raise InputError(f"{value!r} is not true or false")
    return value
