"""The designs of an order, opened from layout.json files and job files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from stonelayout.errors import InputError, StoneLayoutError
from stonelayout.files import read_bytes, read_text
from stonelayout.findings import Finding
from stonelayout.model.catalogue import DEFAULT_SHEET, Catalogue, Sheet
from stonelayout.model.job import Job, parse_job
from stonelayout.model.layer import Layer, Registration
from stonelayout.model.layout import Layout
from stonelayout.model.order import Design, design_of
from stonelayout.reading.file_kinds import kind_of_file
from stonelayout.template.roll import Roll
from stonelayout.template.separation import separate
from stonelayout.template.template_files import read_layout
from stonelayout.template.tiles import Tile
from stonelayout.template.tiling import TILE_OPTION, marks_of, pages_of, pieces

from .job_drawing import job_artwork
from .names_list import read_names


@dataclass(frozen=True, eq=False)
class OpenedDesign:
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


def open_file(
    file: str,
    copies: int | None,
    sheet_name: str | None,
    catalogue: Catalogue,
    tell: Callable[[str], None],
) -> tuple[list[OpenedDesign], list[str]]:
    """Open a layout.json or a job file, which is laid: one design, or one a line of a names list.

    ``copies`` and ``sheet_name`` go before the job's own. Returns the designs, and the lines that
    cannot be made, each with its place and why; ``tell`` hears what else there is to say of the
    list. Raises InputError for a file that cannot be used, and what laying a single job raises.
    """
    if not file.lower().endswith(".toml"):
        return [_open_layout(file, copies, sheet_name, catalogue)], []
    text = read_text(file)
    names = read_names(text, file, catalogue)
    if names is None:
        job = parse_job(text, file, catalogue)
        return [_open_job(job, copies, sheet_name, catalogue)], []
    for warning in names.warnings:
        tell(f"warning: {warning}")
    jobs, left_out = names.jobs()
    found = []
    for place, job in jobs:
        try:
            one = _open_job(job, copies, sheet_name, catalogue)
            cut_as(one.layers, one.sheet, job)  # one that no sheet holds must not stop the others
        except StoneLayoutError as error:
            left_out.append(f"{place}: {error}")
        else:
            found.append(one)
    return found, left_out


def _open_layout(
    file: str, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> OpenedDesign:
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
    return _opened(name, layout, sheet, copies or 1, catalogue)


def _open_job(
    job: Job, copies: int | None, sheet_name: str | None, catalogue: Catalogue
) -> OpenedDesign:
    from stonelayout.laying.design_size import smaller_than_asked
    from stonelayout.laying.lay import lay
    from stonelayout.reading.skipped_findings import unread

    sheet = catalogue.sheet(sheet_name) if sheet_name is not None else job.sheet
    artwork = job_artwork(job)
    layout = lay(artwork, job.rules, job.sheet)
    one = _opened(job.name, layout, sheet, copies or job.copies, catalogue, job)
    smaller = smaller_than_asked(artwork, job.rules, job.size_of)
    return replace(one, unread=(*unread(artwork), *smaller))


def _opened(
    name: str,
    layout: Layout,
    sheet: Sheet,
    copies: int,
    catalogue: Catalogue,
    job: Job | None = None,
) -> OpenedDesign:
    from stonelayout.documents.job_documents import cut_seconds

    layers = separate(layout, sheet)
    marks = _register(sheet, job)(layers)
    tiles: tuple[Tile, ...] = (Tile(1, 1, layers, marks),)
    with suppress(InputError):
        tiles = cut_as(layers, sheet, job)
    seconds = cut_seconds(tiles, sheet, catalogue)
    design = design_of(name, layout, layers, marks.page.size, copies, seconds, pages_of(tiles))
    return OpenedDesign(name, layout, layers, marks, tiles, sheet, design, job)


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
    tiled, how = (tiled, TILE_OPTION) if job is None else (tiled or job.tile, "")
    return pieces(layers, sheet, _register(sheet, job), tiled=tiled, roll=roll, how=how)


def _register(sheet: Sheet, job: Job | None) -> Callable[[Sequence[Layer]], Registration]:
    return marks_of(sheet) if job is None else marks_of(sheet, job.label, job.line)


def spare_of(given: float | None, opened: Sequence[OpenedDesign]) -> float:
    """Return the spare share: the percentage given, else the most that a job asks, else 3 %."""
    if given is not None:
        return given / 100
    return max((one.job.spare for one in opened if one.job is not None), default=0.03)


def same_sheet(opened: Sequence[OpenedDesign]) -> Sheet:
    """Return the sheet of all designs; InputError when they are cut from several."""
    names = dict.fromkeys(one.sheet.name for one in opened)
    if len(names) > 1:
        raise InputError(f"the designs use several sheets ({', '.join(names)}): say --sheet NAME")
    return opened[0].sheet


def designs_by_job(opened: Sequence[OpenedDesign]) -> dict[str, list[Design]]:
    """Return the designs by the file that they come from; all lines of a names list are one job."""
    files: dict[str, list[OpenedDesign]] = {}
    for one in opened:
        files.setdefault(one.file, []).append(one)
    found: dict[str, list[Design]] = {}
    for file, mine in files.items():
        name = mine[0].name if len(mine) == 1 else Path(file).name
        found[name if name not in found else file] = [one.design for one in mine]
    return found
