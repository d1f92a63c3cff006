"""Reading a names list: a CSV file, strictly, with every line and column that cannot be used."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Iterable, Mapping, Sequence

from stonelayout.errors import InputError, JobError
from stonelayout.model.names import Entry, Names, column_name, columns_of, fill
from stonelayout.units import counted

#: Lines that one list may have.
MOST_LINES = 100_000
MOST_COPIES = 1_000_000
#: Digits of a number that is read at all, and of a cell that is shown in a message.
_MOST_DIGITS, _SHOWN = 12, 40
COUNT = "count"


def read_list(
    text: str, file: str, names: Names, wanted: Mapping[str, str] | None = None
) -> tuple[list[Entry], list[tuple[int, str]]]:
    """Read the CSV (comma, semicolon or tab; first line: column names, in any case).

    ``wanted`` are the columns that the job asks for, each with what asks for it.
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
                columns = _columns(cells, f"{file}:{reader.line_num}", names, wanted or {})
            elif len(cells) != len(columns):
                there = counted(len(cells), "cell")
                bad.append((reader.line_num, f"{there} under {counted(len(columns), 'column')}"))
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


def _columns(cells: list[str], place: str, names: Names, wanted: Mapping[str, str]) -> list[str]:
    found = [column_name(cell) for cell in cells]
    if not all(found) or len(set(found)) < len(found):
        raise InputError("every column needs a name of its own in the first line", file=place)
    asked = {**_asked(names), **wanted}
    problems = [
        f'{place}: no column "{name}", which {place_of} asks for; {_instead(name, found, asked)}'
        for name, place_of in asked.items()
        if name not in found
    ]
    if problems:
        raise JobError(problems)
    return found


def _asked(names: Names) -> dict[str, str]:
    """Return the columns that ``[names]`` itself asks for."""
    asked = dict.fromkeys(columns_of(names.label or ""), "label under [names]")
    if names.count is not None:
        asked[column_name(names.count)] = "count under [names]"
    return asked


def _instead(name: str, columns: Sequence[str], asked: Iterable[str]) -> str:
    near = _nearest(name, [column for column in columns if column not in asked])
    return f'is "{near}" meant?' if near else f"there are: {', '.join(columns)}"


def _nearest(name: str, names: Sequence[str]) -> str | None:
    return next(iter(difflib.get_close_matches(name, names, n=1, cutoff=0.6)), None)


def _copies_column(names: Names, columns: Iterable[str]) -> str | None:
    if names.count is not None:
        return column_name(names.count)
    return COUNT if COUNT in columns else None


def _entry(line: int, values: Mapping[str, str], names: Names, columns: Sequence[str]) -> Entry:
    count = _copies_column(names, columns)
    copies = 1
    if count is not None and values[count]:
        known = values[count].isdecimal() and len(values[count]) <= _MOST_DIGITS
        if not known or not 1 <= int(values[count]) <= MOST_COPIES:
            raise InputError(f'{count} "{values[count][:_SHOWN]}" is not a number of copies')
        copies = int(values[count])
    label = fill(names.label or f"{{{columns[0]}}}", values).replace("\\n", " ")
    label = " ".join(label.split())
    return Entry(line, values, label or f"line {line}", copies)


def unused_columns(
    entries: Sequence[Entry], file: str, names: Names, wanted: Iterable[str]
) -> list[str]:
    """Return a warning of the columns that nothing uses.

    Raises InputError for one that is spelled almost as ``count`` and holds whole numbers: its
    copies would be left out.
    """
    if not entries:
        return []
    columns = list(entries[0].values)
    count = _copies_column(names, columns)
    used = {*wanted, *_asked(names), count, *(() if names.label else columns[:1])}
    unused = [column for column in columns if column not in used]
    numbers = [
        column
        for column in unused
        if all(entry.values[column].isdecimal() for entry in entries if entry.values[column])
    ]
    if count is None and (near := _nearest(COUNT, numbers)):
        raise InputError(
            f'nothing uses the column "{near}"; did you mean {COUNT}? Else every line is made '
            f'once: name the column {COUNT}, or write count = "{near}" under [names]',
            file=file,
        )
    if not unused:
        return []
    told = f"{file}: nothing uses the column{'s' * (len(unused) > 1)} " + ", ".join(
        f'"{column}"' for column in unused
    )
    if count is None and numbers:
        told += (
            f'; every line is made once: if "{numbers[0]}" holds the copies, write '
            f'count = "{numbers[0]}" under [names]'
        )
    return [told]
