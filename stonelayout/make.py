"""The whole job, from values to values: artwork and job in, every output file's content out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .artwork import Artwork
from .checks import check
from .findings import Finding, in_order
from .job import Job
from .lay import lay
from .layers import separate
from .layout import Layout
from .proof import proof_svg
from .registration import registration
from .report import report, to_json
from .template import Layer, Page
from .writers.svg import layer_svg


@dataclass(frozen=True, eq=False)
class Made:
    """Everything that a job gives; ``files`` maps a file name to its content."""

    layout: Layout
    layers: tuple[Layer, ...]
    page: Page
    findings: tuple[Finding, ...]
    report: Mapping[str, Any]
    files: Mapping[str, str | bytes]


def make(job: Job, artwork: Artwork) -> Made:
    """Lay, check, separate and write out a whole job. Touches no file.

    Raises JobError when a rule picks nothing, LayoutError when nothing can be laid.
    """
    layout = lay(artwork, job.rules, job.sheet)
    layers = separate(layout, job.sheet)
    marks = registration(layers, job.sheet)
    checked = check(layers, job.sheet, job.catalogue, marks.page)
    findings = in_order((*layout.findings, *checked))
    data = report(job, artwork, layout, layers, findings)
    files: dict[str, str | bytes] = {
        f"{layer.name}.svg": layer_svg(layer, marks) for layer in layers
    }
    files["layout.json"] = layout.to_json()
    files["proof.svg"] = proof_svg(
        layout, job.catalogue.colours, job.catalogue.rgb(job.garment), findings, job.name
    )
    files["report.json"] = to_json(data)
    return Made(layout, layers, marks.page, findings, data, files)
