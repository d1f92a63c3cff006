"""Making a job that has a names list: every line, in parallel, resumed, reported."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import StoneLayoutError
from stonelayout.files import read_bytes, read_text, write_all
from stonelayout.units import counted

from .common import print_json, say

if TYPE_CHECKING:
    from stonelayout.catalogue import Catalogue
    from stonelayout.job import Job
    from stonelayout.names import Design, Names
    from stonelayout.namesrun import Done, Task

ORDER = "order.json"
#: Designs whose templates are planned on one roll here; `stonelayout roll` plans any number.
MOST_ON_A_ROLL = 200
#: Seconds between two lines of progress.
PROGRESS_SECONDS = 0.5
EXIT_BUG = 3


@dataclass(frozen=True)
class List:
    """A job's names list, read: its designs, their tasks, and the lines that cannot be read."""

    names: Names
    path: Path
    designs: Sequence[Design]
    tasks: Sequence[Task]
    bad: Sequence[tuple[int, str]]


def read_names(text: str, job_file: str, catalogue: Catalogue) -> List | None:
    """Return the names list of a job's text; None when the job has none."""
    if "names" not in text:
        return None
    from stonelayout.names import designs, names_of, read_list
    from stonelayout.namesrun import Task
    from stonelayout.tomlplaces import read_toml

    from .designs import open_shop

    data = read_toml(text, job_file)
    names = names_of(data, text, job_file)
    if names is None:
        return None
    folder = Path(job_file).parent
    path = folder / names.file
    entries, bad = read_list(read_text(path), str(path), names)
    found = designs(entries, data)
    drawing = (data.get("artwork") or {}).get("file")
    content = read_bytes(folder / drawing) if isinstance(drawing, str) else None
    prices = (data.get("shop") or {}).get("file")
    shop = open_shop(str(folder / prices) if isinstance(prices, str) else None, [], catalogue)
    tasks = [
        Task(text, job_file, replace(one.entries[0], copies=one.copies), catalogue, content, shop)
        for one in found
    ]
    return List(names, path, found, tasks, bad)


def list_jobs(text: str, job_file: str, catalogue: Catalogue) -> list[Job]:
    """Return the job of each design of a names list, for counting; none without a list.

    Raises JobError that lists every line which cannot be used: a count must be whole.
    """
    from stonelayout.errors import JobError
    from stonelayout.job import parse_job

    found = read_names(text, job_file, catalogue)
    if found is None:
        return []
    jobs, problems = [], [f"{found.path}:{line}: {reason}" for line, reason in found.bad]
    for design, task in zip(found.designs, found.tasks, strict=True):
        try:
            jobs.append(parse_job(text, job_file, catalogue, task.entry))
        except JobError as error:
            problems += [f"{found.path}:{design.lines[0]}: {line}" for line in error.problems]
    if problems:
        raise JobError(problems)
    return jobs


def make_names(
    found: List, out: str, quiet: bool, form: str, workers: int | None, cluster: str | None
) -> int:
    """Make all lines of a list into ``out``; return the exit code."""
    from stonelayout.namesrun import key_of, known

    root = Path(out)
    fonts = _fonts(found.tasks)
    keys = [key_of(task, fonts) for task in found.tasks]
    records: dict[int, Mapping[str, Any]] = {}
    for k, design in enumerate(found.designs):
        record = known(root / design.folder, keys[k])
        if record is not None:
            records[k] = record
    if records:
        say(f"{len(records)} of {len(found.designs)} are there already, made from the same")
    errors, bug = _make_missing(found, root, keys, records, workers, cluster)
    _drop_stale(root, found)
    code = EXIT_BUG if bug else int(bool(errors or found.bad))
    code = max(code, int(any(record["errors"] for record in records.values())))
    order = _order(found, records, errors)
    papers = {**_papers(found, records), **_roll(root, found, records)}
    order["papers"] = sorted(papers)
    stale = _former_papers(root) - set(papers)
    text = json.dumps(order, ensure_ascii=False, indent=2) + "\n"
    write_all(out, {**papers, ORDER: text}, drop=stale)
    if (root / "roll").is_dir() and not any((root / "roll").iterdir()):
        (root / "roll").rmdir()
    if form == "json":
        print_json(order)
    else:
        _tell(order, out, quiet)
    return code


