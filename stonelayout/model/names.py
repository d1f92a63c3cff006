"""Names lists: a CSV file whose columns fill a job's ``{placeholders}``, one design a line."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from stonelayout.errors import InputError, JobError
from stonelayout.spelling import unknown
from stonelayout.toml.places import Places
from stonelayout.toml.tables import TableReader
from stonelayout.toml.values import text_value

_PLACEHOLDER = re.compile(r"\{([^{}]+)\}")
_UNSAFE = re.compile(r"[^\w.]+")
#: The folder of a list's papers on the roll; no line's folder has its name.
PAPERS_FOLDER = "roll"
#: Endings of a list's papers, which stand beside the folders of its lines.
_PAPER_ENDINGS = ("txt", "csv", "json", "svg", "html")
#: Names that Windows keeps for devices, with any ending too (Microsoft, "Naming Files, Paths, and
#: Namespaces", from memory).
DEVICES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(1, 10))]
)


@dataclass(frozen=True)
class Names:
    """The ``[names]`` table: ``file`` beside the job file.

    ``label`` names a line, on its folder and its templates (None: its first column); ``count`` is
    the column of copies (None: ``count`` where there is one).
    """

    file: str
    label: str | None = None
    count: str | None = None


@dataclass(frozen=True)
class Entry:
    """One line of the list: its number in the file, its columns, its label and copies."""

    line: int
    values: Mapping[str, str]
    label: str
    copies: int = 1


@dataclass(frozen=True)
class ListedDesign:
    """Lines that ask for the same: made once, under the first one's label."""

    entries: tuple[Entry, ...]
    folder: str

    @property
    def label(self) -> str:
        """The first line's label."""
        return self.entries[0].label

    @property
    def copies(self) -> int:
        """The copies of all its lines."""
        return sum(entry.copies for entry in self.entries)

    @property
    def lines(self) -> list[int]:
        """Its lines in the file."""
        return [entry.line for entry in self.entries]


class LeftOut(dict[str, Any]):
    """A text without words on this line of the list, or the rule that would lay it."""


def names_of(data: Mapping[str, Any], text: str, file: str) -> Names | None:
    """Return a job's ``[names]`` table, None when it has none. Raises JobError."""
    if "names" not in data:
        return None
    reader = TableReader(Places(text, file))
    readers = {"file": text_value, "label": text_value, "count": text_value}
    found = reader.table(data, "names", readers)
    if "file" not in found and not reader.problems:
        reader.problem("names", 'missing: file = "NAMES.csv"')
    if reader.problems:
        raise JobError(reader.problems)
    return Names(**found)


def column_name(text: str) -> str:
    """Return a column's name as it is compared: without case or needless blanks."""
    return " ".join(text.split()).casefold()


def columns_of(text: str) -> list[str]:
    """Return the columns that a text with ``{placeholders}`` asks for."""
    return [column_name(name) for name in _PLACEHOLDER.findall(text)]


def fill(text: str, values: Mapping[str, str]) -> str:
    """Put a line's cells in the place of ``{column}``. Raises InputError for an unknown one."""

    def cell(match: re.Match[str]) -> str:
        name = column_name(match[1])
        if name not in values:
            raise InputError(unknown(match[1], values, "column"))
        return values[name]

    return _PLACEHOLDER.sub(cell, text)


def wanted_columns(data: Mapping[str, Any], places: Places) -> dict[str, str]:
    """Return the columns that a job's placeholders ask for, each with the first that does."""
    found: dict[str, str] = {}
    for key, text in _texts(data):
        for name in columns_of(text):
            line = places.line(key)
            found.setdefault(name, f"{key} ({places.file}:{line})")
    return found


def empty_cells(data: Mapping[str, Any], values: Mapping[str, str]) -> str:
    """Say which empty cells leave a job without words to lay, or a value blank; "" when none."""
    line = filled(data, values)
    texts, rules = (_left_out(line.get(table)) for table in ("text", "lay"))
    if all(rules) or ("artwork" not in data and all(texts)):
        gone = (text for text, left in zip(data["text"], texts, strict=True) if left)
        return _are_empty(name for text in gone for name in columns_of(text["words"]))
    blank = {key for key, text in _texts(line) if not text.strip()}
    return _are_empty(
        name for key, text in _texts(data) if key in blank for name in columns_of(text)
    )


