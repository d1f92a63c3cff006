"""Making a job that has a names list: every line, in parallel, resumed, reported."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import InputError, StoneLayoutError
from stonelayout.files import read_bytes, write_all
from stonelayout.units import counted

from .common import named_file, print_json, say
from .progress import NamesProgress

if TYPE_CHECKING:
    from stonelayout.model.catalogue import Catalogue
    from stonelayout.model.job import Job
    from stonelayout.model.names import Design, Names
    from stonelayout.orders.names_run import Done, Task

ORDER = "order.json"
#: Lines that are named by number where one reason holds for many.
MOST_LINES_NAMED = 5
EXIT_BAD_INPUT = 2
EXIT_BUG = 3


@dataclass(frozen=True)
class List:
    """A job's names list, read: its designs, their tasks, and the lines that cannot be read."""

    names: Names
    path: Path
    designs: Sequence[Design]
    tasks: Sequence[Task]
    bad: Sequence[tuple[int, str]]
    warnings: Sequence[str]


def read_names(text: str, job_file: str, catalogue: Catalogue) -> List | None:
    """Return the names list of a job's text; None when the job has none."""
    if "names" not in text:
        return None
    from stonelayout.model.names import designs, empty_cells, names_of, wanted_columns
    from stonelayout.orders.names_csv import read_list, unused_columns
    from stonelayout.orders.names_run import Task
    from stonelayout.toml.places import Places, read_toml

    from .designs import open_shop

    data = read_toml(text, job_file)
    names = names_of(data, text, job_file)
    if names is None:
        return None
    folder = Path(job_file).parent
    path = folder / names.file
    places = Places(text, job_file)
    wanted = wanted_columns(data, places)
    named_file(path, places.at("names.file", "").removesuffix(": "))
    entries, bad = read_list(_list_text(path), str(path), names, wanted)
    warnings = unused_columns(entries, str(path), names, wanted)
    empty = {entry.line: empty_cells(data, entry.values) for entry in entries}
    bad = sorted([*bad, *((line, reason) for line, reason in empty.items() if reason)])
    found = designs([entry for entry in entries if not empty[entry.line]], data)
    drawing = (data.get("artwork") or {}).get("file")
    content = None
    if isinstance(drawing, str):
        place = places.at("artwork.file", "").removesuffix(": ")
        content = read_bytes(named_file(folder / drawing, place))
    prices = (data.get("shop") or {}).get("file")
    shop = open_shop(str(folder / prices) if isinstance(prices, str) else None, [], catalogue)
    tasks = [
        Task(text, job_file, replace(one.entries[0], copies=one.copies), catalogue, content, shop)
        for one in found
    ]
    return List(names, path, found, tasks, bad, warnings)


def _list_text(path: Path) -> str:
    try:
        return read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            'not UTF-8 text, so accents would be lost: save it from the spreadsheet as "CSV UTF-8"',
            file=str(path),
        ) from None


def list_jobs(
    text: str, job_file: str, catalogue: Catalogue
) -> tuple[list[tuple[str, Job]], list[str]]:
    """Return the job of each design of a names list with its line, and the lines left out.

    Both are empty without a list; a warning is told.
    """
    from stonelayout.model.job import parse_job

    found = read_names(text, job_file, catalogue)
    if found is None:
        return [], []
    for warning in found.warnings:
        say(f"warning: {warning}")
    jobs, left_out = [], [f"{found.path}:{line}: {reason}" for line, reason in found.bad]
    for design, task in zip(found.designs, found.tasks, strict=True):
        place = f"{found.path}:{design.lines[0]}: {design.label}"
        try:
            jobs.append((place, parse_job(text, job_file, catalogue, task.entry)))
        except StoneLayoutError as error:
            left_out.append(f"{place}: {error}")
    return jobs, left_out


