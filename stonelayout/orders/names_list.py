"""A job's names list: its designs, what each is made from, and the lines that cannot be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from stonelayout.errors import InputError, StoneLayoutError
from stonelayout.files import read_bytes
from stonelayout.model.catalogue import Catalogue
from stonelayout.model.job import Job, parse_job
from stonelayout.model.names import (
    ListedDesign,
    Names,
    designs,
    empty_cells,
    filled,
    names_of,
    wanted_columns,
)
from stonelayout.toml.places import Places, read_toml

from .job_drawing import named_file
from .names_csv import read_list, unused_columns
from .names_run import Task
from .own_files import shop_for


@dataclass(frozen=True)
class NamesList:
    """A job's names list, read: its designs, their tasks, and the lines that cannot be read.

    ``designs[i]`` is made by ``tasks[i]``; ``bad`` has a line's number and why it cannot be read.
    """

    names: Names
    path: Path
    designs: Sequence[ListedDesign]
    tasks: Sequence[Task]
    bad: Sequence[tuple[int, str]]
    warnings: Sequence[str]

    def jobs(self) -> tuple[list[tuple[str, Job]], list[str]]:
        """Return the job of each design with the place of its line, and the lines left out."""
        jobs, left_out = [], [f"{self.path}:{line}: {reason}" for line, reason in self.bad]
        for design, task in zip(self.designs, self.tasks, strict=True):
            place = f"{self.path}:{design.lines[0]}: {design.label}"
            try:
                job = parse_job(task.job, task.file, task.catalogue, task.entry)
            except StoneLayoutError as error:
                left_out.append(f"{place}: {error}")
            else:
                jobs.append((place, job))
        return jobs, left_out

    def fonts(self) -> dict[str, bytes]:
        """Return the font files that the lines name; one that is not there is told by its line."""
        named = {name for task in self.tasks for name in _fonts_named(task)}
        if not named:
            return {}
        from stonelayout.lettering.font_files import find_font
        from stonelayout.lettering.single_line_face import FACES

        folder = Path(self.tasks[0].file).parent
        found = {}
        for name in sorted(named - set(FACES)):
            try:
                found[name] = find_font(name, folder).read_bytes()
            except (StoneLayoutError, OSError):
                continue
        return found


def read_names(text: str, job_file: str, catalogue: Catalogue) -> NamesList | None:
    """Return the names list of a job's text; None when the job has none.

    Raises InputError for a list, an artwork file or prices that cannot be read, JobError for a
    ``[names]`` table that is wrong and for columns that the job asks for and the list lacks.
    """
    if "names" not in text:
        return None
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
    drawing, prices = _file_of(data, "artwork"), _file_of(data, "shop")
    content = None
    if drawing is not None:
        place = places.at("artwork.file", "").removesuffix(": ")
        content = read_bytes(named_file(folder / drawing, place))
    shop = shop_for(None if prices is None else str(folder / prices), [], catalogue)
    tasks = [
        Task(text, job_file, replace(one.entries[0], copies=one.copies), catalogue, content, shop)
        for one in found
    ]
    return NamesList(names, path, found, tasks, bad, warnings)


def _file_of(data: Mapping[str, Any], table: str) -> str | None:
    """Return the file that a table names; None where it does not, or is wrong: a line tells it."""
    found = data.get(table)
    file = found.get("file") if isinstance(found, dict) else None
    return file if isinstance(file, str) else None


def _list_text(path: Path) -> str:
    try:
        return read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            'not UTF-8 text, so accents would be lost: save it from the spreadsheet as "CSV UTF-8"',
            file=str(path),
        ) from None


def _fonts_named(task: Task) -> set[str]:
    """Return the faces and fonts that one line names; none where its job cannot be read."""
    try:
        data = filled(read_toml(task.job, task.file), task.entry.values)
        texts = [text for text in data.get("text", []) if isinstance(text, dict)]
    except (StoneLayoutError, TypeError):
        return set()
    named = {str(text[key]) for text in texts for key in ("face", "fallback") if key in text}
    artwork = data.get("artwork")
    if isinstance(artwork, dict) and "text_font" in artwork:
        named.add(str(artwork["text_font"]))
    return named
