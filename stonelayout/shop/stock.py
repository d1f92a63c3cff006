"""Stock: what an order needs against what lies on the shelf, and what to buy."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from stonelayout.errors import InputError, JobError
from stonelayout.model.catalogue import Catalogue
from stonelayout.model.order import GROSS, Need, whole
from stonelayout.spelling import unknown
from stonelayout.toml.places import Places, read_toml
from stonelayout.toml.tables import TableReader
from stonelayout.units import counted

Shelf = Mapping[tuple[str, str], int]
_AMOUNT = re.compile(r"\s*(\d{1,9})\s*(stones?|gross)?\s*\Z")
_COLUMNS = ("size", "colour", "stones", "gross")


@dataclass(frozen=True)
class StockLine:
    """One size and colour: the need, what there is (None: no stock file), what to buy.

    ``pack`` is gross in a pack; ``packs`` whole packs that make up what is short.
    """

    need: Need
    have: int | None
    pack: int = 1

    @property
    def short(self) -> int:
        """Stones that are missing; all of them when nothing is known of the stock."""
        return max(0, self.need.total - (self.have or 0))

    @property
    def left(self) -> int:
        """Stones that remain on the shelf when the order is done."""
        return max(0, (self.have or 0) - self.need.total)

    @property
    def packs(self) -> int:
        """Whole packs to buy."""
        return whole(self.short, GROSS * self.pack)

    def as_dict(self) -> dict[str, Any]:
        """Return the line as it stands in reports."""
        return {
            "size": self.need.size,
            "colour": self.need.colour,
            "placed": self.need.placed,
            "spare": self.need.spare,
            "total": self.need.total,
            "gross": self.need.gross,
            "have": self.have,
            "short": self.short,
            "pack_gross": self.pack,
            "packs_to_buy": self.packs,
        }


def stock_lines(
    needs: Iterable[Need],
    shelf: Shelf | None = None,
    pack: Callable[[str], int] | None = None,
) -> tuple[StockLine, ...]:
    """Set each need against the shelf. ``pack`` gives the gross in a pack of a size (none: 1)."""
    return tuple(
        StockLine(
            need,
            None if shelf is None else shelf.get((need.size, need.colour), 0),
            1 if pack is None else pack(need.size),
        )
        for need in needs
    )


def stock_text(lines: Iterable[StockLine], benches: int | None = None) -> str:
    """Return the stock lines as a table for people.

    ``benches`` is what all job sheets take out together (see ``taken_out``), told where it differs.
    """
    lines = list(lines)
    known = any(line.have is not None for line in lines)
    head = f"{'size':7}{'colour':12}{'placed':>8}{'spare':>7}{'total':>8}{'gross':>7}"
    rows = [head + (f"{'have':>8}{'short':>8}" if known else "") + "   buy"]
    for line in lines:
        need = line.need
        row = f"{need.size:7}{need.colour:12}{need.placed:8}{need.spare:7}{need.total:8}"
        row += f"{need.gross:7}"
        if known:
            row += f"{line.have or 0:8}{line.short:8}"
        rows.append(f"{row}   {_buy(line)}")
    placed, spare = (sum(getattr(x.need, key) for x in lines) for key in ("placed", "spare"))
    rows.append(f"{'all':19}{placed:8}{spare:7}{placed + spare:8}")
    if benches is not None and benches != placed + spare:
        rows.append(
            f"the job sheets together take out {benches}: each rounds its own spare up to whole "
            "stones, and what is left over goes on to the next"
        )
    if known:
        short = [line for line in lines if line.short]
        rows.append(
            f"{counted(len(short), 'kind')} of stone to buy" if short else "enough of everything"
        )
    return "\n".join(rows) + "\n"


def _buy(line: StockLine) -> str:
    if not line.packs:
        return "-"
    return f"{line.packs} x {line.pack} gross"


def stock_csv(lines: Iterable[StockLine]) -> str:
    """Return the stock lines as CSV (RFC 4180 but for line ends of one character)."""
    out = io.StringIO()
    rows = [line.as_dict() for line in lines]
    if rows:
        writer = csv.DictWriter(out, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return out.getvalue()


def parse_shelf(text: str, file: str, catalogue: Catalogue) -> Shelf:
    """Read a stock file: CSV where its name ends so, else TOML. JobError lists every problem.

    CSV has the columns size, colour and stones or gross, in any order; rows of the same size and
    colour (two bags) are added up. TOML has a table for each size: ``[ss6]``, ``crystal = 1440``
    or ``crystal = "10 gross"``.
    """
    read = _parse_csv if file.lower().endswith(".csv") else _parse_toml
    shelf, problems = read(text, file, catalogue)
    if problems:
        raise JobError(problems)
    return shelf


def _amount(value: Any) -> int:
    match = _AMOUNT.match(str(value)) if isinstance(value, (int, str)) else None
    if match is None or isinstance(value, bool):
        raise InputError(f'{value!r} is not a count; write e.g. 1440 or "10 gross"')
    return int(match.group(1)) * (GROSS if match.group(2) == "gross" else 1)


def _parse_toml(text: str, file: str, catalogue: Catalogue) -> tuple[Shelf, list[str]]:
    data = read_toml(text, file)
    reader = TableReader(Places(text, file))
    readers = dict.fromkeys(catalogue.colours, _amount)
    shelf = {}
    for size, row in data.items():
        if size not in catalogue.stones:
            reader.problem(size, unknown(size, catalogue.stones, "stone"))
        for colour, count in reader.table(data, size, readers).items() if row else ():
            shelf[size, colour] = count
    return shelf, reader.problems


def _parse_csv(text: str, file: str, catalogue: Catalogue) -> tuple[Shelf, list[str]]:
    first = text.split("\n", 1)[0]
    rows = csv.reader(io.StringIO(text), delimiter=";" if ";" in first else ",")
    shelf: dict[tuple[str, str], int] = {}
    problems: list[str] = []
    head: list[str] = []
    try:
        for row in rows:
            cells = [cell.strip().lower() for cell in row]
            if not any(cells) or cells[0].startswith("#"):
                continue
            place = f"{file}:{rows.line_num}: "
            if not head:
                head = cells
                problems += [place + problem for problem in _head_problems(head)]
                if problems:
                    break
                continue
            try:
                key, count = _csv_row(head, cells, catalogue)
            except InputError as error:
                problems.append(place + error.message)
            else:
                shelf[key] = shelf.get(key, 0) + count
    except csv.Error as error:
        problems.append(f"{file}:{rows.line_num}: not CSV: {error}")
    if not head:
        problems.append(f"{file}: no columns; the first line must be: size,colour,stones")
    return shelf, problems


def _head_problems(head: list[str]) -> list[str]:
    found = [unknown(name, _COLUMNS, "column") for name in head if name not in _COLUMNS]
    if "size" not in head or "colour" not in head or not {"stones", "gross"} & set(head):
        found.append("the columns size, colour, and stones or gross are needed")
    return found


def _csv_row(
    head: list[str], cells: list[str], catalogue: Catalogue
) -> tuple[tuple[str, str], int]:
    if any(cells[len(head) :]):
        raise InputError(f"{len(cells)} cells under {len(head)} columns; write 1440, not 1,440")
    row = dict(zip(head, cells, strict=False))
    size, colour = catalogue.stone(row.get("size", "")).name, row.get("colour", "")
    catalogue.rgb(colour)
    stones, gross = row.get("stones", ""), row.get("gross", "")
    if not stones and not gross:
        raise InputError(f"{size} {colour}: no count")
    count = _amount(stones) if stones else 0
    return (size, colour), count + (_amount(gross) * GROSS if gross else 0)
