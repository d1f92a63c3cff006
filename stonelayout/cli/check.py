"""``stonelayout check``: the checks before cutting, on a layout or on any SVG of holes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.units import counted

from .options import (
    FINDINGS_HELP,
    catalogue_option,
    format_option,
    sheet_option,
    tile_option,
    width_option,
)
from .output import exit_code, finding_lines, print_json, say, write_result

if TYPE_CHECKING:
    from stonelayout.model.layer import Layer

ENDINGS = (".svg", ".png")


@click.command("check", epilog=FINDINGS_HELP)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@width_option
@tile_option
@click.option("--apart", is_flag=True, help="Sizes in one file are cut from sheets of their own.")
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
    apart: bool,
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
    from stonelayout.orders.own_files import own_catalogue

    ending = Path(output).suffix.lower() if output is not None else ".svg"
    if ending not in ENDINGS:
        raise click.UsageError(f'"{output}": end the name in {" or ".join(ENDINGS)}')
    from stonelayout.checks.run_checks import run_checks
    from stonelayout.findings import in_order, tally
    from stonelayout.template.template_files import layers_in, sheet_for

    catalogue = own_catalogue(catalogue_files)
    sheet = sheet_for(files, sheet_name, catalogue)
    read = layers_in(files, sheet, catalogue, width)
    layers, names = read.layers, read.names
    file_names = names if read.given else None
    checked = run_checks(layers, sheet, catalogue, tile=tile, files=file_names, apart=apart)
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


def _entries(layers: Sequence[Layer], names: Sequence[str]) -> list[dict[str, Any]]:
    from stonelayout.documents.report import layer_entry

    return [{**layer_entry(layer), "file": name} for layer, name in zip(layers, names, strict=True)]
