"""``stonelayout stock``: what an order needs against what is on the shelf."""

from __future__ import annotations

import click

from .options import catalogue_option, sheet_option
from .order_options import FILES_HELP, copies_option, open_designs, shop_option, spare_option
from .output import print_json, say


@click.command("stock", epilog=FILES_HELP)
@click.argument("files", nargs=-1, metavar="FILES")
@click.option("--stock", "stock_file", metavar="FILE", help="What you have: CSV or TOML.")
@copies_option
@spare_option
@shop_option
@sheet_option
@click.option("--format", "form", type=click.Choice(["text", "json", "csv"]), default="text")
@catalogue_option
def command(
    files: tuple[str, ...],
    stock_file: str | None,
    copies: int | None,
    spare: float | None,
    shop_file: str | None,
    sheet_name: str | None,
    form: str,
    catalogue_files: tuple[str, ...],
) -> int:
    """Count the stones of an order, set them against your stock, and say what to buy.

    \b
    stonelayout stock crest.toml:25 names/*.json --stock shelf.csv

    A stock file has the columns size, colour and stones or gross. Exit code 1: something is
    short, or a line of a names list is left out.
    """
    from stonelayout.files import read_text
    from stonelayout.model.order import needs, taken_out
    from stonelayout.orders.opened_designs import spare_of
    from stonelayout.orders.own_files import own_catalogue, shop_for
    from stonelayout.shop.stock import parse_shelf, stock_csv, stock_lines, stock_text

    catalogue = own_catalogue(catalogue_files)
    shelf = None
    if stock_file is not None:
        shelf = parse_shelf(read_text(stock_file), stock_file, catalogue)
    opened, left_out = open_designs(files, copies, sheet_name, catalogue)
    shop = shop_for(shop_file, [one.job for one in opened], catalogue)
    share = spare_of(spare, opened)
    lines = stock_lines(needs([one.design for one in opened], share), shelf, shop.pack)
    if form == "json":
        rows = [line.as_dict() for line in lines]
        print_json({"version": 1, "spare": round(share, 6), "lines": rows})
    else:
        benches = taken_out([one.design for one in opened], share)
        click.echo(stock_csv(lines) if form == "csv" else stock_text(lines, benches), nl=False)
    if shop.demo and form == "text":
        say(f"packs as in the demo {shop.file}; your own with --shop")
    return int(bool(left_out) or (shelf is not None and any(line.short for line in lines)))
