"""``stonelayout cut``: the files for the cutter, from a layout or from edited hole files."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import InputError
from stonelayout.file_sets import write_set
from stonelayout.model.catalogue import DEFAULT_CUTTER
from stonelayout.model.job import CUT_FORMATS
from stonelayout.units import counted

from .options import (
    FINDINGS_HELP,
    LENGTH,
    catalogue_option,
    format_option,
    listed,
    sheet_option,
    tile_option,
    width_option,
)
from .output import exit_code, finding_lines, print_json, say, tell_by_hand

if TYPE_CHECKING:
    from stonelayout.findings import Finding
    from stonelayout.model.catalogue import Cutter, Sheet
    from stonelayout.model.layer import Layer, Registration
    from stonelayout.template.cut_path import CutTime
    from stonelayout.template.tiles import Tile

CAUTION = (
    "Cut a trial first, retract the blade when not cutting, keep hands clear; never laser-cut PVC "
    "or vinyl sheet. Your cutter's and sheet's makers' instructions go before these settings."
)


@click.command("cut", epilog=FINDINGS_HELP)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--out", "folder", required=True, metavar="DIR", help="Folder for the files.")
@click.option(
    "--as",
    "formats",
    multiple=True,
    default=("svg",),
    show_default="svg",
    metavar="FORMATS",
    help="Any of svg,dxf,hpgl,pdf.",
)
@width_option
@sheet_option
@click.option("--cutter", "cutter_name", default=DEFAULT_CUTTER, show_default=True, metavar="NAME")
@click.option("--passes", type=click.IntRange(1, 20), help="Turns round each hole (HP-GL).")
@click.option("--overcut", type=LENGTH, help="How far to cut on, so that holes close (HP-GL).")
@click.option("--blade-offset", type=LENGTH, default=0.0, help="Only if the cutter has no setting.")
@click.option("--short-lines", is_flag=True, help="HP-GL circles as short lines, not arcs.")
@click.option("--speed", type=click.IntRange(1, 200), help="Write VS (cm/s) to HP-GL.")
@click.option("--force", type=click.IntRange(1, 1000), help="Write FS (cutter's own) to HP-GL.")
@click.option("--pin", type=LENGTH, default=0.0, help="Pin holes of this diameter, not crosses.")
@click.option("--drawn", is_flag=True, help="Marks for a pen, not the knife.")
@click.option("--mirror", is_flag=True, help="Flip left and right: for sheet cut from the back.")
@click.option("--outline", is_flag=True, help="Cut the page's edge too, after the holes.")
@tile_option
@click.option("--split", is_flag=True, help="Divide a layer that the sheet cannot hold.")
@click.option(
    "--bar",
    type=(LENGTH, LENGTH, LENGTH),
    metavar="ASKED X Y",
    help="Test bar: length asked for, measured along x, along y; corrects the scale.",
)
@catalogue_option
@format_option
def command(
    files: tuple[str, ...],
    folder: str,
    formats: tuple[str, ...],
    form: str,
    catalogue_files: tuple[str, ...],
    **options: Any,
) -> int:
    """Write one file a layer and format, holes in the order of cutting, in register.

    \b
    stonelayout cut out/layout.json --out cut --as svg,dxf,hpgl,pdf
    stonelayout cut out/01-ss6-crystal.svg out/02-ss10-jet.svg --out cut --as dxf
    """
    from stonelayout.checks.all_checks import all_checks
    from stonelayout.orders.own_files import own_catalogue
    from stonelayout.template.registration import registration, scale_from_bar
    from stonelayout.template.template_files import layers_in, marked_anew, sheet_for
    from stonelayout.template.tiling import TILE_OPTION, in_tiles, pieces
    from stonelayout.writers.cut_files import Knife, cut_files, in_cutting_order
    from stonelayout.writers.layer_hpgl import beyond_16_bits

    wanted = _formats(formats)
    catalogue = own_catalogue(catalogue_files)
    cutter = catalogue.cutter(options["cutter_name"])
    _no_panels(files)
    sheet = sheet_for(files, options["sheet_name"], catalogue)
    read = layers_in(files, sheet, catalogue, options["width"])
    _once(read.findings, "already-corrected", "--bar", bool(options["bar"]))
    _once(read.findings, "already-mirrored", "--mirror", options["mirror"])
    layers, doubled = _single(read.layers)
    if options["split"]:
        from stonelayout.template.split import split_layers

        layers = split_layers(layers, sheet)
    scale = (1.0, 1.0)
    if options["bar"]:
        asked, x, y = options["bar"]
        scale = scale_from_bar((asked, asked), (x, y))

    def register(some: Sequence[Layer]) -> Registration:
        return registration(
            some,
            sheet,
            pin=options["pin"],
            drawn=options["drawn"],
            mirrored=options["mirror"],
            outline=options["outline"],
            scale=scale,
        )

    marks = register(layers)
    tiles = pieces(layers, sheet, register, tiled=options["tile"], how=TILE_OPTION)
    piece = None if options["tile"] else marks.page
    findings = (
        *read.findings,
        *marked_anew(files),
        *doubled,
        *all_checks(layers, sheet, catalogue, marks.page, piece, TILE_OPTION, given=read.given),
        *in_tiles(tiles),
    )
    tiles = tuple(
        replace(part, layers=tuple(in_cutting_order(part.layers, part.registration)))
        for part in tiles
    )
    if "hpgl" in wanted and any(beyond_16_bits(part.registration) for part in tiles):
        say("note: the page is longer than 819 mm, where cutters that count in 16 bits stop")
    knife = Knife(
        passes=options["passes"],
        overcut=options["overcut"],
        blade_offset=options["blade_offset"],
        arcs=not options["short_lines"],
        speed=options["speed"],
        force=options["force"],
    )
    contents: dict[str, str | bytes] = {}
    times: list[CutTime] = []
    for part in tiles:
        written, took = cut_files(part.layers, part.registration, (sheet, cutter), wanted, knife)
        contents |= written
        times += took
    _write(folder, contents, tiles, files)
    cut = [layer for part in tiles for layer in part.layers]
    _print(form, cut, times, (sheet, cutter), sorted(contents))
    for line in finding_lines(findings):
        say(line)
    return exit_code(findings)


def _no_panels(files: Sequence[str]) -> None:
    """Refuse our panels of a roll: their templates have marks, which new ones would not fit."""
    from stonelayout.files import STDIN, read_bytes
    from stonelayout.writers.panel_svg import MARKS_OF

    for name in files:
        if name != STDIN and re.search(rf'id="{MARKS_OF}\d'.encode(), read_bytes(name)):
            raise InputError(
                "is a panel of the roll, whose templates have their marks already: send it to the "
                "cutter as it is, or for another format cut its templates anew: stonelayout cut "
                "layout.json --as dxf --out DIR",
                file=name,
            )


def _once(found: Sequence[Finding], code: str, option: str, given: bool) -> None:
    """Refuse what was done to a file already; the message of its finding says what to do."""
    done = next((finding.message for finding in found if finding.code == code), None)
    if given and done is not None:
        raise InputError(f"{option} a second time: {done}")


def _single(layers: Sequence[Layer]) -> tuple[Sequence[Layer], list[Finding]]:
    """Return the layers with every hole once, and a note of those that stood twice."""
    from stonelayout.checks.webs import without_doubles
    from stonelayout.findings import Finding

    kept: list[Layer] = []
    found: list[Finding] = []
    for layer in layers:
        single, count = without_doubles(layer)
        kept.append(single)
        if count:
            words = f"{counted(count, 'hole')} in the same place as another left out"
            found.append(Finding("same-place", "note", words, layer=layer.name, count=count))
    return kept, found


def _formats(given: tuple[str, ...]) -> list[str]:
    wanted = list(dict.fromkeys(part.lower() for part in listed(given)))
    wrong = [part for part in wanted if part not in CUT_FORMATS]
    if wrong or not wanted:
        raise click.UsageError(f"--as {','.join(given)}: give any of {','.join(CUT_FORMATS)}")
    return wanted


def _write(
    folder: str,
    contents: dict[str, str | bytes],
    tiles: Sequence[Tile],
    files: Sequence[str],
) -> None:
    from collections.abc import Mapping

    from stonelayout.template.verify import verify_tiles

    def check(written: Mapping[str, bytes]) -> None:
        if any(name.endswith(".svg") for name in written):
            verify_tiles(written, tiles)

    if len(contents) != len({name.lower() for name in contents}):
        raise InputError("two layers would have the same file name")
    tell_by_hand(write_set(folder, contents, "cut", check, protect=files))


def _print(
    form: str,
    layers: Sequence[Layer],
    times: Sequence[CutTime],
    tools: tuple[Sheet, Cutter],
    names: Sequence[str],
) -> None:
    from stonelayout.documents.report import layer_entry

    sheet, cutter = tools
    if form == "json":
        print_json(
            {
                "version": 1,
                "unit": "mm",
                "sheet": sheet.name,
                "cutter": cutter.name,
                "force": list(sheet.force),
                "speed": sheet.speed,
                "layers": [
                    {
                        **layer_entry(layer),
                        "file": next(name for name in names if name.startswith(f"{layer.name}.")),
                        "reason": layer.reason,
                        "time": time.as_dict(),
                    }
                    for layer, time in zip(layers, times, strict=True)
                ],
                "files": list(names),
            }
        )
        return
    for layer, time in zip(layers, times, strict=True):
        minutes, seconds = divmod(round(time.seconds), 60)
        click.echo(
            f"{layer.name}: {counted(len(layer), 'hole')} of {layer.hole:.2f} mm, "
            f"cut {time.cut / 1000:.1f} m, travel {time.travel / 1000:.1f} m, "
            f"at least {minutes} min {seconds:02d} s"
        )
    low, high = sheet.force
    click.echo(
        f"{sheet.name} on {cutter.name}: force {low:g}-{high:g} g, speed {sheet.speed:g}, "
        f"{sheet.passes} passes (common practice)"
    )
    click.echo(CAUTION)
