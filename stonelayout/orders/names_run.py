"""Making one line of a names list: from values to files, in any process, and knowing it again."""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from stonelayout.errors import StoneLayoutError
from stonelayout.model.catalogue import Catalogue
from stonelayout.model.job import parse_job
from stonelayout.model.names import Entry
from stonelayout.model.shop_rates import Shop

from .job_drawing import job_artwork

#: In each line's folder: what it was made from and the hash of every file.
RECORD = "made.json"
_LIBRARIES = (
    "numpy",
    "scipy",
    "shapely",
    "fonttools",
    "uharfbuzz",
    "skia-pathops",
    "Hershey-Fonts",
)


@dataclass(frozen=True)
class Task:
    """One line to make: all that a worker needs, which may be on another machine.

    ``artwork`` is the artwork file's content, None for a job of texts only. Font files are read
    where the worker runs. ``shop`` gives the prices, None: the demo's.
    """

    job: str
    file: str
    entry: Entry
    catalogue: Catalogue
    artwork: bytes | None = None
    shop: Shop | None = None


@dataclass(frozen=True)
class Done:
    """What became of a line: its files, or the ``error`` that it met.

    ``record`` is what ``made.json`` holds beside the key: counts, layers, size, findings.
    ``trace`` is the traceback of an error that is ours.
    """

    files: Mapping[str, str | bytes] = field(default_factory=dict)
    record: Mapping[str, Any] = field(default_factory=dict)
    error: str = ""
    trace: str = ""


def make_line(task: Task) -> Done:
    """Make one line; never raises for what is wrong with it."""
    import traceback

    try:
        return _make(task)
    except StoneLayoutError as error:
        return Done(error=str(error))
    except Exception as error:  # a line must not take the others with it; it is told as our bug
        reason = f"this is a bug in stonelayout ({type(error).__name__})"
        return Done(error=reason, trace=traceback.format_exc())


def _make(task: Task) -> Done:
    from stonelayout.make import make
    from stonelayout.template.verify import verify_tiles

    job = parse_job(task.job, task.file, task.catalogue, task.entry)
    artwork = job_artwork(job, task.artwork)
    made = make(job, artwork, task.shop)
    files = {
        name: content.encode("utf-8") if isinstance(content, str) else content
        for name, content in made.files.items()
    }
    verify_tiles(files, made.tiles)
    design = made.design
    record = {
        "cut_seconds": round(design.cut_seconds, 1),
        "stones": {f"{size} {colour}": n for (size, colour), n in sorted(design.counts.items())},
        "layers": design.layers,
        "size": list(design.size),
        "tiles": len(made.tiles),
        "pages": [list(page) for page in design.pages],
        "errors": [f.message for f in made.findings if f.severity == "error"],
        "warnings": sum(f.severity == "warning" for f in made.findings),
        "notes": list(artwork.notes),
    }
    return Done(files=files, record=record)


def key_of(task: Task, fonts: Mapping[str, bytes]) -> str:
    """Return a hash of all that the line's files depend on: job, line, artwork, fonts, program."""
    entry = task.entry
    parts = (
        task.job.encode(),
        json.dumps([entry.values, entry.label, entry.copies, _number(entry)]).encode(),
        task.artwork or b"",
        repr(task.catalogue).encode(),
        repr(task.shop).encode(),
        *(part for name in sorted(fonts) for part in (name.encode(), fonts[name])),
        program(),
    )
    total = hashlib.sha256()
    for part in parts:
        total.update(hashlib.sha256(part).digest())
    return total.hexdigest()


def _number(entry: Entry) -> int:
    """Return the line's number where its templates carry it (see namemark), else 0."""
    if entry.label.isascii():
        return 0
    from stonelayout.lettering.single_line_face import single_line_face

    return entry.line if single_line_face("plain").lacks(entry.label) else 0


@lru_cache(maxsize=1)
def program() -> bytes:
    """Return a hash of this program's own files and the versions of what it computes with."""
    total = hashlib.sha256(sys.version.encode())
    root = Path(__file__).parents[1]
    for path in sorted((*root.rglob("*.py"), *root.rglob("data/*"))):
        total.update(str(path.relative_to(root).as_posix()).encode() + path.read_bytes())
    for name in _LIBRARIES:
        try:
            total.update(f"{name} {version(name)}".encode())
        except PackageNotFoundError:
            total.update(f"{name} none".encode())
    return total.digest()


def record_text(key: str, record: Mapping[str, Any], files: Mapping[str, str | bytes]) -> str:
    """Return ``made.json``: the key, the record, the hash of each file."""
    hashes = {
        name: hashlib.sha256(data if isinstance(data, bytes) else data.encode()).hexdigest()
        for name, data in sorted(files.items())
    }
    data = {"version": 1, "key": key, "record": record, "files": hashes}
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"


def known(folder: Path, key: str) -> Mapping[str, Any] | None:
    """Return the record of a folder that was made from the same and is whole; else None."""
    data = read_record(folder)
    if data is None or data.get("key") != key:
        return None
    try:
        for name, wanted in data["files"].items():
            if hashlib.sha256((folder / name).read_bytes()).hexdigest() != wanted:
                return None
        record: Mapping[str, Any] = data["record"]
    except (OSError, KeyError, AttributeError):
        return None
    return record


def read_record(folder: Path) -> dict[str, Any] | None:
    """Return ``made.json`` as data; None where there is none that can be read."""
    try:
        data = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return data if isinstance(data, dict) and isinstance(data.get("files"), dict) else None
