"""``stonelayout quote``: cost, price and time of an order."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from .options import catalogue_option, sheet_option
from .order_options import FILES_HELP, copies_option, open_designs, shop_option, spare_option
from .output import print_json, say

if TYPE_CHECKING:
    pass


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
    from stonelayout.orders.opened_designs import designs_by_job, same_sheet, spare_of
    from stonelayout.orders.own_files import own_catalogue, shop_for
    from stonelayout.shop.quote import price_list, quote
    from stonelayout.shop.quote_text import DEMO_WARNING, price_list_text, quote_csv, quote_data
    from stonelayout.shop.quote_text import quote_text as in_words

    catalogue = own_catalogue(catalogue_files)
    opened, left_out = open_designs(files, copies, sheet_name, catalogue)
    shop = shop_for(shop_file, [one.job for one in opened], catalogue)
    sheet = same_sheet(opened)
    share = spare_of(spare, opened)
    pressed = not transfers_only and all(one.job is None or one.job.pressed for one in opened)
    designs = [one.design for one in opened]
    found = quote(designs, sheet, shop, spare=share, pressed=pressed, jobs=designs_by_job(opened))
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
