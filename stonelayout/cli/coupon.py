"""``stonelayout coupon``: find a sheet's true clearance and least web by a small test cut."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import InputError
from stonelayout.files import read_text, write_all, write_one
from stonelayout.model.catalogue import DEFAULT_SHEET
from stonelayout.spelling import unknown

from .options import LENGTH, catalogue_option, listed, sheet_option
from .output import say

if TYPE_CHECKING:
    from stonelayout.model.catalogue import Catalogue, Sheet


@click.command("coupon")
@sheet_option
@click.option(
    "--stone",
    "stones",
    multiple=True,
    default=("ss6,ss10",),
    show_default="ss6,ss10",
    metavar="SIZE",
    help="Sizes to try.",
)
@click.option("--out", "folder", default=".", metavar="DIR", help="Folder for the two files.")
@click.option("--result", is_flag=True, help="Write what you saw to your own catalogue.")
@click.option("--name", metavar="NAME", help="With --result: name of the new sheet.")
@click.option("--drops", type=LENGTH, help="Least clearance at which every stone drops in.")
@click.option("--loose", type=LENGTH, help="Least clearance at which stones sit loose.")
@click.option("--held", type=LENGTH, help="Narrowest web that held.")
@click.option("--tore", type=LENGTH, help="Widest web that tore.")
@click.option("--replace", is_flag=True, help="With --result: a sheet measured before, anew.")
@click.option("--to", "target", metavar="FILE", help="Catalogue to write to; else your own.")
@catalogue_option
def command(
    sheet_name: str | None,
    stones: tuple[str, ...],
    folder: str,
    result: bool,
    catalogue_files: tuple[str, ...],
    **seen: Any,
) -> None:
    """Write a test cut and its instructions; with --result, write what you saw to your catalogue.

    \b
    stonelayout coupon --sheet thin-flock --stone ss6,ss10 --out coupon
    stonelayout coupon --result --sheet thin-flock --name my-flock --drops 0.4mm --held 0.4mm
    """
    from stonelayout.orders.own_files import own_catalogue

    catalogue = own_catalogue(catalogue_files)
    if sheet_name and sheet_name not in catalogue.sheets:
        raise InputError(
            f"{unknown(sheet_name, catalogue.sheets, 'sheet')}; for a sheet not tried before name "
            "the one most like it, and your own name with --result --name"
        )
    if sheet_name is None and seen["replace"] and seen["name"] in catalogue.sheets:
        sheet_name = seen["name"]
    sheet = catalogue.sheet(sheet_name or DEFAULT_SHEET)
    if result:
        _write_result(sheet, catalogue, seen)
        return
    from stonelayout.template.coupon import coupon, instructions
    from stonelayout.writers.coupon_svg import coupon_svg

    sizes = [catalogue.stone(name) for name in listed(stones)]
    found = coupon(sheet, sizes)
    name = f"coupon-{sheet.name}"
    page = instructions(found, sheet)
    write_all(folder, {f"{name}.svg": coupon_svg(found), f"{name}.txt": page})
    say(f"wrote {name}.svg and {name}.txt")
    click.echo(page, nl=False)


def _write_result(sheet: Sheet, catalogue: Catalogue, given: dict[str, Any]) -> None:
    from stonelayout.orders.own_files import own_catalogue_path
    from stonelayout.template.coupon import Seen, add_sheet

    missing = [f"--{key}" for key in ("name", "drops", "held") if given[key] is None]
    if missing:
        raise click.UsageError(f"--result needs {' and '.join(missing)}")
    name = given["name"]
    path = Path(given["target"]) if given["target"] else own_catalogue_path()
    before = read_text(path) if path.exists() else ""
    seen = Seen(given["drops"], given["held"], given["loose"], given["tore"])
    text, row = add_sheet(before, str(path), name, sheet, seen, catalogue, again=given["replace"])
    write_one(path, text)
    say(f"wrote sheet {name} to {path}")
    click.echo(row, nl=False)