def _left_out(tables: Any) -> list[bool]:
    """Tell for each table of an array whether it is left out; for no array, that none is."""
    if not isinstance(tables, list) or not tables:
        return [False]
    return [isinstance(table, LeftOut) for table in tables]


def _are_empty(columns: Iterable[str]) -> str:
    names = list(dict.fromkeys(columns))
    if len(names) < 2:
        return f"the {names[0]} is empty" if names else ""
    return f"the {', '.join(names[:-1])} and {names[-1]} are empty"


def _texts(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield every text of a job outside ``[names]``, with its key (``lay[1].stone``)."""
    for key, value in data.items():
        if key != "names":
            yield from _below(key, value)


def _below(key: str, value: Any) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield key, value
    elif isinstance(value, list):
        for k, entry in enumerate(value, start=1):
            yield from _below(f"{key}[{k}]", entry)
    elif isinstance(value, dict) and not isinstance(value, LeftOut):
        for name, entry in value.items():
            yield from _below(f"{key}.{name}", entry)


def filled(data: Mapping[str, Any], values: Mapping[str, str]) -> dict[str, Any]:
    """Return a job's data with all placeholders filled, ``[names]`` taken out.

    A text whose words are left empty is left out, and with it the rules that pick its letters by
    its id. Raises InputError for an unknown column.
    """
    found: dict[str, Any] = {k: _filled(v, values) for k, v in data.items() if k != "names"}
    texts, rules = found.get("text"), found.get("lay")
    gone = set()
    if isinstance(texts, list):
        for k, text in enumerate(texts):
            words = text.get("words") if isinstance(text, dict) else None
            if not isinstance(words, str):
                continue
            text["words"] = words.replace("\\n", "\n")
            if not words.strip() and data["text"][k]["words"].strip():
                gone.add(text.get("id"))
                texts[k] = LeftOut(text)
    if isinstance(rules, list) and gone:
        for k, rule in enumerate(rules):
            pick = rule.get("pick") if isinstance(rule, dict) else None
            if isinstance(pick, dict) and pick.get("layer") in gone:
                rules[k] = LeftOut(rule)
    return found


def _filled(value: Any, values: Mapping[str, str]) -> Any:
    if isinstance(value, str):
        return fill(value, values)
    if isinstance(value, list):
        return [_filled(entry, values) for entry in value]
    if isinstance(value, dict):
        return {key: _filled(entry, values) for key, entry in value.items()}
    return value


def designs(entries: Iterable[Entry], data: Mapping[str, Any]) -> list[ListedDesign]:
    """Put together the lines that ask for the same, in the order of the list."""
    import json

    groups: dict[str, list[Entry]] = {}
    for entry in entries:
        try:
            wanted = json.dumps(filled(data, entry.values), sort_keys=True, default=str)
        except InputError:
            wanted = f"line {entry.line}"  # its error is told when it is made
        groups.setdefault(f"{wanted}\n{entry.label}", []).append(entry)
    taken = {PAPERS_FOLDER, *DEVICES}
    found = []
    for group in groups.values():
        base = _safe(group[0].label) or f"line-{group[0].line}"
        folder, k = base, 1
        while folder in taken:
            k += 1
            folder = f"{base}-{k}"
        taken.add(folder)
        found.append(ListedDesign(tuple(group), folder))
    return found


def _safe(label: str) -> str:
    """Return a label as a folder's name: letters of any script, digits, hyphens."""
    name = _UNSAFE.sub("-", unicodedata.normalize("NFC", label).casefold())
    name = name.strip("-._")[:60].rstrip("-._")
    stem, _, ending = name.partition(".")
    return name.replace(".", "-") if stem in DEVICES or ending in _PAPER_ENDINGS else name
