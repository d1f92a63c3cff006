"""Names lists: a CSV file whose columns fill a job's ``{placeholders}``, one design a line."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .catalogue import unknown
from .errors import InputError, JobError
from .tables import TableReader, text_value
from .tomlplaces import Places

#: Lines that one list may have.
MOST_LINES = 100_000
MOST_COPIES = 1_000_000
_PLACEHOLDER = re.compile(r"\{([^{}]+)\}")
_UNSAFE = re.compile(r"[^\w.]+")


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
class Design:
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


def read_list(text: str, file: str, names: Names) -> tuple[list[Entry], list[tuple[int, str]]]:
    """Read the CSV (comma, semicolon or tab; first line: column names).

    Returns the entries and the lines that cannot be read, each with its number and why. Raises
    InputError when the file as a whole cannot be used.
    """
    head = text.lstrip("\n").partition("\n")[0]
    mark = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    entries: list[Entry] = []
    bad: list[tuple[int, str]] = []
    columns: list[str] = []
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            if not columns:
                columns = _columns(cells, file, names)
            elif len(cells) != len(columns):
                bad.append((reader.line_num, f"{len(cells)} cells under {len(columns)} columns"))
            else:
                try:
                    values = dict(zip(columns, cells, strict=True))
                    entries.append(_entry(reader.line_num, values, names, columns))
                except InputError as error:
                    bad.append((reader.line_num, error.message))
            if len(entries) > MOST_LINES:
                raise InputError(f"more than {MOST_LINES} lines", file=file)
    except csv.Error as error:
        raise InputError(f"not CSV: {error}", file=file, line=reader.line_num) from None
    if not entries and not bad:
        raise InputError("an empty list: the first line names the columns", file=file)
    return entries, bad


def _columns(cells: list[str], file: str, names: Names) -> list[str]:
    if not all(cells) or len(set(cells)) < len(cells):
        raise InputError("every column needs a name of its own in the first line", file=file)
    for key in (names.count, *_PLACEHOLDER.findall(names.label or "")):
        if key is not None and key not in cells:
            raise InputError(unknown(key, cells, "column"), file=file)
    return cells


def _entry(line: int, values: Mapping[str, str], names: Names, columns: Sequence[str]) -> Entry:
    count = names.count or ("count" if "count" in columns else None)
    copies = 1
    if count is not None and values[count]:
        if not values[count].isdecimal() or not 1 <= int(values[count]) <= MOST_COPIES:
            raise InputError(f'{count} "{values[count]}" is not a number of copies')
        copies = int(values[count])
    label = " ".join(fill(names.label or f"{{{columns[0]}}}", values).split())
    return Entry(line, values, label or f"line {line}", copies)


def fill(text: str, values: Mapping[str, str]) -> str:
    """Put a line's cells in the place of ``{column}``. Raises InputError for an unknown one."""

    def cell(match: re.Match[str]) -> str:
        if match[1] not in values:
            raise InputError(unknown(match[1], values, "column"))
        return values[match[1]]

    return _PLACEHOLDER.sub(cell, text)


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
            if isinstance(words, str) and not words.strip() and data["text"][k]["words"].strip():
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


def designs(entries: Iterable[Entry], data: Mapping[str, Any]) -> list[Design]:
    """Put together the lines that ask for the same, in the order of the list."""
    import json

    groups: dict[str, list[Entry]] = {}
    for entry in entries:
        try:
            wanted = json.dumps(filled(data, entry.values), sort_keys=True, default=str)
        except InputError:
            wanted = f"line {entry.line}"  # its error is told when it is made
        groups.setdefault(f"{wanted}\n{entry.label}", []).append(entry)
    taken: set[str] = set()
    found = []
    for group in groups.values():
        base = _safe(group[0].label) or f"line-{group[0].line}"
        folder, k = base, 1
        while folder in taken:
            k += 1
            folder = f"{base}-{k}"
        taken.add(folder)
        found.append(Design(tuple(group), folder))
    return found


def _safe(label: str) -> str:
    """Return a label as a folder's name: letters of any script, digits, hyphens."""
    name = _UNSAFE.sub("-", unicodedata.normalize("NFC", label).casefold())
    return name.strip("-._")[:60]
