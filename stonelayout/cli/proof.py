"""``stonelayout proof``: the picture that a customer approves."""

from __future__ import annotations

from pathlib import Path

import click

from stonelayout.units import counted

from .options import catalogue_option, sheet_option
from .order_options import open_design
from .output import say, write_result

ENDINGS = (".html", ".svg", ".png")


@click.command("proof")
@click.argument("file", metavar="FILE")
@click.option("-o", "--output", required=True, metavar="FILE", help="Ends in .html, .svg or .png.")
@click.option("--customer", is_flag=True, help="No shop figures: no counts, holes or findings.")
@click.option("--garment", metavar="COLOUR", help="Colour of the garment, a plain word.")
@click.option("--title", help="Heading (none given: the design's name).")
@sheet_option
@catalogue_option
def command(
    file: str,
    output: str,
    customer: bool,
    garment: str | None,
    title: str | None,
    sheet_name: str | None,
    catalogue_files: tuple[str, ...],
) -> int:
    """Draw the proof of a layout.json or a job file, at true proportions on a garment colour.

    \b
    stonelayout proof crest.toml -o crest.html --garment red
    """
    from stonelayout.documents.job_documents import png
    from stonelayout.documents.proof import proof_svg
    from stonelayout.documents.proof_page import proof_html
    from stonelayout.orders.own_files import own_catalogue
    from stonelayout.template.lifting import templates_in_lifting_order

    ending = Path(output).suffix.lower()
    if ending not in ENDINGS:
        raise click.UsageError(f'"{output}": end the name in {", ".join(ENDINGS)}')
    catalogue = own_catalogue(catalogue_files)
    one = open_design(file, None, sheet_name, catalogue)
    cloth = catalogue.rgb(garment or (one.job.garment if one.job is not None else "navy"))
    findings = () if customer else one.findings(catalogue)
    name = title or one.name
    if ending == ".html":
        page = proof_html(
            one.layout,
            catalogue.colours,
            cloth,
            findings,
            name,
            layers=templates_in_lifting_order(one.tiles),
            customer=customer,
        )
        write_result(output, page)
    else:
        svg = proof_svg(one.layout, catalogue.colours, cloth, findings, name, counts=not customer)
        write_result(output, svg if ending == ".svg" else png(svg))
    say(f"{counted(len(one.layout), 'stone')}: {output}")
    return 0
