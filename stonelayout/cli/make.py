"""``stonelayout make``: the whole job from one job file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.units import counted, minutes, mm_and_inches

from . import EXIT_BAD_INPUT, EXIT_BUG
from .options import FINDINGS_HELP, catalogue_option, format_option
from .order_text import tell_order, tell_written
from .output import exit_code, finding_lines, print_json, say, tell_by_hand
from .progress import LayingProgress, NamesProgress

if TYPE_CHECKING:
    from stonelayout.orders.job_files import LoadedNames


@click.command("make", epilog=FINDINGS_HELP)
@click.argument("job_file", metavar="JOB.toml")
@click.option("--out", required=True, metavar="DIR", help="Folder for all the files.")
@click.option("--quiet", "-q", is_flag=True, help="Print only findings of severity error.")
@click.option(
    "--workers", type=click.IntRange(1, 1000), help="Processes for a names list (else: all cores)."
)
@click.option("--cluster", metavar="HOST:PORT", help="A Dask scheduler to make a names list on.")
@format_option
@catalogue_option
def command(
    job_file: str,
    out: str,
    quiet: bool,
    workers: int | None,
    cluster: str | None,
    form: str,
    catalogue_files: tuple[str, ...],
) -> int:
    """Do the whole job: lay the stones, check the sheet, write layers, proof and report.

    A job with a names list gets a folder for each line, one stock list and one quote; lines that
    are there already, made from the same, are not made again.

    \b
    stonelayout make crest.toml --out crest
    """
    from stonelayout.orders.job_files import LoadedNames, load_job

    loaded = load_job(job_file, catalogue_files)
    if isinstance(loaded, LoadedNames):
        return _make_names(loaded, out, quiet, form, workers, cluster)
    made = loaded.make(LayingProgress())
    tell_by_hand(made.write(out))
    if form == "json":
        print_json(made.report)
    elif quiet:
        for line in finding_lines(f for f in made.findings if f.severity == "error"):
            say(line)
    else:
        _summary(made.report, out)
        for line in finding_lines(made.findings):
            click.echo(line)
    return exit_code(made.findings)


def _make_names(
    loaded: LoadedNames,
    out: str,
    quiet: bool,
    form: str,
    workers: int | None,
    cluster: str | None,
) -> int:
    """Make all lines of a names list into ``out``; return the exit code."""
    from stonelayout.file_sets import locked

    progress = NamesProgress()
    with locked(out) as lock:
        try:
            made = loaded.make(progress, into=out, workers=workers, cluster=cluster, tell=say)
        finally:
            progress.end()
        order = made.write(out, lock)
    tell_order(order, form, quiet)
    code = EXIT_BUG if made.bug else int(bool(order["not_made"]))
    if not made.lines:
        say(f"no line can be made; nothing in {out} is changed")
        return max(code, EXIT_BAD_INPUT)
    if form == "text":
        tell_written(order, out)
    return max(code, int(any(design["errors"] for design in order["designs"])))


def _summary(report: Mapping[str, Any], out: str) -> None:
    width, height = report["design"]
    page = " x ".join(f"{side:.1f}" for side in report["size"])
    click.echo(
        f"{report['job']}: {counted(report['stones'], 'stone')}, {mm_and_inches(width)} x "
        f"{mm_and_inches(height)}, on a page of {page} mm ({report['size_from']}), sheet "
        f"{report['sheet']}" + (f", in {report['tiles']} tiles" if report["tiles"] > 1 else "")
    )
    for lift, layer in enumerate(report["layers"], start=1):
        web = layer["least_web"]
        click.echo(
            f"  {lift:>2}. {layer['size']} {layer['colour']:12}{layer['count']:>6} "
            f"{'stones' if layer['count'] != 1 else 'stone '}  hole {layer['hole']:.2f} mm  "
            + (f"least web {web:.2f} mm  " if web is not None else "")
            + layer["file"]
        )
    click.echo(_order_line(report["order"]))
    click.echo(f"written to {out}; look at {Path(out) / _look(report)} first")


def _look(report: Mapping[str, Any]) -> str:
    """Return the proof to look at first: the page where there is one."""
    names = ("proof.html", "proof.svg", "proof.png")
    return next((name for name in names if name in report["files"]), "report.json")


def _order_line(order: Mapping[str, Any]) -> str:
    """Say in one line what the order takes and what it costs."""
    parts = [counted(order["copies"], "transfer")]
    if order["sets"] > 1:
        parts.append(
            f"{order['sets']} sets of templates, {order['transfers_a_set']} transfers each"
        )
    parts.append(f"about {minutes(order['cut_minutes'] * 60)} min to cut")
    if order["roll_mm"] is not None:
        parts.append(f"{mm_and_inches(order['roll_mm'], 0)} of roll")
    if order["price_each"] is not None:
        demo = " (INVENTED demo prices)" if order["demo_prices"] else ""
        parts.append(f"{order['minutes_by_hand']} min by hand")
        parts.append(f"{order['price_each']} {order['currency']} each{demo}")
    return "  " + ", ".join(parts)
