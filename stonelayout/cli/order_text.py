"""What is printed of a names list that was made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from stonelayout.units import counted

from .output import print_json, say

#: Lines that are named by number where one reason holds for many.
MOST_LINES_NAMED = 5


def tell_order(order: Mapping[str, Any], form: str, quiet: bool) -> None:
    """Print each design of a names list and what was not made; or all as JSON."""
    if form == "json":
        print_json(order)
        return
    for design in order["designs"] if not quiet else ():
        count = counted(sum(design["stones"].values()), "stone")
        width, height = design["size"]
        copies = f" x {design['copies']}" if design["copies"] > 1 else ""
        tiles = f" in {design['tiles']} tiles, together" if design["tiles"] > 1 else " of"
        click.echo(
            f"{design['folder']}: {design['label']}{copies}: {count}, "
            f"{counted(len(design['pages']), 'template')}{tiles} {width:.0f} x {height:.0f} mm"
        )
        for note in design["notes"]:
            click.echo(f"  note: {note}")
    for design in order["designs"]:
        for message in design["errors"]:
            click.echo(f"{design['folder']}: error: {message}")
    reasons: dict[str, list[Mapping[str, Any]]] = {}
    for entry in order["not_made"]:
        reasons.setdefault(entry["reason"], []).append(entry)
    for reason, (first, *others) in reasons.items():
        label = f" {first['label']}:" if first["label"] else ""
        lines = [str(entry["line"]) for entry in others]
        more = " ..." if len(lines) > MOST_LINES_NAMED else ""
        also = (
            f" (also line{'s' * (len(lines) > 1)} {', '.join(lines[:MOST_LINES_NAMED])}{more})"
            if lines
            else ""
        )
        say(f"not made: {order['list']}:{first['line']}:{label} {reason}{also if lines else ''}")
    for warning in order["warnings"]:
        say(f"warning: {warning}")


def tell_written(order: Mapping[str, Any], out: str) -> None:
    """Print in one line what was written."""
    papers = [
        "order.json",
        *(name for name in order["papers"] if not name.startswith("roll/panel")),
    ]
    click.echo(
        f"{counted(len(order['designs']), 'design')}, {counted(order['copies'], 'transfer')}, "
        f"{counted(len(order['not_made']), 'line')} not made; "
        f"written to {out} ({', '.join(papers)})"
    )
