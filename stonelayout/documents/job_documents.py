"""The documents of a job by file name: proofs, job sheet, roll plan, stones to buy and quote."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stonelayout.errors import InputError, MissingExtraError
from stonelayout.findings import Finding
from stonelayout.model.catalogue import Catalogue, Sheet
from stonelayout.model.job import Job
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Layout
from stonelayout.model.order import Design, needs
from stonelayout.model.shop_rates import Sets, Shop
from stonelayout.shop.quote import Quote, price_list, quote
from stonelayout.shop.quote_text import price_list_text, quote_data, quote_text
from stonelayout.shop.stock import stock_csv, stock_lines
from stonelayout.template.cut_path import cut_time, passes_and_overcut, runs
from stonelayout.template.roll import roll_of
from stonelayout.template.tiles import Tile

from .job_sheet import JobSheet, jobsheet_html
from .proof import proof_svg
from .proof_page import proof_html
from .report import to_json
from .roll_documents import TemplateSet, plan_sets, roll_files

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


def bench_documents(
    job: Job,
    design: Design,
    layout: Layout,
    layers: tuple[Layer, ...],
    tiles: tuple[Tile, ...],
    sets: Sets,
    findings: tuple[Finding, ...],
) -> dict[str, str | bytes]:
    """Return the job sheet."""
    job_sheet = JobSheet(
        design, layout, layers, tiles, job.sheet, findings, job.spare, job.pressed, sets=sets
    )
    return {"jobsheet.html": jobsheet_html(job_sheet, job.catalogue.colours)}


def sets_of(job: Job, shop: Shop) -> Sets:
    """Return how many sets of templates the job's copies wear out, as the shop's prices say."""
    return Sets.of(job.copies, shop.sheets.get(job.sheet.name))


def cut_seconds(tiles: Sequence[Tile], sheet: Sheet, catalogue: Catalogue) -> float:
    """Estimate the time in seconds to cut one set, on the least cutter that takes the sheet."""
    cutters = sorted(catalogue.cutters.values(), key=lambda c: (c.width, c.name))
    if not cutters:
        return 0.0
    cutter = next((c for c in cutters if c.width >= sheet.width), cutters[-1])
    passes, overcut = passes_and_overcut(sheet)
    return sum(
        cut_time(
            runs(layer, part.registration, passes=passes, overcut=overcut),
            part.registration,
            cutter,
        ).seconds
        for part in tiles
        for layer in part.layers
    )


def roll_plan_documents(
    job: Job, tiles: tuple[Tile, ...], sets: Sets
) -> tuple[dict[str, str | bytes], tuple[Finding, ...], float | None]:
    """Return the roll plan's files, a finding where there is none, and the length used in mm."""
    try:
        plan, templates = plan_sets([TemplateSet(job.name, tiles, sets.count)], roll_of(job.sheet))
    except InputError as error:
        return {}, (Finding("no-roll-plan", "warning", error.message),), None
    return roll_files(plan, templates, job.name), (), plan.used


def price_documents(
    job: Job, design: Design, shop: Shop
) -> tuple[dict[str, str | bytes], tuple[Finding, ...], Quote | None]:
    """Return the stones to buy and the quote; a finding says why there is no quote."""
    lines = stock_lines(needs([design], job.spare), None, shop.pack)
    files: dict[str, str | bytes] = {"stones.csv": stock_csv(lines)}
    try:
        found = quote([design], job.sheet, shop, spare=job.spare, pressed=job.pressed)
        prices = price_list(design, job.sheet, shop, spare=job.spare, pressed=job.pressed)
    except InputError as error:
        words = f"no quote: {error.message} (in {shop.file})".replace("\n", "; ")
        return files, (Finding("no-quote", "note", words),), None
    files["quote.txt"] = quote_text(found) + price_list_text(prices)
    files["quote.json"] = to_json(quote_data(found, prices))
    if found.total < found.cost:
        words = f"the price of {found.total:.2f} is below the cost of {found.cost:.2f}"
        return files, (Finding("below-cost", "warning", words),), found
    return files, (), found


def order_summary(
    design: Design, sets: Sets, found: Quote | None, used: float | None
) -> dict[str, Any]:
    """Return the order in a few figures, as it stands in the report; None where not known.

    ``cut_minutes`` is for all ``sets`` of templates; one is changed after ``transfers_a_set``.
    """
    return {
        "copies": design.copies,
        "sets": sets.count,
        "transfers_a_set": sets.transfers,
        "cut_minutes": round(design.cut_seconds * sets.count / 60, 1),
        "roll_mm": None if used is None else round(used, 1),
        "price_each": None if found is None else f"{found.price:.2f}",
        "currency": None if found is None else found.currency,
        "demo_prices": None if found is None else found.demo,
        "minutes_by_hand": None if found is None else f"{found.hand.total}",
    }


def png(svg: str) -> bytes:
    """Render SVG text to PNG. Raises MissingExtraError when resvg-py is not installed."""
    try:
        import resvg_py
    except ImportError:
        raise MissingExtraError(
            "a PNG proof needs the extra: pip install 'stonelayout[png]'"
        ) from None
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, width=PNG_WIDTH, dpi=96.0))
