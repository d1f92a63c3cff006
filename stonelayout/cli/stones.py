"""``stonelayout stones``: the stone sizes."""

from __future__ import annotations

import click

from stonelayout.units import inches

from .options import catalogue_option, format_option
from .output import print_json


@click.command("stones", help="List the stone sizes, in mm and inches.")
@format_option
@catalogue_option
def command(form: str, catalogue_files: tuple[str, ...]) -> None:
    """Print the table of stones."""
    from stonelayout.orders.own_files import own_catalogue

    catalogue = own_catalogue(catalogue_files)
    stones = sorted(catalogue.stones.values(), key=lambda stone: (stone.diameter, stone.name))
    if form == "json":
        rows = [
            {
                "size": stone.name,
                "pp": stone.pp,
                "min": stone.min,
                "max": stone.max,
                "diameter": stone.diameter,
            }
            for stone in stones
        ]
        print_json({"version": 1, "unit": "mm", "stones": rows, "colours": catalogue.colours})
        return
    click.echo(f"{'size':8}{'from':>9}{'to':>9}{'nominal':>11}{'nominal':>12}   PP")
    for stone in stones:
        click.echo(
            f"{stone.name:8}{stone.min:6.2f} mm{stone.max:6.2f} mm{stone.diameter:8.2f} mm"
            f"{inches(stone.diameter):>12}   {stone.pp or '-'}"
        )
    click.echo(f"\ncolours: {', '.join(catalogue.colours)}")
