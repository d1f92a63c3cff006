"""The papers of a whole names list: one stock list, one quote, one roll plan."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from stonelayout.documents.roll_documents import TemplateSet, plan_sets, roll_files
from stonelayout.errors import InputError
from stonelayout.files import read_text
from stonelayout.model.job import Job, parse_job
from stonelayout.model.layout import Layout
from stonelayout.model.order import Design, needs, taken_out
from stonelayout.model.shop_rates import Sets, demo_shop
from stonelayout.shop.quote import quote
from stonelayout.shop.quote_text import quote_text
from stonelayout.shop.stock import stock_lines, stock_text
from stonelayout.template.roll import roll_of
from stonelayout.template.separation import separate
from stonelayout.template.tiling import marks_of, pieces

from .names_list import NamesList
from .names_run import Task

#: Designs whose templates are planned on one roll here; `stonelayout roll` plans any number.
MOST_ON_A_ROLL = 200
#: Lines of the list that could not be made, named at the head of a paper; more are counted.
MOST_NAMED = 12

#: What was made, by the index of its design: what ``made.json`` holds of it.
Records = Mapping[int, Mapping[str, Any]]


def papers_of(found: NamesList, records: Records, tell: Callable[[str], None]) -> dict[str, str]:
    """Return one stock list and one quote for all that is made; ``tell`` hears why there is none.

    All lines have one sheet, spare share and prices: those of the first that is made.
    """
    if not records:
        return {}
    ordered = [_ordered(found, k, records[k]) for k in sorted(records)]
    job = _job(found.tasks[min(records)])
    shop = found.tasks[0].shop or demo_shop(job.catalogue)
    lines = stock_lines(needs(ordered, job.spare), None, shop.pack)
    papers = {"stock.txt": stock_text(lines, taken_out(ordered, job.spare))}
    try:
        found_quote = quote(ordered, job.sheet, shop, spare=job.spare, pressed=job.pressed)
        papers["quote.txt"] = quote_text(found_quote)
    except InputError as error:
        tell(f"no quote: {error}")
    return papers


def _job(task: Task) -> Job:
    return parse_job(task.job, task.file, task.catalogue, task.entry)


def _ordered(found: NamesList, index: int, record: Mapping[str, Any]) -> Design:
    """Return one design of the list as it is ordered, from the record of its files."""
    counts = {}
    for name, count in record["stones"].items():
        size, _, colour = name.partition(" ")
        counts[size, colour] = int(count)
    return Design(
        found.designs[index].label,
        counts,
        record["layers"],
        (float(record["size"][0]), float(record["size"][1])),
        found.designs[index].copies,
        float(record["cut_seconds"]),
        tuple((float(width), float(height)) for width, height in record["pages"]),
    )


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
    root: Path, found: NamesList, records: Records, tell: Callable[[str], None]
) -> dict[str, str | bytes]:
    """Return the roll plan of all templates that are made, as many sets as the copies wear out.

    The layouts are read from the designs' folders below ``root``; ``tell`` hears why there is no
    plan.
    """
    if not records:
        return {}
    if len(records) > MOST_ON_A_ROLL:
        tell(
            f"no roll plan: {len(records)} designs are more than the {MOST_ON_A_ROLL} planned with "
            "a list; give their layout.json files to stonelayout roll, some at a time"
        )
        return {}
    task = found.tasks[min(records)]
    job = _job(task)
    price = (task.shop or demo_shop(task.catalogue)).sheets.get(job.sheet.name)
    sets = []
    for k in sorted(records):
        design = found.designs[k]
        place = root / design.folder / "layout.json"
        layers = separate(Layout.from_json(read_text(place), str(place)), job.sheet)
        register = marks_of(job.sheet, design.label, design.lines[0])
        parts = pieces(layers, job.sheet, register, tiled=job.tile)
        sets.append(TemplateSet(design.label, parts, Sets.of(design.copies, price).count))
    try:
        plan, templates = plan_sets(sets, roll_of(job.sheet))
    except InputError as error:
        tell(f"no roll plan: {error}")
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
