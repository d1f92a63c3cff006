"""Options of the commands that take several designs, and the files named there."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import InputError, JobError

from .output import say

if TYPE_CHECKING:
    from stonelayout.model.catalogue import Catalogue
    from stonelayout.orders.opened_designs import OpenedDesign

_COPIES = re.compile(r"(.+):(\d{1,6})\Z", re.DOTALL)
FILES_HELP = (
    "FILES are layout.json files or job files (.toml); FILE:25 asks for 25 copies of that one, "
    "whatever --copies says for the others."
)


def open_designs(
    files: Sequence[str],
    copies: int | None,
    sheet_name: str | None,
    catalogue: Catalogue,
    *,
    sets: bool = False,
) -> tuple[list[OpenedDesign], int]:
    """Open every file; jobs are laid. ``copies`` and ``sheet_name`` go before the job's own.

    ``sets``: the numbers are sets of templates, one of each where none is given. Returns the
    designs and how many lines of names lists cannot be made; each is told. Raises JobError when
    nothing is left.
    """
    from stonelayout.orders.opened_designs import open_file

    if not files:
        raise click.UsageError("name at least one layout.json or job file")
    if copies is not None and all(map(_number_of, files)):
        raise click.UsageError(
            f"--{'sets' if sets else 'copies'} {copies} is for files without a number, and every "
            f"file has its own: {', '.join(files)}; give one or the other"
        )
    copies = copies or (1 if sets else None)
    opened: list[OpenedDesign] = []
    left_out: list[str] = []
    for file in files:
        name, number = file, copies
        if match := _number_of(file):
            name, number = match.group(1), int(match.group(2))
            if not number:
                raise InputError("0 copies: leave the file out", file=name)
        found, missing = open_file(name, number, sheet_name, catalogue, say)
        opened += [replace(one, file=file) for one in found]
        left_out += missing
    if not opened:
        raise JobError(left_out)
    for reason in left_out:
        say(f"left out: {reason}")
    return opened, len(left_out)


def open_design(
    file: str, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> OpenedDesign:
    """Open a file that holds one design; a usage error for a job with a names list."""
    found, _ = open_designs([file], copies, sheet_name, catalogue)
    if len(found) > 1:
        raise click.UsageError(f"{file} lists {len(found)} names: stonelayout make makes them all")
    return found[0]


def _number_of(file: str) -> re.Match[str] | None:
    """Return the file and the number in ``FILE:12``; None where it has no number."""
    return None if Path(file).exists() else _COPIES.match(file)


def copies_option(command: click.decorators.FC) -> click.decorators.FC:
    """Add ``--copies N``."""
    return click.option(
        "--copies", type=click.IntRange(1, 1_000_000), help="Transfers of each design."
    )(command)


class PercentType(click.ParamType[float]):
    """A percentage, ``10`` or ``"10 %"``."""

    name = "PERCENT"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number; a usage error says what a percentage looks like."""
        try:
            found = float(str(value).strip().removesuffix("%"))
        except ValueError:
            found = -1.0
        if not 0 <= found <= 100:
            self.fail(f'"{value}" is not a percentage from 0 to 100; write e.g. 10', param, ctx)
        return found


def spare_option(command: click.decorators.FC) -> click.decorators.FC:
    """Add ``--spare PERCENT``."""
    return click.option(
        "--spare",
        type=PercentType(),
        metavar="PERCENT",
        help="Spare stones, in percent (none given: the job's, or 3).",
    )(command)


def shop_option(command: click.decorators.FC) -> click.decorators.FC:
    """Add ``--shop FILE``."""
    return click.option(
        "--shop", "shop_file", metavar="FILE", help="Your prices and times (TOML)."
    )(command)
