"""``stonelayout quote``: cost, price and time of an order."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .common import catalogue_option, load_catalogue, print_json, say, sheet_option
from .designs import (
    FILES_HELP,
    copies_option,
    open_designs,
    open_shop,
    same_sheet,
    shop_option,
    spare_of,
    spare_option,
)

if TYPE_CHECKING:
    from stonelayout.model.order import Design

    from .designs import Opened


@click.command("quote", epilog=FILES_HELP)
@click.argument("files", nargs=-1, metavar="FILES")
@copies_option
@spare_option
@click.option("--transfers-only", is_flag=True, help="The customer presses them.")
@shop_option
@sheet_option
@click.option("--format", "form", type=click.Choice(["text", "json", "csv"]), default="text")
@catalogue_option
def command(
    files: tuple[str, ...],
    copies: int | None,
    spare: float | None,
    transfers_only: bool,
    shop_file: str | None,
    sheet_name: str | None,
    form: str,
    catalogue_files: tuple[str, ...],
) -> int:
    """Quote an order: cost line by line, price, margin, time by hand and by machine.

    \b
    stonelayout quote crest.toml --copies 25 --shop our-prices.toml

    Without a shop file of your own the demo's INVENTED prices are used. Exit code 1: the price is
    below the cost, or a line of a names list is left out.
    """
    from stonelayout.shop.quote import price_list, quote
    from stonelayout.shop.quote_text import DEMO_WARNING, price_list_text, quote_csv, quote_data
    from stonelayout.shop.quote_text import quote_text as in_words

    catalogue = load_catalogue(catalogue_files)
    opened, left_out = open_designs(files, copies, sheet_name, catalogue)
    shop = open_shop(shop_file, [one.job for one in opened], catalogue)
    sheet = same_sheet(opened)
    share = spare_of(spare, opened)
    pressed = not transfers_only and all(one.job is None or one.job.pressed for one in opened)
    designs = [one.design for one in opened]
    found = quote(designs, sheet, shop, spare=share, pressed=pressed, jobs=_jobs(opened))
    prices = (
        price_list(designs[0], sheet, shop, spare=share, pressed=pressed)
        if len(designs) == 1
        else ()
    )
    if form == "json":
        print_json(quote_data(found, prices))
    elif form == "csv":
        click.echo(quote_csv(found), nl=False)
    else:
        click.echo(in_words(found) + price_list_text(prices), nl=False)
    if found.demo and form != "text":
        say(f"warning: {DEMO_WARNING}")
    return int(bool(left_out) or found.total < found.cost)


def _jobs(opened: Sequence[Opened]) -> dict[str, list[Design]]:
    """Return the designs by the file that they come from; all lines of a names list are one job."""
    files: dict[str, list[Opened]] = {}
    for one in opened:
        files.setdefault(one.file, []).append(one)
    found: dict[str, list[Design]] = {}
    for file, mine in files.items():
        name = mine[0].name if len(mine) == 1 else Path(file).name
        found[name if name not in found else file] = [one.design for one in mine]
    return found
