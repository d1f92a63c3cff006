"""The designs of an order from the files named on the command line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import InputError, JobError, StoneLayoutError
from stonelayout.files import read_bytes, read_text
from stonelayout.model.catalogue import DEFAULT_SHEET, Catalogue, Sheet

from .common import job_artwork, kind_of_file, say

if TYPE_CHECKING:
    from stonelayout.findings import Finding
    from stonelayout.model.job import Job
    from stonelayout.model.layer import Layer, Registration
    from stonelayout.model.layout import Layout
    from stonelayout.model.order import Design
    from stonelayout.model.shop_rates import Shop
    from stonelayout.template.roll import Roll
    from stonelayout.template.tiles import Register, Tile

_COPIES = re.compile(r"(.+):(\d{1,6})\Z", re.DOTALL)
USER_SHOP = "shop.toml"
FILES_HELP = (
    "FILES are layout.json files or job files (.toml); FILE:25 asks for 25 copies of that one, "
    "whatever --copies says for the others."
)


@dataclass(frozen=True, eq=False)
class Opened:
    """One design, opened: its layout, layers and registration, and the job if there is one.

    ``tiles`` are the pieces that it is cut in; where it is too large to be cut, the whole.
    """

    name: str
    layout: Layout
    layers: tuple[Layer, ...]
    registration: Registration
    tiles: tuple[Tile, ...]
    sheet: Sheet
    design: Design
    job: Job | None
    unread: tuple[Finding, ...] = ()
    file: str = ""

    def findings(self, catalogue: Catalogue) -> tuple[Finding, ...]:
        """Check the layers; return all findings, the worst first."""
        from stonelayout.checks.all_checks import all_checks
        from stonelayout.findings import in_order

        page = self.registration.page
        piece = None if self.job is not None and self.job.tile else page
        checked = all_checks(self.layers, self.sheet, catalogue, page, piece)
        return in_order((*self.unread, *self.layout.findings, *checked))


def open_designs(
    files: Sequence[str],
    copies: int | None,
    sheet_name: str | None,
    catalogue: Catalogue,
    *,
    sets: bool = False,
) -> tuple[list[Opened], int]:
    """Open every file; jobs are laid. ``copies`` and ``sheet_name`` go before the job's own.

    ``sets``: the numbers are sets of templates, one of each where none is given. Returns the
    designs and how many lines of names lists cannot be made; each is told. Raises JobError when
    nothing is left.
    """
    if not files:
        raise click.UsageError("name at least one layout.json or job file")
    if copies is not None and all(map(_number_of, files)):
        raise click.UsageError(
            f"--{'sets' if sets else 'copies'} {copies} is for files without a number, and every "
            f"file has its own: {', '.join(files)}; give one or the other"
        )
    copies = copies or (1 if sets else None)
    opened: list[Opened] = []
    left_out: list[str] = []
    for file in files:
        found, missing = _open(file, copies, sheet_name, catalogue)
        opened += [replace(one, file=file) for one in found]
        left_out += missing
    if not opened:
        raise JobError(left_out)
    for reason in left_out:
        say(f"left out: {reason}")
    return opened, len(left_out)


def open_design(
    file: str, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> Opened:
    """Open a file that holds one design; a usage error for a job with a names list."""
    found, _ = open_designs([file], copies, sheet_name, catalogue)
    if len(found) > 1:
        raise click.UsageError(f"{file} lists {len(found)} names: stonelayout make makes them all")
    return found[0]


def _number_of(file: str) -> re.Match[str] | None:
    """Return the file and the number in ``FILE:12``; None where it has no number."""
    return None if Path(file).exists() else _COPIES.match(file)


def _open(
    file: str, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> tuple[list[Opened], list[str]]:
    """Open one file: one design, or one for each line of a names list; and the lines left out."""
    from .check import read_layout

    match = _number_of(file)
    if match:
        file, copies = match.group(1), int(match.group(2))
        if not copies:
            raise InputError("0 copies: leave the file out", file=file)
    if not file.lower().endswith(".toml"):
        data = read_bytes(file)
        if (kind := kind_of_file(file, data)) in ("a drawing", "a picture"):
            raise InputError(
                f"this is {kind}, and a layout.json or a job file is wanted here: stonelayout lay "
                "makes a layout of a drawing; stonelayout check FILE -o PICTURE.svg shows a hole "
                "file",
                file=file,
            )
        layout = read_layout(file, data)
        sheet = catalogue.sheet(sheet_name or layout.sheet or DEFAULT_SHEET)
        name = Path(file).stem
        if name == "layout" and Path(file).parent.name:
            name = Path(file).parent.name
        return [_opened(name, layout, sheet, copies or 1, catalogue)], []
    from stonelayout.laying.design_size import smaller_than_asked
    from stonelayout.laying.lay import lay
    from stonelayout.model.job import parse_job
    from stonelayout.reading.skipped_findings import unread

    from .names import list_jobs

    text = read_text(file)
    jobs, left_out = list_jobs(text, file, catalogue)
    listed = bool(jobs or left_out)
    found = []
    for place, job in jobs if listed else [("", parse_job(text, file, catalogue))]:
        sheet = catalogue.sheet(sheet_name) if sheet_name is not None else job.sheet
        try:
            artwork = job_artwork(job)
            layout = lay(artwork, job.rules, job.sheet)
            one = _opened(job.name, layout, sheet, copies or job.copies, catalogue, job)
            if listed:  # one that no sheet holds must not stop the others
                cut_as(one.layers, sheet, job)
        except StoneLayoutError as error:
            if not listed:
                raise
            left_out.append(f"{place}: {error}")
            continue
        smaller = smaller_than_asked(artwork, job.rules, job.size_of)
        found.append(replace(one, unread=(*unread(artwork), *smaller)))
    return found, left_out


def _opened(
    name: str,
    layout: Layout,
    sheet: Sheet,
    copies: int,
    catalogue: Catalogue,
    job: Job | None = None,
) -> Opened:
    from stonelayout.documents.job_documents import cut_seconds
    from stonelayout.model.order import design_of
    from stonelayout.template.separation import separate
    from stonelayout.template.tiles import Tile
    from stonelayout.template.tiling import pages_of

    layers = separate(layout, sheet)
    marks = _register(sheet, job)(layers)
    tiles: tuple[Tile, ...] = (Tile(1, 1, layers, marks),)
    with suppress(InputError):
        tiles = cut_as(layers, sheet, job)
    seconds = cut_seconds(tiles, sheet, catalogue)
    design = design_of(name, layout, layers, marks.page.size, copies, seconds, pages_of(tiles))
    return Opened(name, layout, layers, marks, tiles, sheet, design, job)


def cut_as(
    layers: Sequence[Layer],
    sheet: Sheet,
    job: Job | None,
    *,
    tiled: bool = False,
    roll: Roll | None = None,
) -> tuple[Tile, ...]:
    """Return the pieces that a design is cut in; InputError when it is too large, and not tiled.

    A job says for itself whether it is ``tiled``; a layout.json is by the option ``--tile``.
    """
    from stonelayout.template.tiling import TILE_OPTION, pieces

    tiled, how = (tiled, TILE_OPTION) if job is None else (tiled or job.tile, "")
    return pieces(layers, sheet, _register(sheet, job), tiled=tiled, roll=roll, how=how)


def _register(sheet: Sheet, job: Job | None) -> Register:
    from stonelayout.template.tiling import marks_of

    return marks_of(sheet) if job is None else marks_of(sheet, job.label, job.line)


def open_shop(file: str | None, jobs: Sequence[Job | None], catalogue: Catalogue) -> Shop:
    """Return the shop: the file named, else the first job's, else the user's own, else the demo."""
    from stonelayout.model.shop_rates import demo_shop, parse_shop

    from .common import user_catalogue_path

    if file is None:
        named = [job for job in jobs if job is not None and job.shop]
        if named:
            file = str(Path(named[0].file).parent / str(named[0].shop))
        else:
            own = user_catalogue_path().with_name(USER_SHOP)
            file = str(own) if own.is_file() else None
    if file is None:
        return demo_shop(catalogue)
    return parse_shop(read_text(file), file, catalogue)


def spare_of(given: float | None, opened: Sequence[Opened]) -> float:
    """Return the spare share: the one given, else the most that a job asks, else 3 %."""
    if given is not None:
        return given / 100
    return max((one.job.spare for one in opened if one.job is not None), default=0.03)


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


def same_sheet(opened: Sequence[Opened]) -> Sheet:
    """Return the sheet of all designs; InputError when they are cut from several."""
    names = dict.fromkeys(one.sheet.name for one in opened)
    if len(names) > 1:
        raise InputError(f"the designs use several sheets ({', '.join(names)}): say --sheet NAME")
    return opened[0].sheet