def _make_missing(
    found: List,
    root: Path,
    keys: Sequence[str],
    records: dict[int, Mapping[str, Any]],
    workers: int | None,
    cluster: str | None,
) -> tuple[dict[int, str], bool]:
    """Make what is not there, write each as it is done; return the errors, and if any is a bug."""
    from stonelayout.many import Died, run_all
    from stonelayout.namesrun import make_line

    missing = [k for k in range(len(keys)) if k not in records]
    errors: dict[int, str] = {}
    bug = False
    progress = _Progress(len(missing))
    results = run_all(
        make_line,
        [found.tasks[k] for k in missing],
        workers,
        cluster,
        lambda count: say(f"a worker died; {count} designs are tried once more, each by itself"),
    )
    try:
        for index, done in results:
            k = missing[index]
            if isinstance(done, Died):
                errors[k] = "the worker that made it died twice"
            elif done.error:
                errors[k], bug = done.error, bug or done.bug
            else:
                _write(root / found.designs[k].folder, keys[k], done)
                records[k] = done.record
            if k in errors:
                _forget(root / found.designs[k].folder)
            progress.step(found.designs[k].label)
    finally:
        results.close()  # type: ignore[attr-defined] # a generator; the type says only Iterator
        progress.end()
    return errors, bug


def _write(folder: Path, key: str, done: Done) -> None:
    """Write a line's files; the record last, so that a folder cut short is never taken as whole."""
    from stonelayout.namesrun import RECORD, read_record, record_text

    former = read_record(folder)
    stale = set(former["files"]) - set(done.files) if former else set()
    (folder / RECORD).unlink(missing_ok=True)
    write_all(folder, {**done.files, RECORD: record_text(key, done)}, drop=stale)


def _drop_stale(root: Path, found: List) -> None:
    """Delete what an earlier run made, by its own records, of lines that are gone."""
    try:
        former = json.loads((root / ORDER).read_text(encoding="utf-8"))
        folders = {str(entry["folder"]) for entry in former["designs"]}
    except (OSError, ValueError, KeyError, TypeError):
        return
    for name in sorted(folders - {design.folder for design in found.designs}):
        if (root / name).parent == root and _forget(root / name):
            say(f"{name}: no longer in the list, its files are deleted")


def _forget(folder: Path) -> bool:
    """Delete the files of a line that an earlier run made, by its record."""
    from stonelayout.namesrun import RECORD, read_record

    record = read_record(folder)
    if record is None:
        return False
    for file in (*record["files"], RECORD):
        if "/" not in file:
            (folder / file).unlink(missing_ok=True)
    if not any(folder.iterdir()):
        folder.rmdir()
    return True


def _fonts(tasks: Iterable[Task]) -> dict[str, bytes]:
    """Read the font files that the lines name; those that are not there are told by their line."""
    from stonelayout.names import filled
    from stonelayout.tomlplaces import read_toml

    named: set[str] = set()
    folder = Path()
    for task in tasks:
        folder = Path(task.file).parent
        try:
            data = filled(read_toml(task.job, task.file), task.entry.values)
            texts = [text for text in data.get("text", []) if isinstance(text, dict)]
        except (StoneLayoutError, TypeError):
            continue
        named |= {str(text[key]) for text in texts for key in ("face", "fallback") if key in text}
        artwork = data.get("artwork")
        if isinstance(artwork, dict) and "text_font" in artwork:
            named.add(str(artwork["text_font"]))
    if not named:
        return {}
    from stonelayout.lettering.fonts import find_font
    from stonelayout.lettering.strokes import FACES

    found = {}
    for name in sorted(named - set(FACES)):
        try:
            found[name] = find_font(name, folder).read_bytes()
        except (StoneLayoutError, OSError):
            continue
    return found


def _order(
    found: List, records: Mapping[int, Mapping[str, Any]], errors: Mapping[int, str]
) -> dict[str, Any]:
    """Return ``order.json``: every design with its lines and counts, and what was not made."""
    made = [
        {
            "label": design.label,
            "lines": design.lines,
            "folder": design.folder,
            "copies": design.copies,
            **records[k],
        }
        for k, design in enumerate(found.designs)
        if k in records
    ]
    not_made = [{"line": line, "label": "", "reason": reason} for line, reason in found.bad] + [
        {"line": line, "label": found.designs[k].label, "reason": reason}
        for k, reason in errors.items()
        for line in found.designs[k].lines
    ]
    return {
        "version": 1,
        "list": found.names.file,
        "designs": made,
        "copies": sum(entry["copies"] for entry in made),
        "not_made": sorted(not_made, key=lambda entry: int(str(entry["line"]))),
    }


def _papers(found: List, records: Mapping[int, Mapping[str, Any]]) -> dict[str, str]:
    """Return one stock list and one quote for all that is made."""
    from stonelayout.errors import InputError
    from stonelayout.job import parse_job
    from stonelayout.order import Design as Ordered
    from stonelayout.order import needs
    from stonelayout.quote import quote
    from stonelayout.quotewords import quote_text
    from stonelayout.shop import demo_shop
    from stonelayout.stock import stock_lines, stock_text

    ordered, job = [], None
    for k, record in sorted(records.items()):
        counts = {(size, colour): n for (size, _, colour), n in _kinds(record)}
        size = (float(record["size"][0]), float(record["size"][1]))
        label, copies = found.designs[k].label, found.designs[k].copies
        seconds = float(record["cut_minutes"]) * 60
        ordered.append(Ordered(label, counts, record["layers"], size, copies, seconds))
        task = found.tasks[k]
        job = job or parse_job(task.job, task.file, task.catalogue, task.entry)
    if job is None:
        return {}
    shop = found.tasks[0].shop or demo_shop(job.catalogue)
    papers = {"stock.txt": stock_text(stock_lines(needs(ordered, job.spare), None, shop.pack))}
    try:
        found_quote = quote(ordered, job.sheet, shop, spare=job.spare, pressed=job.pressed)
        papers["quote.txt"] = quote_text(found_quote)
    except InputError as error:
        say(f"no quote: {error}")
    return papers


