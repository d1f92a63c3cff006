"""``stonelayout sheets``: the template sheets."""

from __future__ import annotations

from dataclasses import asdict

import click

from stonelayout.units import inches

from .options import catalogue_option, format_option
from .output import print_json


@click.command("sheets", help="List the template sheets and what they stand.")
@format_option
@catalogue_option
def command(form: str, catalogue_files: tuple[str, ...]) -> None:
    """Print the sheets, one block each."""
    from stonelayout.orders.own_files import own_catalogue

    catalogue = own_catalogue(catalogue_files)
    if form == "json":
        rows = [asdict(sheet) for sheet in catalogue.sheets.values()]
        print_json({"version": 1, "unit": "mm", "sheets": rows})
        return
    for sheet in catalogue.sheets.values():
        click.echo(f"{sheet.name}: {sheet.about}")
        for label, value in (
            ("roll width", sheet.width),
            ("roll length", sheet.length),
            ("thickness", sheet.thickness),
            ("hole over stone", sheet.clearance),
            ("least web", sheet.least_web),
        ):
            click.echo(f"  {label:17}{value:9.2f} mm {inches(value):>12}")
        low, high = sheet.force
        click.echo(f"  {'cutting':17}force {low:g}-{high:g} g, speed {sheet.speed:g}, ", nl=False)
        click.echo(f"{sheet.passes} passes; make a test cut first")
    click.echo("\nThese are common practice: your sheet's and cutter's makers go before them.")
