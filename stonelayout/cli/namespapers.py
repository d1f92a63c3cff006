"""The papers of a whole names list: one stock list, one quote, one roll plan."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stonelayout.errors import InputError
from stonelayout.files import read_text

from .common import say

if TYPE_CHECKING:
    from .names import List

#: Designs whose templates are planned on one roll here; `stonelayout roll` plans any number.
MOST_ON_A_ROLL = 200
#: Lines of the list that could not be made, named at the head of a paper; more are counted.
MOST_NAMED = 12


def papers_of(found: List, records: Mapping[int, Mapping[str, Any]]) -> dict[str, str]:
    """Return one stock list and one quote for all that is made."""
    from stonelayout.model.job import parse_job
    from stonelayout.model.order import Design as Ordered
    from stonelayout.model.order import needs, taken_out
    from stonelayout.model.shop_rates import demo_shop
    from stonelayout.shop.quote import quote
    from stonelayout.shop.quote_text import quote_text
    from stonelayout.shop.stock import stock_lines, stock_text

    ordered, job = [], None
    for k, record in sorted(records.items()):
        counts = {(size, colour): n for (size, _, colour), n in _kinds(record)}
        size = (float(record["size"][0]), float(record["size"][1]))
        label, copies = found.designs[k].label, found.designs[k].copies
        pages = tuple((float(width), float(height)) for width, height in record["pages"])
        seconds = float(record["cut_seconds"])
        ordered.append(Ordered(label, counts, record["layers"], size, copies, seconds, pages))
        task = found.tasks[k]
        job = job or parse_job(task.job, task.file, task.catalogue, task.entry)
    if job is None:
        return {}
    shop = found.tasks[0].shop or demo_shop(job.catalogue)
    lines = stock_lines(needs(ordered, job.spare), None, shop.pack)
    papers = {"stock.txt": stock_text(lines, taken_out(ordered, job.spare))}
    try:
        found_quote = quote(ordered, job.sheet, shop, spare=job.spare, pressed=job.pressed)
        papers["quote.txt"] = quote_text(found_quote)
    except InputError as error:
        say(f"no quote: {error}")
    return papers


def with_gaps(
    papers: Mapping[str, str | bytes], not_made: Sequence[Mapping[str, Any]]
) -> dict[str, str | bytes]:
    """Return the papers; each that people read says first which lines are not in it."""
    if not not_made:
        return dict(papers)
    named = [f"line {entry['line']} {entry['label']}".rstrip() for entry in not_made]
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    gap = (
        f"NOT IN THIS PAPER, they could not be made: {', '.join(named[:MOST_NAMED])}{more}. Mend "
        "the list and make it again.\n\n"
    )
    return {
        name: gap + content if isinstance(content, str) and name.endswith(".txt") else content
        for name, content in papers.items()
    }


def roll_of_list(
    root: Path, found: List, records: Mapping[int, Mapping[str, Any]]
) -> dict[str, str | bytes]:
    """Return the roll plan of all templates that are made, as many sets as the copies wear out."""
    from stonelayout.documents.roll_documents import TemplateSet, plan_sets, roll_files
    from stonelayout.model.job import parse_job
    from stonelayout.model.layout import Layout
    from stonelayout.model.shop_rates import Sets, demo_shop
    from stonelayout.template.roll import roll_of
    from stonelayout.template.separation import separate
    from stonelayout.template.tiling import marks_of, pieces

    sets, sheet = [], None
    for k in sorted(records):
        design, task = found.designs[k], found.tasks[k]
        if sheet is None:
            job = parse_job(task.job, task.file, task.catalogue, task.entry)
            sheet, tiled = job.sheet, job.tile
            price = (task.shop or demo_shop(task.catalogue)).sheets.get(sheet.name)
        place = root / design.folder / "layout.json"
        layers = separate(Layout.from_json(read_text(place), str(place)), sheet)
        register = marks_of(sheet, design.label, design.lines[0])
        parts = pieces(layers, sheet, register, tiled=tiled)
        sets.append(TemplateSet(design.label, parts, Sets.of(design.copies, price).count))
    if sheet is None:
        return {}
    if len(sets) > MOST_ON_A_ROLL:
        say(
            f"no roll plan: {len(sets)} designs are more than the {MOST_ON_A_ROLL} planned with a "
            "list; give their layout.json files to stonelayout roll, some at a time"
        )
        return {}
    try:
        plan, templates = plan_sets(sets, roll_of(sheet))
    except InputError as error:
        say(f"no roll plan: {error}")
        return {}
    files = roll_files(plan, templates, found.names.file)
    return {f"roll/{name}": content for name, content in files.items()}


def former_papers(order: Path) -> set[str]:
    """Return the papers that an earlier run wrote, by its own order file."""
    try:
        data = json.loads(order.read_text(encoding="utf-8"))
        names = {str(name) for name in data["papers"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    return {name for name in names if ".." not in name and not name.startswith("/")}


def _kinds(record: Mapping[str, Any]) -> list[tuple[tuple[str, str, str], int]]:
    return [(name.partition(" "), int(count)) for name, count in record["stones"].items()]
