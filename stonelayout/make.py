"""The whole job: artwork and job in, every output file's content out, written to a folder."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from stonelayout.checks.all_checks import all_checks
from stonelayout.documents.job_documents import (
    bench_documents,
    cut_seconds,
    order_summary,
    price_documents,
    proofs,
    roll_plan_documents,
    sets_of,
)
from stonelayout.documents.report import report, to_json
from stonelayout.laying.design_size import smaller_than_asked
from stonelayout.laying.lay import lay
from stonelayout.laying.picking import pick_shapes
from stonelayout.model.artwork import Artwork
from stonelayout.model.catalogue import DEFAULT_CUTTER
from stonelayout.model.job import Job
from stonelayout.model.layer import Layer, Page
from stonelayout.model.layout import Layout
from stonelayout.model.order import Design, design_of
from stonelayout.model.shop_rates import Shop, demo_shop
from stonelayout.reading.skipped_findings import unread
from stonelayout.template.lifting import templates_in_lifting_order
from stonelayout.template.separation import separate
from stonelayout.template.tiles import Tile
from stonelayout.template.tiling import (
    in_tiles,
    marks_of,
    pages_of,
    pieces,
    too_large,
)
from stonelayout.template.verify import verify_tiles
from stonelayout.writers.cut_files import cut_files, in_cutting_order
from stonelayout.writers.layer_svg import layer_svg

from .errors import LayoutError
from .file_sets import RECORD, Written, write_set
from .findings import Finding, in_order


@dataclass(frozen=True, eq=False)
class Made:
    """Everything that a job gives; ``files`` maps a file name to its content.

    ``tiles`` are the pieces that are cut: one, unless the design is larger than the sheet.
    ``sources`` are the files that the job was made from, where it was loaded from files.
    """

    layout: Layout
    layers: tuple[Layer, ...]
    page: Page
    findings: tuple[Finding, ...]
    report: Mapping[str, Any]
    files: Mapping[str, str | bytes]
    design: Design
    tiles: tuple[Tile, ...]
    sources: tuple[Path, ...] = ()

    def write(self, folder: str | Path) -> Written:
        """Make a folder, made if need be, hold this set of files and no other: all, or none.

        The layers are read back before anything is put in place; what an earlier set left in the
        folder is deleted, unless it was changed since, which is told. The job's own ``sources``
        are never replaced. Raises InputError for a folder that another run is writing to and for
        a file that cannot be written or replaced, VerificationError when a layer does not read
        back as meant; the folder then is as it was.
        """
        return write_set(
            folder,
            self.files,
            "make",
            lambda read: verify_tiles(read, self.tiles),
            protect=self.sources,
            former=_former_files(Path(folder)),
        )


def make(
    job: Job,
    artwork: Artwork,
    shop: Shop | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> Made:
    """Lay, check, separate and write out a whole job. Touches no file.

    ``shop`` gives prices and times; none: the invented demo prices, marked as such.
    ``progress`` is told of each shape as by ``lay``. Raises JobError when a rule picks nothing,
    LayoutError when nothing can be laid or the design is larger than the sheet and the job does
    not ask for tiles.
    """
    if not job.tile:
        refuse_oversize(job, artwork)
    layout = lay(artwork, job.rules, job.sheet, progress)
    layers = separate(layout, job.sheet)
    register = marks_of(job.sheet, job.label, job.line)
    marks = register(layers)
    tiles = pieces(layers, job.sheet, register, tiled=job.tile)
    piece = None if job.tile else marks.page
    checked = all_checks(layers, job.sheet, job.catalogue, marks.page, piece)
    shop = shop or demo_shop(job.catalogue)
    sets = sets_of(job, shop)
    seconds = cut_seconds(tiles, job.sheet, job.catalogue)
    pages = pages_of(tiles)
    design = design_of(job.name, layout, layers, marks.page.size, job.copies, seconds, pages)
    prices, priced, found = price_documents(job, design, shop)
    roll, unplanned, used = roll_plan_documents(job, tiles, sets)
    findings = in_order(
        (
            *unread(artwork),
            *smaller_than_asked(artwork, job.rules, job.size_of),
            *layout.findings,
            *checked,
            *in_tiles(tiles),
            *priced,
            *unplanned,
        )
    )
    data = report(job, artwork, layout, tiles, findings)
    data["order"] = order_summary(design, sets, found, used)
    files: dict[str, str | bytes] = {}
    for part in tiles:
        files |= _for_the_cutter(job, part)
    files["layout.json"] = layout.to_json()
    files |= proofs(job, layout, templates_in_lifting_order(tiles), findings)
    files |= bench_documents(job, design, layout, layers, tiles, sets, findings)
    files |= prices
    files |= roll
    data["files"] = sorted((*files, "report.json", RECORD))
    files["report.json"] = to_json(data)
    return Made(layout, layers, marks.page, findings, data, files, design, tiles)


def _for_the_cutter(job: Job, part: Tile) -> dict[str, str | bytes]:
    """Return the layers of one tile in every format that the job asks for; SVG always."""
    marks = part.registration
    files: dict[str, str | bytes] = {
        f"{layer.name}.svg": layer_svg(layer, marks) for layer in part.layers
    }
    further = [form for form in job.cut if form != "svg"]
    if further:
        cutter = job.catalogue.cutter(DEFAULT_CUTTER)
        for_knife = in_cutting_order(part.layers, marks)
        files |= cut_files(for_knife, marks, (job.sheet, cutter), further)[0]
    return files


def _former_files(folder: Path) -> set[str]:
    """Return the files that an earlier run left here, by its own report."""
    try:
        data = json.loads((folder / "report.json").read_text(encoding="utf-8"))
        names = [*data.get("files", ()), *(layer["file"] for layer in data["layers"])]
        return {str(name) for name in names if Path(name).name == name}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def refuse_oversize(job: Job, artwork: Artwork) -> None:
    """Raise LayoutError, before anything is laid, when the shapes picked are too large to cut."""
    boxes = np.array([s.bounds for shapes in pick_shapes(artwork, job.rules) for s in shapes])
    width, height = (float(side) for side in boxes[:, 2:].max(axis=0) - boxes[:, :2].min(axis=0))
    if words := too_large((width, height), job.sheet):
        raise LayoutError(words, file=artwork.file or job.file)
