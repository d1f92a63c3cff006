"""Sets of templates in a folder: whether all its layers belong together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from stonelayout.errors import InputError
from stonelayout.file_sets import RECORD, digest, read_record, unfinished
from stonelayout.findings import Finding, in_order

#: Our files of templates: of one tile or the whole, numbered in lifting order.
_TEMPLATE = re.compile(r"(?:tile-(\d+)of\d+-)?\d\d-.+\.(svg|dxf|hpgl|pdf)\Z")
#: Names of files that a message lists at most.
MOST_NAMED = 3


def check_set(folder: str | Path) -> tuple[Finding, ...]:
    """Return what stands against taking the files of a folder for one set.

    Codes: ``set-unfinished``, ``set-incomplete`` (files of the set that are gone),
    ``set-mixed`` (templates that are not of the set), ``set-changed`` (files changed since),
    ``set-not-known`` (no record that tells).
    """
    root = Path(folder)
    found = []
    if unfinished(root):
        words = (
            "a run stopped here between two sets of files: do not cut from this folder; run the "
            "same command again, which finishes it"
        )
        found.append(Finding("set-unfinished", "error", words))
    record = read_record(root)
    if not record:
        words = f"there is no {RECORD} that tells which files belong together: look at the dates"
        return (*found, Finding("set-not-known", "warning", words))
    gone = [name for name in record if not (root / name).is_file()]
    changed = [
        name
        for name, was in record.items()
        if name not in gone and digest((root / name).read_bytes()) != was
    ]
    strange = [
        path.name
        for path in sorted(root.iterdir())
        if _TEMPLATE.match(path.name) and path.name not in record
    ]
    if gone:
        words = f"{_listed(gone)}: missing; run the command that wrote it again"
        found.append(Finding("set-incomplete", "error", words, count=len(gone)))
    if strange:
        words = f"{_listed(strange)}: of another set: do not cut them together"
        found.append(Finding("set-mixed", "error", words, count=len(strange)))
    if changed:
        words = f"{_listed(changed)}: changed since the set was written"
        found.append(Finding("set-changed", "warning", words, count=len(changed)))
    return in_order(found)


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def sets_in(folder: str | Path) -> list[Path]:
    """Return the folder itself where it holds templates, else those in it that do, by name.

    Raises InputError where there is none.
    """
    root = Path(folder)
    candidates = [root, *sorted(path for path in root.iterdir() if path.is_dir())]
    held = [one for one in candidates if _of(one)]
    if not held:
        raise InputError("holds no templates, such as 01-ss6-crystal.svg", file=str(root))
    return held[:1] if held[0] == root else held


def templates_in(folder: str | Path) -> list[list[Path]]:
    """Return the SVG files of a set's templates, tile by tile, in lifting order.

    Where a record tells what the set has, templates of other sets are left out.
    """
    record = read_record(folder)
    tiles: dict[str, list[Path]] = {}
    for path in _of(Path(folder)):
        match = _TEMPLATE.match(path.name)
        if match and match.group(2) == "svg" and (not record or path.name in record):
            tiles.setdefault(match.group(1) or "", []).append(path)
    return [tiles[tile] for tile in sorted(tiles, key=lambda tile: int(tile or 0))]


def _of(folder: Path) -> Sequence[Path]:
    return sorted(path for path in folder.iterdir() if _TEMPLATE.match(path.name))
