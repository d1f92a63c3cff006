"""``stonelayout check``: the checks before cutting, on a layout or on any SVG of holes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from stonelayout.errors import InputError
from stonelayout.files import STDIN, read_bytes
from stonelayout.model.catalogue import DEFAULT_SHEET
from stonelayout.units import counted

from .common import (
    FINDINGS_HELP,
    catalogue_option,
    exit_code,
    finding_lines,
    format_option,
    kind_of_file,
    load_catalogue,
    print_json,
    say,
    sheet_option,
    tile_option,
    width_option,
    write_result,
)

if TYPE_CHECKING:
    from stonelayout.findings import Finding
    from stonelayout.model.catalogue import Catalogue, Sheet
    from stonelayout.model.layer import Layer
    from stonelayout.model.layout import Layout

ENDINGS = (".svg", ".png")


class Read(NamedTuple):
    """The layers in files, the file of each, findings, and if the holes are given by SVG files."""

    layers: Sequence[Layer]
    names: Sequence[str]
    findings: Sequence[Finding]
    given: bool


@click.command("check", epilog=FINDINGS_HELP)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@width_option
@tile_option
@sheet_option
@catalogue_option
@format_option
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    help="Draw the holes with every fault ringed; ends in .svg or .png.",
)
def command(
    files: tuple[str, ...],
    width: float | None,
    tile: bool,
    sheet_name: str | None,
    catalogue_files: tuple[str, ...],
    form: str,
    output: str | None,
) -> int:
    """Check a layout.json, or any SVG of holes (several: one set of layers), before cutting.

    \b
    stonelayout check out/layout.json --sheet thin-flock
    stonelayout check out/01-ss6-crystal.svg out/02-ss10-sapphire.svg
    stonelayout check bought.svg -o faults.png
    """
    ending = Path(output).suffix.lower() if output is not None else ".svg"
    if ending not in ENDINGS:
        raise click.UsageError(f'"{output}": end the name in {" or ".join(ENDINGS)}')
    from stonelayout.checks.run_checks import run_checks
    from stonelayout.findings import in_order, tally

    catalogue = load_catalogue(catalogue_files)
    sheet = sheet_for(files, sheet_name, catalogue)
    read = layers_in(files, sheet, catalogue, width)
    layers, names = read.layers, read.names
    file_names = names if read.given else None
    checked = run_checks(layers, sheet, catalogue, tile=tile, files=file_names)
    findings = in_order((*read.findings, *checked))
    entries = _entries(layers, names)
    if output is not None:
        from stonelayout.documents.job_documents import png
        from stonelayout.writers.findings_svg import faults_svg

        picture = faults_svg(layers, findings, ", ".join(dict.fromkeys(names)))
        write_result(output, picture if ending == ".svg" else png(picture))
    if form == "json":
        print_json(
            {
                "version": 1,
                "unit": "mm",
                "sheet": sheet.name,
                "layers": entries,
                "findings": [finding.as_dict() for finding in findings],
            }
        )
        return exit_code(findings)
    click.echo(f"{sheet.name}: least web {sheet.least_web:.2f} mm")
    for entry in entries:
        web = "-" if entry["least_web"] is None else f"{entry['least_web']:.2f} mm"
        click.echo(
            f"  {entry['file']}: {counted(entry['count'], 'hole')} of {entry['hole']:.2f} mm for "
            f"{entry['size']} {entry['colour']}, least web {web}"
        )
    for line in finding_lines(findings):
        click.echo(line)
    if output is not None:
        say(f"drawn: {output}")
    elif any(line.endswith("...)") for line in finding_lines(findings)):
        say("every place is drawn with: -o faults.svg")
    count = tally(findings)
    if exit_code(findings):
        click.echo(f"{count}: do not cut yet")
    else:
        click.echo(f"no errors{', ' if count else ''}{count}: ready for a trial cut")
    return exit_code(findings)


def sheet_for(files: tuple[str, ...], sheet_name: str | None, catalogue: Catalogue) -> Sheet:
    """Return the sheet that is named, or that a layout.json was laid for, or the usual one."""
    for name in files:
        if sheet_name is None and name.lower().endswith(".json"):
            sheet_name = read_layout(name, read_bytes(name)).sheet or None
    return catalogue.sheet(sheet_name or DEFAULT_SHEET)


def layers_in(
    files: tuple[str, ...], sheet: Sheet, catalogue: Catalogue, width: float | None = None
) -> Read:
    """Return the layers in a layout.json or in SVG files of holes.

    ``width`` in mm is that of an SVG's page; none: as the file says.
    """
    from stonelayout.template.holes import read_holes
    from stonelayout.template.layers_from_holes import rebuild
    from stonelayout.template.separation import separate

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
        return Read(rebuilt.layers, rebuilt.files, (*rebuilt.findings, *worked), given=True)
    if width is not None:
        raise InputError("--width is for SVG files of holes: a layout.json has its size")
    if len(contents) > 1:
        raise InputError("give one layout.json alone, or SVG files of holes")
    layers = separate(read_layout(*contents[0]), sheet)
    return Read(layers, [f"{one.name}.svg" for one in layers], (), given=False)


def _worked_on(name: str, data: bytes) -> list[Finding]:
    """Return warnings where one of our cut files says that it was corrected or mirrored."""
    from stonelayout.findings import Finding
    from stonelayout.model.layer import CORRECTED, MIRRORED

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


def read_layout(name: str, data: bytes) -> Layout:
    """Return the layout in a file's bytes; LayoutError says what is wrong with them."""
    from stonelayout.errors import LayoutError
    from stonelayout.model.layout import Layout

    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise LayoutError("not a layout: not UTF-8 text", file=name) from None
    return Layout.from_json(text, name)


def _entries(layers: Sequence[Layer], names: Sequence[str]) -> list[dict[str, Any]]:
    from stonelayout.documents.report import layer_entry

    return [{**layer_entry(layer), "file": name} for layer, name in zip(layers, names, strict=True)]
