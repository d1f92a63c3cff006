"""``stonelayout check``: the checks before cutting, on a layout or on any SVG of holes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
    from stonelayout.findings import Finding
    from stonelayout.model.catalogue import Catalogue, Sheet
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
    """Check a layout.json, any SVG of holes (several: one set of layers), or a folder of templates.

    Of a folder it tells too whether all its files are of one set.

    \b
    stonelayout check out
    stonelayout check out/layout.json --sheet thin-flock
    stonelayout check out/01-ss6-crystal.svg out/02-ss10-sapphire.svg
    stonelayout check bought.svg -o faults.png
    """
    from stonelayout.orders.own_files import own_catalogue

    ending = Path(output).suffix.lower() if output is not None else ".svg"
    if ending not in ENDINGS:
        raise click.UsageError(f'"{output}": end the name in {" or ".join(ENDINGS)}')
    catalogue = own_catalogue(catalogue_files)
    if any(Path(name).is_dir() for name in files):
        if len(files) > 1 or output is not None or width is not None:
            raise click.UsageError(
                "check one folder alone, or files: a folder takes no -o or --width"
            )
        return _check_folder(files[0], sheet_name, catalogue, form, tile=tile, apart=apart)
    verdict = _verdict(files, sheet_name, catalogue, width, tile=tile, apart=apart)
    if output is not None:
        from stonelayout.documents.job_documents import png
        from stonelayout.writers.findings_svg import faults_svg

        title = ", ".join(dict.fromkeys(verdict.names))
        picture = faults_svg(verdict.layers, verdict.findings, title)
        write_result(output, picture if ending == ".svg" else png(picture))
    if form == "json":
        print_json(verdict.as_dict())
        return exit_code(verdict.findings)
    return _tell(verdict, output)


@dataclass(frozen=True, eq=False)
class _Verdict:
    """What was checked, the file of each layer, and what was found."""

    sheet: Sheet
    layers: Sequence[Layer]
    names: Sequence[str]
    findings: Sequence[Finding]

    def entries(self) -> list[dict[str, Any]]:
        from stonelayout.documents.report import layer_entry

        pairs = zip(self.layers, self.names, strict=True)
        return [{**layer_entry(layer), "file": name} for layer, name in pairs]

    def as_dict(self) -> dict[str, Any]:
        return {
            "version": 1,
            "unit": "mm",
            "sheet": self.sheet.name,
            "layers": self.entries(),
            "findings": [finding.as_dict() for finding in self.findings],
        }


def _verdict(
    files: Sequence[str],
    sheet_name: str | None,
    catalogue: Catalogue,
    width: float | None = None,
    *,
    tile: bool,
    apart: bool,
) -> _Verdict:
    from stonelayout.checks.run_checks import run_checks
    from stonelayout.findings import in_order
    from stonelayout.template.template_files import layers_in, sheet_for

    sheet = sheet_for(files, sheet_name, catalogue)
    read = layers_in(files, sheet, catalogue, width)
    file_names = read.names if read.given else None
    checked = run_checks(read.layers, sheet, catalogue, tile=tile, files=file_names, apart=apart)
    return _Verdict(sheet, read.layers, read.names, in_order((*read.findings, *checked)))


def _check_folder(
    folder: str,
    sheet_name: str | None,
    catalogue: Catalogue,
    form: str,
    *,
    tile: bool,
    apart: bool,
) -> int:
    """Check every set of templates in a folder: if its files belong together, and their layers."""
    from stonelayout.checks.sets import check_set, sets_in, templates_in
    from stonelayout.findings import in_order
    from stonelayout.template.template_files import sheet_for

    verdicts: list[tuple[str, _Verdict]] = []
    for one in sets_in(folder):
        laid = [str(path) for path in (one / "layout.json",) if path.is_file()]
        sheet = sheet_for(laid, sheet_name, catalogue)
        layers: list[Layer] = []
        names: list[str] = []
        findings = list(check_set(one))
        for paths in templates_in(one):
            found = _verdict(
                [str(path) for path in paths], sheet.name, catalogue, tile=tile, apart=apart
            )
            layers += found.layers
            names += [Path(name).name for name in found.names]
            findings += found.findings
        verdicts.append((str(one), _Verdict(sheet, layers, names, in_order(findings))))
    if form == "json":
        sets = [{"folder": name, **verdict.as_dict()} for name, verdict in verdicts]
        print_json({"version": 1, "sets": sets})
        return max(exit_code(verdict.findings) for _, verdict in verdicts)
    codes = []
    for name, verdict in verdicts:
        click.echo(f"{name}:")
        codes.append(_tell(verdict, draws=False))
    return max(codes)


def _tell(verdict: _Verdict, output: str | None = None, *, draws: bool = True) -> int:
    """Print a verdict; return the exit code."""
    from stonelayout.findings import tally

    sheet, findings = verdict.sheet, verdict.findings
    click.echo(f"{sheet.name}: least web {sheet.least_web:.2f} mm")
    for entry in verdict.entries():
        web = "-" if entry["least_web"] is None else f"{entry['least_web']:.2f} mm"
        click.echo(
            f"  {entry['file']}: {counted(entry['count'], 'hole')} of {entry['hole']:.2f} mm for "
            f"{entry['size']} {entry['colour']}, least web {web}"
        )
    for line in finding_lines(findings):
        click.echo(line)
    if output is not None:
        say(f"drawn: {output}")
    elif draws and any(line.endswith("...)") for line in finding_lines(findings)):
        say("every place is drawn with: -o faults.svg")
    count = tally(findings)
    if exit_code(findings):
        click.echo(f"{count}: do not cut yet")
    else:
        click.echo(f"no errors{', ' if count else ''}{count}: ready for a trial cut")
    return exit_code(findings)
