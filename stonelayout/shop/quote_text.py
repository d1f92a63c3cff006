"""The quote in words: for the terminal, as JSON and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from stonelayout.units import counted

from .quote import Quote, cents, share

DEMO_WARNING = "invented demo prices: put in your own before you quote anybody"


def quote_text(found: Quote) -> str:
    """Return the quote for the shop's own eyes."""
    rows = [f"{DEMO_WARNING.upper()}\n"] if found.demo else []
    rows.append(
        f"{counted(found.copies, 'transfer')}, prices in {found.currency} from {found.shop}"
    )
    group = ""
    for line in found.lines:
        if line.group != group:
            group = line.group
            rows.append(f"{group}")
        rows.append(f"  {line.what:24}{line.amount:10.2f}   {line.how}")
    rows.append(f"{'cost':26}{found.cost:10.2f}   {cents(found.cost / found.copies)} each")
    note = f", {share(found.off)} off for {found.copies}" if found.off else ""
    margin = f"margin {share(found.margin)}{note}"
    if found.job_prices:
        rows.append("price each")
        rows += [
            f"  {part.name:24}{part.price:10.2f}   {counted(part.copies, 'transfer')}, "
            f"{part.price * part.copies:.2f} together"
            for part in found.job_prices
        ]
    else:
        rows.append(f"{'price each':26}{found.price:10.2f}   {margin}")
    beside = f"   {margin}" if found.job_prices else ""
    rows.append(f"{'price of all':26}{found.total:10.2f}{beside}")
    if found.total < found.cost:
        rows.append("warning: this price is below the cost")
    rows += _pack_rows(found)
    rows += _minute_rows(found)
    return "\n".join(rows) + "\n"


def price_list_text(prices: Sequence[Quote]) -> str:
    """Return the prices at several numbers of copies, one line each; "" for none."""
    rows = [
        f"  {q.copies:6} {'copy' if q.copies == 1 else 'copies':6} {q.price:10.2f} each   "
        f"margin {share(q.margin)}" + (f", {share(q.off)} off" if q.off else "")
        for q in prices
    ]
    return "\n".join(["prices", *rows, ""]) if rows else ""


def _pack_rows(found: Quote) -> list[str]:
    """Return what the stones cost in whole packs, as they are bought when none are in stock."""
    rows = [
        f"  {one.name:24}{one.amount:10.2f}   {counted(one.packs, 'pack')} of {one.pack} gross"
        for one in found.packs
    ]
    total = sum((one.amount for one in found.packs), Decimal(0))
    used = sum((line.amount for line in found.lines if line.group == "stones"), Decimal(0))
    last = f"this order uses {used} of it; stonelayout stock sets it against your shelf"
    return ["stones to buy, in whole packs", *rows, f"  {'all packs':24}{total:10.2f}   {last}"]


def _minute_rows(found: Quote) -> list[str]:
    hand, machine = found.hand, found.machine
    rows = [
        f"by hand {hand.total} min: {hand.setup} for setting up, {hand.templates} for templates, "
        f"{hand.copies} for transfers"
    ]
    if machine is not None:
        rows.append(
            f"by machine {machine.total} min: {machine.setup} for setting up, "
            f"{machine.copies} for transfers"
        )
        if found.crossing:
            rows.append(f"by {found.crossing_to} is faster from {found.crossing} copies on")
        elif found.crossing_to:
            rows.append(f"by {found.crossing_to} is faster at any number of copies")
    return rows


def quote_data(found: Quote, prices: Sequence[Quote] = ()) -> dict[str, Any]:
    """Return the quote as it stands in ``quote.json``: amounts are text, exact to the cent."""
    return {
        "version": 1,
        "currency": found.currency,
        "shop": found.shop,
        "demo": found.demo,
        "copies": found.copies,
        "lines": [
            {"group": x.group, "what": x.what, "how": x.how, "amount": f"{x.amount:.2f}"}
            for x in found.lines
        ],
        "packs": [
            {"what": x.name, "packs": x.packs, "pack_gross": x.pack, "amount": f"{x.amount:.2f}"}
            for x in found.packs
        ],
        "cost": f"{found.cost:.2f}",
        "price_each": f"{found.price:.2f}",
        "jobs": [
            {"job": part.name, "copies": part.copies, "price_each": f"{part.price:.2f}"}
            for part in found.job_prices
        ],
        "price": f"{found.total:.2f}",
        "off": share(found.off),
        "margin": share(found.margin),
        "minutes_by_hand": f"{found.hand.total}",
        "minutes_by_machine": None if found.machine is None else f"{found.machine.total}",
        "faster_from": {"copies": found.crossing, "way": found.crossing_to or None},
        "price_list": [
            {"copies": q.copies, "price_each": f"{q.price:.2f}", "margin": share(q.margin)}
            for q in prices
        ],
    }


def quote_csv(found: Quote) -> str:
    """Return the cost lines, the cost and the price as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["group", "what", "how", "amount", "currency"])
    for line in found.lines:
        writer.writerow([line.group, line.what, line.how, f"{line.amount:.2f}", found.currency])
    for part in found.job_prices:
        each = counted(part.copies, "transfer")
        writer.writerow(["price each", part.name, each, f"{part.price:.2f}", found.currency])
    for what, amount in (("cost", found.cost), ("price", found.total)):
        writer.writerow(
            ["sum", what, counted(found.copies, "transfer"), f"{amount:.2f}", found.currency]
        )
    return out.getvalue()
