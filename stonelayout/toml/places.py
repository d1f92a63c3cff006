"""A user's TOML text: its values, and where a key stands, since tomllib gives no lines."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from typing import Any

from stonelayout.errors import JobError

_TABLE = re.compile(r"\s*\[(?P<array>\[)?\s*(?P<name>[^\]\n]+?)\s*\]")
_KEY = re.compile(
    r"""\s*(?P<key>(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')(?:\s*\.\s*[\w"'-]+)*)\s*="""
)
_INLINE_KEY = re.compile(r"""[{,]\s*([A-Za-z0-9_-]+|"[^"\n]*")\s*=""")


def read_toml(text: str, file: str, parse_float: Callable[[str], Any] = float) -> dict[str, Any]:
    """Return a TOML file's data. Raises JobError saying where it is wrong."""
    try:
        return tomllib.loads(text, parse_float=parse_float)
    except tomllib.TOMLDecodeError as error:
        raise JobError([f"{file}: not TOML: {error}"]) from None
    except (
        ValueError,
        RecursionError,
    ):  # whole numbers of over 4,300 digits; thousands of brackets
        raise JobError([f"{file}: a number too long, or values nested too deep"]) from None


class Places:
    """Line numbers of the tables and keys of a TOML text that is known to parse.

    Keys are named with dots, array tables counted from 1: ``lay[1].gap``. A key inside an inline
    table or below a key that is found is placed at the nearest line known.
    """

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self._lines: dict[str, int] = {}
        counts: dict[str, int] = {}
        prefix = ""
        quote = ""
        for number, line in enumerate(text.splitlines(), start=1):
            if quote:
                quote = "" if quote in line else quote
                continue
            table = _TABLE.match(line)
            key = _KEY.match(line)
            if table and not key:
                name = _plain(table.group("name"))
                if table.group("array"):
                    counts[name] = counts.get(name, 0) + 1
                    name = f"{name}[{counts[name]}]"
                else:
                    head, _, rest = name.partition(".")
                    if rest and head in counts:
                        name = f"{head}[{counts[head]}].{rest}"
                self._lines.setdefault(name, number)
                prefix = name + "."
            elif key:
                name = prefix + _plain(key.group("key"))
                self._lines.setdefault(name, number)
                for inner in _INLINE_KEY.findall(line[key.end() :]):
                    self._lines.setdefault(f"{name}.{_plain(inner)}", number)
                quote = _open_quote(line[key.end() :])

    def line(self, key: str) -> int | None:
        """Return the line of a key, or of the nearest table around it; None for the whole file."""
        while key:
            if key in self._lines:
                return self._lines[key]
            key = key.rpartition(".")[0]
        return None

    def at(self, key: str, message: str) -> str:
        """Return ``FILE:LINE: KEY: message``."""
        line = self.line(key)
        place = self.file if line is None else f"{self.file}:{line}"
        return f"{place}: {key}: {message}" if key else f"{place}: {message}"


def _plain(name: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in name.split("."))


def _open_quote(rest: str) -> str:
    for mark in ('"""', "'''"):
        if rest.count(mark) % 2:
            return mark
    return ""
