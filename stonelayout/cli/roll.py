"""``stonelayout roll``: all templates of an order placed on the roll."""

from __future__ import annotations

from dataclasses import replace

import click

from .options import LENGTH, catalogue_option, format_option, sheet_option, tile_option
from .order_options import open_designs
from .output import print_json, say, tell_by_hand


@click.command("roll")
@click.argument("files", nargs=-1, metavar="FILES")
@click.option("--out", metavar="DIR", help="Write roll.svg, roll.json and panel-01.svg, ... here.")
@click.option("--sets", type=click.IntRange(1, 500), help="Sets of templates of each design.")
@click.option("--roll-width", type=LENGTH, help="Width of the roll (none given: the sheet's).")
@click.option("--roll-length", type=LENGTH, help="Length of the roll (none given: the sheet's).")
@click.option("--panel", type=LENGTH, help="Longest piece that is cut in one go, e.g. 1m.")
@click.option("--edge", type=LENGTH, help="Left free at the sides and ends of a panel.")
@click.option("--gap", type=LENGTH, help="Left free between templates.")
@click.option("--no-turn", is_flag=True, help="Keep every template the way it is drawn.")
@tile_option
@sheet_option
@format_option
@catalogue_option
def command(
    files: tuple[str, ...],
    out: str | None,
    sets: int | None,
    roll_width: float | None,
    roll_length: float | None,
    panel: float | None,
    edge: float | None,
    gap: float | None,
    no_turn: bool,
    tile: bool,
    sheet_name: str | None,
    form: str,
    catalogue_files: tuple[str, ...],
) -> int:
    """Place all templates of an order on the roll, and write a cut file for each panel.

    \b
    stonelayout roll crest.toml names/*.json --out roll
    stonelayout roll crest.toml:2 --roll-width 24in --panel 1.2m

    FILES are layout.json files or job files (.toml); FILE:2 asks for two sets of that one. With
    --tile, or tile = true in its job file, a design larger than the sheet is cut in tiles, which
    are lifted on one tape by the crosses that neighbours share.
    """
    from stonelayout.documents.roll_documents import TemplateSet, plan_sets, roll_files
    from stonelayout.file_sets import write_set
    from stonelayout.orders.opened_designs import cut_as, same_sheet
    from stonelayout.orders.own_files import own_catalogue
    from stonelayout.template.roll import plan_data, plan_text, roll_of

    catalogue = own_catalogue(catalogue_files)
    # Copies of a job are pressed from one set: here a number means sets.
    opened, left_out = open_designs(files, sets, sheet_name, catalogue, sets=True)
    sheet = same_sheet(opened)
    given = {
        "width": roll_width,
        "length": roll_length,
        "panel": panel,
        "edge": edge,
        "gap": gap,
    }
    roll = replace(
        roll_of(sheet),
        turn=not no_turn,
        **{key: value for key, value in given.items() if value is not None},
    )
    plan, templates = plan_sets(
        [
            TemplateSet(
                one.name,
                cut_as(one.layers, sheet, one.job, tiled=tile, roll=roll),
                one.design.copies,
            )
            for one in opened
        ],
        roll,
    )
    if out is not None:
        title = " + ".join(dict.fromkeys(one.name for one in opened))
        tell_by_hand(write_set(out, roll_files(plan, templates, title), "roll"))
    if form == "json":
        print_json(plan_data(plan))
    else:
        click.echo(plan_text(plan), nl=False)
        if out is not None:
            say(f"written to {out}; make a test cut first")
    return int(bool(left_out))
