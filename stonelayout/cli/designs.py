"""The designs of an order from the files named on the command line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stonelayout.catalogue import DEFAULT_SHEET, Catalogue, Sheet
from stonelayout.errors import InputError
from stonelayout.files import read_text

from .common import job_artwork

if TYPE_CHECKING:
    from stonelayout.findings import Finding
    from stonelayout.job import Job
    from stonelayout.layout import Layout
    from stonelayout.order import Design
    from stonelayout.shop import Shop
    from stonelayout.template import Layer, Registration

_COPIES = re.compile(r"(.+):(\d{1,6})\Z", re.DOTALL)
USER_SHOP = "shop.toml"
FILES_HELP = (
    "FILES are layout.json files or job files (.toml); FILE:25 asks for 25 copies of that one."
)


@dataclass(frozen=True, eq=False)
class Opened:
    """One design, opened: its layout, layers and registration, and the job if there is one."""

    name: str
    layout: Layout
    layers: tuple[Layer, ...]
    registration: Registration
    sheet: Sheet
    design: Design
    job: Job | None
    unread: tuple[Finding, ...] = ()

    def findings(self, catalogue: Catalogue) -> tuple[Finding, ...]:
        """Check the layers; return all findings, the worst first."""
        from stonelayout.allchecks import all_checks
        from stonelayout.findings import in_order

        page = self.registration.page
        piece = None if self.job is not None and self.job.tile else page
        checked = all_checks(self.layers, self.sheet, catalogue, page, piece)
        return in_order((*self.unread, *self.layout.findings, *checked))


def open_designs(
    files: Sequence[str], copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> list[Opened]:
    """Open every file; jobs are laid. ``copies`` and ``sheet_name`` go before the job's own."""
    if not files:
        raise click.UsageError("name at least one layout.json or job file")
    return [one for file in files for one in _open(file, copies, sheet_name, catalogue)]


def open_design(
    file: str, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> Opened:
    """Open a file that holds one design; a usage error for a job with a names list."""
    found = open_designs([file], copies, sheet_name, catalogue)
    if len(found) > 1:
        raise click.UsageError(f"{file} lists {len(found)} names: stonelayout make makes them all")
    return found[0]


def _open(
    file: str, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> list[Opened]:
    """Open one file: one design, or one for each line of a job's names list."""
    from stonelayout.layout import Layout

    match = _COPIES.match(file)
    if match and not Path(file).exists():
        file, copies = match.group(1), int(match.group(2))
        if not copies:
            raise InputError("0 copies: leave the file out", file=file)
    if not file.lower().endswith(".toml"):
        layout = Layout.from_json(read_text(file), file)
        sheet, name = catalogue.sheet(sheet_name or DEFAULT_SHEET), Path(file).stem
        if name == "layout" and Path(file).parent.name:
            name = Path(file).parent.name
        return [_opened(name, layout, sheet, copies or 1, catalogue)]
    from stonelayout.job import parse_job
    from stonelayout.lay import lay
    from stonelayout.unread import unread

    from .names import list_jobs

    text = read_text(file)
    jobs = list_jobs(text, file, catalogue) or [parse_job(text, file, catalogue)]
    found = []
    for job in jobs:
        sheet = catalogue.sheet(sheet_name) if sheet_name is not None else job.sheet
        artwork = job_artwork(job)
        layout = lay(artwork, job.rules, job.sheet)
        one = _opened(job.name, layout, sheet, copies or job.copies, catalogue, job)
        found.append(replace(one, unread=unread(artwork)))
    return found


def _opened(
    name: str,
    layout: Layout,
    sheet: Sheet,
    copies: int,
    catalogue: Catalogue,
    job: Job | None = None,
) -> Opened:
    from stonelayout.layers import separate
    from stonelayout.order import design_of
    from stonelayout.papers import cut_seconds
    from stonelayout.registration import registration
    from stonelayout.rollpapers import pages_of

    layers = separate(layout, sheet)
    marks = registration(layers, sheet)
    if job is not None and job.label:
        from stonelayout.lettering.namemark import named

        marks = named(marks, job.label, job.line)
    seconds = cut_seconds(layers, marks, sheet, catalogue)
    pages = pages_of(layers, marks, sheet)
    design = design_of(name, layout, layers, marks.page.size, copies, seconds, pages)
    return Opened(name, layout, layers, marks, sheet, design, job)


def open_shop(file: str | None, jobs: Sequence[Job | None], catalogue: Catalogue) -> Shop:
    """Return the shop: the file named, else the first job's, else the user's own, else the demo."""
    from stonelayout.shop import demo_shop, parse_shop

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


def spare_option(command: click.decorators.FC) -> click.decorators.FC:
    """Add ``--spare PERCENT``."""
    return click.option(
        "--spare",
        type=click.FloatRange(0, 100),
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
