"""Templates from files: a layout.json, or SVG files of holes, ours or not."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from stonelayout.errors import InputError, LayoutError
from stonelayout.files import STDIN, read_bytes
from stonelayout.findings import Finding
from stonelayout.model.catalogue import DEFAULT_SHEET, Catalogue, Sheet
from stonelayout.model.layer import CORRECTED, MIRRORED, Layer
from stonelayout.model.layout import Layout
from stonelayout.reading.file_kinds import kind_of_file

from .holes import read_holes
from .layers_from_holes import rebuild
from .registration import EDGE
from .separation import separate


@dataclass(frozen=True, eq=False)
class TemplateFiles:
    """The layers in files, the file of each, findings, and if the holes are given by SVG files."""

    layers: Sequence[Layer]
    names: Sequence[str]
    findings: Sequence[Finding]
    given: bool


def sheet_for(files: Sequence[str], sheet_name: str | None, catalogue: Catalogue) -> Sheet:
    """Return the sheet that is named, or that a layout.json was laid for, or the usual one."""
    for name in files:
        if sheet_name is None and name.lower().endswith(".json"):
            sheet_name = read_layout(name, read_bytes(name)).sheet or None
    return catalogue.sheet(sheet_name or DEFAULT_SHEET)


def layers_in(
    files: Sequence[str], sheet: Sheet, catalogue: Catalogue, width: float | None = None
) -> TemplateFiles:
    """Return the layers in a layout.json or in SVG files of holes (``-``: standard input).

    ``width`` in mm is that of an SVG's page; none: as the file says. Raises InputError for files
    that are neither or cannot be read together.
    """
    contents = [("standard input" if name == STDIN else name, read_bytes(name)) for name in files]
    for name, data in contents:
        if kind_of_file(name, data) == "a job file":
            words = "this is a job file: stonelayout make checks it and writes its cut files"
            raise InputError(words, file=name)
    if not any(kind_of_file(name, data) == "a layout" for name, data in contents):
        read = [(name, read_holes(data, name)) for name, data in contents]
        if width is not None:
            read = [(name, holes.at_width(width)) for name, holes in read]
        rebuilt = rebuild(read, sheet, catalogue)
        worked = [found for name, data in contents for found in _worked_on(name, data)]
        findings = (*rebuilt.findings, *worked)
        return TemplateFiles(rebuilt.layers, rebuilt.files, findings, given=True)
    if width is not None:
        raise InputError("--width is for SVG files of holes: a layout.json has its size")
    if len(contents) > 1:
        raise InputError("give one layout.json alone, or SVG files of holes")
    layers = separate(read_layout(*contents[0]), sheet)
    return TemplateFiles(layers, [f"{one.name}.svg" for one in layers], (), given=False)


def read_layout(name: str, data: bytes) -> Layout:
    """Return the layout in a file's bytes; LayoutError says what is wrong with them."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise LayoutError("not a layout: not UTF-8 text", file=name) from None
    return Layout.from_json(text, name)


def _worked_on(name: str, data: bytes) -> list[Finding]:
    """Return warnings where one of our cut files says that it was corrected or mirrored."""
    found = []
    sizes = "its sizes are the cutter's, not the design's"
    for code, words, why in (
        ("already-corrected", CORRECTED, sizes),
        ("already-mirrored", MIRRORED, "it shows the back of the design"),
    ):
        said = re.search(rf"{words}[^:<]*: do not".encode(), data)
        if said:
            what = said.group().decode().partition(":")[0]
            message = (
                f"{name} was {what[0].lower()}{what[1:]} when it was written: {why}; make other "
                "files from layout.json"
            )
            found.append(Finding(code, "warning", message))
    return found


def marked_anew(files: Sequence[str]) -> list[Finding]:
    """Warn where a template has register marks: new ones fit only what is written with it."""
    marked = [
        name for name in files if name != STDIN and f'id="{EDGE}"'.encode() in read_bytes(name)
    ]
    if not marked:
        return []
    message = (
        f"{marked[0]} had register marks already, and got new ones, which fit only the templates "
        "that were given with it: to cut a torn template again send its own file to the cutter"
    )
    return [Finding("marked-anew", "warning", message, count=len(marked))]
