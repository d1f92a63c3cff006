"""The report of a job: one plain mapping, for ``report.json`` and for the terminal."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from stonelayout.findings import Finding
from stonelayout.geometry.neighbours import nearest_distances
from stonelayout.model.artwork import Artwork
from stonelayout.model.job import Job
from stonelayout.model.layer import FILE_ROUNDING_MM, Layer
from stonelayout.model.layout import Layout
from stonelayout.template.lifting import templates_in_lifting_order
from stonelayout.template.tiles import Tile

from .fill_report import fill_entries
from .proof import design_size

VERSION = 1


def report(
    job: Job,
    artwork: Artwork,
    layout: Layout,
    tiles: Sequence[Tile],
    findings: Sequence[Finding],
) -> dict[str, Any]:
    """Return the report: lengths in mm, findings in order of severity."""
    return {
        "version": VERSION,
        "job": job.name,
        "unit": "mm",
        "size": [round(length, 3) for length in layout.size],
        "size_from": artwork.size_from,
        "design": [round(length, 3) for length in design_size(layout)],
        "sheet": job.sheet.name,
        "stones": len(layout),
        "tiles": len(tiles),
        "layers": [layer_entry(layer) for layer in templates_in_lifting_order(tiles)],
        "fills": fill_entries(artwork, job.rules, layout),
        "findings": [finding.as_dict() for finding in findings],
        "skipped": [entry.as_dict() for entry in artwork.skipped],
        "notes": list(artwork.notes),
    }


def layer_entry(layer: Layer) -> dict[str, Any]:
    """Return one layer as it stands in the report; ``least_web`` is None for a single hole."""
    nearest = nearest_distances(layer.centres)
    if len(nearest) and nearest.min() < FILE_ROUNDING_MM:  # a hole that stands twice has no web
        nearest = nearest_distances(np.unique(layer.centres.round(5), axis=0))
    web = round(float(nearest.min()) - layer.hole, 4) if len(nearest) > 1 else None
    return {
        "order": layer.order,
        "size": layer.kind.size,
        "colour": layer.kind.colour,
        "count": len(layer.centres),
        "hole": round(layer.hole, 4),
        "least_web": web,
        "file": f"{layer.name}.svg",
    }


def to_json(data: dict[str, Any]) -> str:
    """Return the report's text."""
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"