def _roll(
    root: Path, found: List, records: Mapping[int, Mapping[str, Any]]
) -> dict[str, str | bytes]:
    """Return the roll plan of all templates that are made, as many sets as the copies wear out."""
    from stonelayout.errors import InputError
    from stonelayout.job import parse_job
    from stonelayout.layers import separate
    from stonelayout.layout import Layout
    from stonelayout.lettering.namemark import named
    from stonelayout.order import whole
    from stonelayout.registration import registration
    from stonelayout.roll import roll_of
    from stonelayout.rollpapers import Set, plan_sets, roll_files
    from stonelayout.shop import demo_shop

    sets, sheet = [], None
    for k in sorted(records):
        design, task = found.designs[k], found.tasks[k]
        if sheet is None:
            sheet = parse_job(task.job, task.file, task.catalogue, task.entry).sheet
            price = (task.shop or demo_shop(task.catalogue)).sheets.get(sheet.name)
        place = root / design.folder / "layout.json"
        layers = separate(Layout.from_json(read_text(place), str(place)), sheet)
        marks = named(registration(layers, sheet), design.label, design.lines[0])
        sets.append(
            Set(design.label, layers, marks, whole(design.copies, price.reuses) if price else 1)
        )
    if sheet is None:
        return {}
    if len(sets) > MOST_ON_A_ROLL:
        say(
            f"no roll plan: {len(sets)} designs are more than the {MOST_ON_A_ROLL} planned with a "
            "list; give their layout.json files to stonelayout roll, some at a time"
        )
        return {}
    try:
        plan, templates = plan_sets(sets, sheet, roll_of(sheet))
    except InputError as error:
        say(f"no roll plan: {error}")
        return {}
    files = roll_files(plan, templates, found.names.file)
    return {f"roll/{name}": content for name, content in files.items()}


def _former_papers(root: Path) -> set[str]:
    """Return the papers that an earlier run wrote, by its own order file."""
    try:
        data = json.loads((root / ORDER).read_text(encoding="utf-8"))
        names = {str(name) for name in data["papers"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    return {name for name in names if ".." not in name and not name.startswith("/")}


def _kinds(record: Mapping[str, Any]) -> list[tuple[tuple[str, str, str], int]]:
    return [(name.partition(" "), int(count)) for name, count in record["stones"].items()]


def _tell(order: Mapping[str, Any], out: str, quiet: bool) -> None:
    for design in order["designs"] if not quiet else ():
        stones = sum(design["stones"].values())
        width, height = design["size"]
        copies = f" x {design['copies']}" if design["copies"] > 1 else ""
        click.echo(
            f"{design['folder']}: {design['label']}{copies}: {stones} stones, "
            f"{counted(design['layers'], 'template')} of {width:.0f} x {height:.0f} mm"
        )
        for note in design["notes"]:
            click.echo(f"  note: {note}")
    for design in order["designs"]:
        for message in design["errors"]:
            click.echo(f"{design['folder']}: error: {message}")
    for entry in order["not_made"]:
        label = f" {entry['label']}" if entry["label"] else ""
        say(f"not made: {order['list']}:{entry['line']}:{label}: {entry['reason']}")
    papers = [ORDER, *(name for name in order["papers"] if not name.startswith("roll/panel"))]
    click.echo(
        f"{counted(len(order['designs']), 'design')}, {counted(order['copies'], 'transfer')}, "
        f"{counted(len(order['not_made']), 'line')} not made; "
        f"written to {out} ({', '.join(papers)})"
    )


class _Progress:
    """Names done and time left, on standard error, only on a terminal."""

    def __init__(self, total: int) -> None:
        self.total, self.done = total, 0
        self.start = self.last = time.monotonic()
        self.shown = sys.stderr.isatty() and total > 1

    def step(self, label: str) -> None:
        """Count one more."""
        self.done += 1
        now = time.monotonic()
        if self.shown and (now - self.last > PROGRESS_SECONDS or self.done == self.total):
            self.last = now
            left = round((now - self.start) / self.done * (self.total - self.done))
            line = f"{self.done}/{self.total}  {label:24.24}  {left // 60}:{left % 60:02d} left"
            click.echo(f"\r{line}", nl=False, err=True)

    def end(self) -> None:
        """Leave the line."""
        if self.shown and self.done:
            click.echo("", err=True)
