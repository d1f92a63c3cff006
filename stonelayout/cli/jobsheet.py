"""``stonelayout jobsheet``: the page that goes to the job_sheet."""

from __future__ import annotations

import click

from stonelayout.units import counted

from .options import FINDINGS_HELP, catalogue_option, format_option, sheet_option
from .order_options import copies_option, open_design, spare_option
from .output import exit_code, print_json, say, write_result


@click.command("jobsheet", epilog=FINDINGS_HELP)
@click.argument("file", metavar="FILE")
@click.option("-o", "--output", metavar="FILE", help="The page, e.g. jobsheet.html; - is stdout.")
@copies_option
@spare_option
@sheet_option
@format_option
@catalogue_option
def command(
    file: str,
    output: str | None,
    copies: int | None,
    spare: float | None,
    sheet_name: str | None,
    form: str,
    catalogue_files: tuple[str, ...],
) -> int:
    """Write the job sheet of a layout.json or a job file: templates, settings, steps, cautions.

    \b
    stonelayout jobsheet crest.toml --copies 25 -o crest-jobsheet.html

    With --format json its figures are printed. Exit code 1: findings of severity error.
    """
    from stonelayout.documents.job_sheet import JobSheet, jobsheet_data, jobsheet_html
    from stonelayout.model.shop_rates import Sets
    from stonelayout.orders.opened_designs import spare_of
    from stonelayout.orders.own_files import own_catalogue, shop_for

    if output is None and form == "text":
        raise click.UsageError("say where the page goes: -o FILE (or --format json)")
    catalogue = own_catalogue(catalogue_files)
    one = open_design(file, copies, sheet_name, catalogue)
    shop = shop_for(None, [one.job], catalogue)
    job_sheet = JobSheet(
        one.design,
        one.layout,
        one.layers,
        one.tiles,
        one.sheet,
        one.findings(catalogue),
        spare_of(spare, [one]),
        one.job is None or one.job.pressed,
        sets=Sets.of(one.design.copies, shop.sheets.get(one.sheet.name)),
    )
    if output is not None:
        write_result(output, jobsheet_html(job_sheet, catalogue.colours))
        say(f"{counted(len(job_sheet.templates), 'template')}: {output}")
    if form == "json":
        print_json(jobsheet_data(job_sheet))
    return exit_code(job_sheet.findings)