def make_names(
    found: List, out: str, quiet: bool, form: str, workers: int | None, cluster: str | None
) -> int:
    """Make all lines of a list into ``out``; return the exit code."""
    from stonelayout.orders.names_run import key_of, known

    from .namespapers import former_papers, papers_of, roll_of_list, with_gaps

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
    code = EXIT_BUG if bug else int(bool(errors or found.bad))
    order = _order(found, records, errors)
    if not records:
        order["kept"] = order["papers"] = []
        _tell_order(order, form, quiet)
        say(f"no line can be made; nothing in {out} is changed")
        return max(code, EXIT_BAD_INPUT)
    code = max(code, int(any(record["errors"] for record in records.values())))
    order["kept"] = _drop_stale(root, found, records)
    papers = with_gaps(
        {**papers_of(found, records), **roll_of_list(root, found, records)}, order["not_made"]
    )
    order["papers"] = sorted(papers)
    stale = former_papers(root / ORDER) - set(papers)
    text = json.dumps(order, ensure_ascii=False, indent=2) + "\n"
    write_all(out, {**papers, ORDER: text}, drop=stale)
    if (root / "roll").is_dir() and not any((root / "roll").iterdir()):
        (root / "roll").rmdir()
    _tell_order(order, form, quiet)
    if form == "text":
        _tell_written(order, out)
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
    from stonelayout.orders.names_run import make_line
    from stonelayout.orders.parallel import Died, run_all

    missing = [k for k in range(len(keys)) if k not in records]
    errors: dict[int, str] = {}
    bug = False
    progress = NamesProgress(len(missing))
    results = run_all(
        make_line,
        [found.tasks[k] for k in missing],
        workers,
        cluster,
        lambda count: say(f"a worker died; {counted(count, 'design')} tried once more, each alone"),
    )
    try:
        for index, done in results:
            k = missing[index]
            if isinstance(done, Died):
                errors[k] = "the worker that made it died twice"
            elif done.error:
                errors[k], bug = done.error, bug or bool(done.trace)
                if done.trace:
                    say(done.trace)
            else:
                _write(root / found.designs[k].folder, keys[k], done)
                records[k] = done.record
            progress.step(found.designs[k].label)
    finally:
        results.close()  # type: ignore[attr-defined] # a generator; the type says only Iterator
        progress.end()
    return errors, bug


def _write(folder: Path, key: str, done: Done) -> None:
    """Write a line's files; the record last, so that a folder cut short is never taken as whole."""
    from stonelayout.orders.names_run import RECORD, read_record, record_text

    former = read_record(folder)
    stale = set(former["files"]) - set(done.files) if former else set()
    (folder / RECORD).unlink(missing_ok=True)
    write_all(folder, {**done.files, RECORD: record_text(key, done)}, drop=stale)


def _drop_stale(root: Path, found: List, records: Mapping[int, Mapping[str, Any]]) -> list[str]:
    """Delete what an earlier run made, by its own records, of lines that are gone.

    What it made of lines that cannot be made now stays; while a line cannot be read, that may be
    any. Returns these folders.
    """
    from stonelayout.orders.names_run import read_record

    try:
        former = json.loads((root / ORDER).read_text(encoding="utf-8"))
        folders = {str(entry["folder"]) for entry in former["designs"]}
        folders.update(map(str, former.get("kept", ())))
    except (OSError, ValueError, KeyError, TypeError):
        return []
    listed = {design.folder for design in found.designs}
    made = {found.designs[k].folder for k in records}
    kept = []
    for name in sorted(folders - made):
        if (root / name).parent != root:
            continue
        if name not in listed and not found.bad:
            if _forget(root / name):
                say(f"{name}: no longer in the list, its files are deleted")
        elif read_record(root / name) is not None:
            say(f"{name}: not made anew; the files of an earlier run stay there")
            kept.append(name)
    return kept


def _forget(folder: Path) -> bool:
    """Delete the files of a line that an earlier run made, by its record."""
    from stonelayout.orders.names_run import RECORD, read_record

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
    from stonelayout.model.names import filled
    from stonelayout.toml.places import read_toml

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
    from stonelayout.lettering.font_files import find_font
    from stonelayout.lettering.single_line_face import FACES

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
        "warnings": list(found.warnings),
    }


def _tell_order(order: Mapping[str, Any], form: str, quiet: bool) -> None:
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


def _tell_written(order: Mapping[str, Any], out: str) -> None:
    papers = [ORDER, *(name for name in order["papers"] if not name.startswith("roll/panel"))]
    click.echo(
        f"{counted(len(order['designs']), 'design')}, {counted(order['copies'], 'transfer')}, "
        f"{counted(len(order['not_made']), 'line')} not made; "
        f"written to {out} ({', '.join(papers)})"
    )
