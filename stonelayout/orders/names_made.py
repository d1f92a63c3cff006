"""A names list made: its lines in parallel, those that are there kept, folders and papers."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from stonelayout.errors import InputError
from stonelayout.file_sets import LockedFolder, locked, remove_set, write_set
from stonelayout.model.names import ListedDesign
from stonelayout.units import counted

from .names_list import NamesList
from .names_papers import former_papers, papers_of, roll_of_list, with_gaps
from .names_run import RECORD, key_of, known, make_line, read_record, record_text
from .parallel import Died, run_all

#: In the list's folder: every design with its lines and counts, and what was not made.
ORDER = "order.json"
Tell = Callable[[str], None]
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class MadeLine:
    """One design of the list, made: what was found of it, and its files by name.

    ``record`` has counts, layers, sizes and findings (see ``names_run.Done``). ``files`` is None
    where they stand in its folder already.
    """

    design: ListedDesign
    key: str
    record: Mapping[str, Any]
    files: Mapping[str, str | bytes] | None


@dataclass
class MadeNames:
    """A names list, made: ``lines`` and, by the index of the design, the ``errors`` of the others.

    ``bug``: one of these is a fault of ours, told with its traceback. ``notes`` is all that was
    told in words, ``into`` the folder that the lines were written to while they were made.
    """

    found: NamesList
    into: Path | None = None
    tell: Tell | None = None
    lines: dict[int, MadeLine] = field(default_factory=dict)
    errors: dict[int, str] = field(default_factory=dict)
    bug: bool = False
    notes: list[str] = field(default_factory=list)

    def note(self, words: str) -> None:
        """Keep what there is to tell in words, and tell it."""
        self.notes.append(words)
        if self.tell is not None:
            self.tell(words)

    def write(self, folder: str | Path, lock: LockedFolder | None = None) -> dict[str, Any]:
        """Write a folder for each line, the list's papers and ``order.json``; return its data.

        Files of an earlier run that this one does not make are deleted, by that run's own records,
        unless they were changed since; what it made of lines that cannot be made now stays.
        Nothing is changed when no line is made. ``lock`` is the caller's, where it has one. Raises
        InputError for a folder that another run is writing to, a file that cannot be written, and
        another folder than the one that lines were made ``into``.
        """
        root = Path(folder)
        if lock is None:
            with locked(root) as lock:
                return self.write(root, lock)
        if self.into is not None and root != self.into:
            raise InputError(f"the lines were made into {self.into}", file=str(root))
        order = self._order()
        order["kept"] = order["papers"] = []
        if not self.lines:
            return order
        for line in self.lines.values():
            _write_line(root, line)
        records = {k: line.record for k, line in self.lines.items()}
        order["kept"] = self._drop_stale(root)
        papers = with_gaps(
            {
                **papers_of(self.found, records, self.note),
                **roll_of_list(root, self.found, records, self.note),
            },
            order["not_made"],
        )
        order["papers"] = sorted(papers)
        text = json.dumps(order, ensure_ascii=False, indent=2) + "\n"
        former = sorted(former_papers(root / ORDER))
        written = lock.write({**papers, ORDER: text}, "make", former=former)
        for name in written.kept:
            self.note(f"{name}: of an earlier run, and left: delete it if it is not wanted")
        return order

    def _order(self) -> dict[str, Any]:
        """Return ``order.json``: every design with its lines and counts, and what was not made."""
        made = [
            {
                "label": line.design.label,
                "lines": line.design.lines,
                "folder": line.design.folder,
                "copies": line.design.copies,
                **line.record,
            }
            for _, line in sorted(self.lines.items())
        ]
        not_made = [
            {"line": line, "label": "", "reason": reason} for line, reason in self.found.bad
        ] + [
            {"line": line, "label": self.found.designs[k].label, "reason": reason}
            for k, reason in self.errors.items()
            for line in self.found.designs[k].lines
        ]
        return {
            "version": 1,
            "list": self.found.names.file,
            "designs": made,
            "copies": sum(entry["copies"] for entry in made),
            "not_made": sorted(not_made, key=lambda entry: int(str(entry["line"]))),
            "warnings": list(self.found.warnings),
        }

    def _drop_stale(self, root: Path) -> list[str]:
        """Delete what an earlier run made, by its own records, of lines that are gone.

        What it made of lines that cannot be made now stays; while a line cannot be read, that may
        be any. Returns these folders.
        """
        try:
            former = json.loads((root / ORDER).read_text(encoding="utf-8"))
            folders = {str(entry["folder"]) for entry in former["designs"]}
            folders.update(map(str, former.get("kept", ())))
        except (OSError, ValueError, KeyError, TypeError):
            return []
        listed = {design.folder for design in self.found.designs}
        made = {line.design.folder for line in self.lines.values()}
        kept = []
        for name in sorted(folders - made):
            if (root / name).parent != root:
                continue
            if name not in listed and not self.found.bad:
                if read_record(root / name) is not None:
                    left = remove_set(root / name)
                    but = f", but for what was changed since: {', '.join(left)}" if left else ""
                    self.note(f"{name}: no longer in the list, its files are deleted{but}")
            elif read_record(root / name) is not None:
                self.note(f"{name}: not made anew; the files of an earlier run stay there")
                kept.append(name)
        return kept


def make_names(
    found: NamesList,
    progress: Progress | None = None,
    *,
    into: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    tell: Tell | None = None,
) -> MadeNames:
    """Make all lines of a list; what is wrong with one does not stop the others.

    ``into`` a folder: lines that stand there already, made from the same, are not made again, and
    each other one is written as soon as it is made; none: all are kept until they are written.
    ``progress`` is told, after each line, how many are done, how many there are and the line's
    label; ``tell`` hears what there is to say in words. ``workers`` and ``cluster`` are as for
    ``run_all``. Raises InputError for a line that cannot be written and for a scheduler that does
    not answer, MissingExtraError where that extra is not installed.
    """
    made = MadeNames(found, None if into is None else Path(into), tell)
    fonts = found.fonts()
    keys = [key_of(task, fonts) for task in found.tasks]
    if made.into is not None:
        for k, design in enumerate(found.designs):
            record = known(made.into / design.folder, keys[k])
            if record is not None:
                made.lines[k] = MadeLine(design, keys[k], record, None)
    if made.lines:
        made.note(
            f"{len(made.lines)} of {len(found.designs)} are there already, made from the same"
        )
    missing = [k for k in range(len(keys)) if k not in made.lines]
    results = run_all(
        make_line,
        [found.tasks[k] for k in missing],
        workers,
        cluster,
        lambda n: made.note(f"a worker died; {counted(n, 'design')} tried once more, each alone"),
    )
    try:
        for count, (index, done) in enumerate(results, start=1):
            k = missing[index]
            if isinstance(done, Died):
                made.errors[k] = "the worker that made it died twice"
            elif done.error:
                made.errors[k], made.bug = done.error, made.bug or bool(done.trace)
                if done.trace:
                    made.note(done.trace)
            else:
                line = MadeLine(found.designs[k], keys[k], done.record, done.files)
                if made.into is not None:
                    line = _write_line(made.into, line)
                made.lines[k] = line
            if progress is not None:
                progress(count, len(missing), found.designs[k].label)
    finally:
        results.close()  # type: ignore[attr-defined] # a generator; the type says only Iterator
    return made


def _write_line(root: Path, line: MadeLine) -> MadeLine:
    """Write a line's files, unless they stand there; return it without them."""
    if line.files is None:
        return line
    folder = root / line.design.folder
    record = record_text(line.key, line.record, line.files)
    former = (read_record(folder) or {"files": ()})["files"]
    write_set(folder, {**line.files, RECORD: record}, "make", former=sorted(former))
    return MadeLine(line.design, line.key, line.record, None)
