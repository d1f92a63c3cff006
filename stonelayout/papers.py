"""The papers of a job: what goes to the customer, to the bench and to the till, by file name."""

from __future__ import annotations

from collections.abc import Sequence

from .errors import InputError, MissingExtraError
from .findings import Finding
from .job import Job
from .jobsheet import Bench, jobsheet_html
from .layout import Layout
from .order import Design, needs
from .proof import proof_svg
from .proofpage import proof_html
from .quote import price_list, quote
from .quotewords import price_list_text, quote_data, quote_text
from .report import to_json
from .shop import Shop
from .stock import stock_csv, stock_lines
from .template import Layer, Registration

#: Width of ``proof.png`` in pixels.
PNG_WIDTH = 1600


def proofs(
    job: Job, layout: Layout, layers: Sequence[Layer], findings: Sequence[Finding]
) -> dict[str, str | bytes]:
    """Return the proofs that the job asks for: ours with findings, the customer's without.

    Raises MissingExtraError when a PNG is asked for and its renderer is not installed.
    """
    rgb, garment = job.catalogue.colours, job.catalogue.rgb(job.garment)
    files: dict[str, str | bytes] = {}
    svg = proof_svg(layout, rgb, garment, findings, job.name)
    if "svg" in job.proof:
        files["proof.svg"] = svg
    if "html" in job.proof:
        for name, customer in (("proof.html", False), ("proof-customer.html", True)):
            files[name] = proof_html(
                layout, rgb, garment, findings, job.name, layers=layers, customer=customer
            )
    if "png" in job.proof:
        files["proof.png"] = png(svg)
    return files


def bench_papers(
    job: Job,
    design: Design,
    layout: Layout,
    layers: tuple[Layer, ...],
    registration: Registration,
    findings: tuple[Finding, ...],
) -> dict[str, str | bytes]:
    """Return the job sheet."""
    bench = Bench(design, layout, layers, registration, job.sheet, findings, job.spare, job.pressed)
    return {"jobsheet.html": jobsheet_html(bench, job.catalogue.colours)}


def till_papers(
    job: Job, design: Design, shop: Shop
) -> tuple[dict[str, str | bytes], tuple[Finding, ...]]:
    """Return the stones to buy and the quote; a finding says why there is no quote."""
    lines = stock_lines(needs([design], job.spare), None, shop.pack)
    files: dict[str, str | bytes] = {"stones.csv": stock_csv(lines)}
    try:
        found = quote([design], job.sheet, shop, spare=job.spare, pressed=job.pressed)
        prices = price_list(design, job.sheet, shop, spare=job.spare, pressed=job.pressed)
    except InputError as error:
        words = f"no quote: {error.message} (in {shop.file})".replace("\n", "; ")
        return files, (Finding("no-quote", "note", words),)
    files["quote.txt"] = quote_text(found) + price_list_text(prices)
    files["quote.json"] = to_json(quote_data(found, prices))
    if found.total < found.cost:
        words = f"the price of {found.total:.2f} is below the cost of {found.cost:.2f}"
        return files, (Finding("below-cost", "warning", words),)
    return files, ()


def png(svg: str) -> bytes:
    """Render SVG text to PNG. Raises MissingExtraError when resvg-py is not installed."""
    try:
        import resvg_py
    except ImportError:
        raise MissingExtraError(
            "a PNG proof needs the extra: pip install 'stonelayout[png]'"
        ) from None
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, width=PNG_WIDTH, dpi=96.0))
