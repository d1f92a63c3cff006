"""Reading and writing files so that nothing is ever left half-written."""

from __future__ import annotations

import difflib
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from .errors import InputError

STDIN = "-"


def read_bytes(path: str | Path) -> bytes:
    """Return a file's bytes (``-`` is standard input). Raises InputError naming the file."""
    if str(path) == STDIN:
        return sys.stdin.buffer.read()
    try:
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise InputError(f"cannot read: {missing(path)}", file=str(path)) from None
    except OSError as error:
        raise InputError(f"cannot read: {error.strerror or error}", file=str(path)) from None


def missing(path: str | Path) -> str:
    """Say that there is no such file, with the nearest name in the same folder."""
    place = Path(path)
    try:
        names = sorted(entry.name for entry in place.parent.iterdir())
    except OSError:
        return f"there is no folder {place.parent}"
    near = difflib.get_close_matches(place.name, names, n=1, cutoff=0.7)
    return "there is no such file" + (f"; did you mean {near[0]}?" if near else "")


def read_text(path: str | Path) -> str:
    """Return a file's UTF-8 text. Raises InputError naming the file."""
    return text_of(read_bytes(path), path)


def text_of(data: bytes, path: str | Path) -> str:
    """Return the UTF-8 text in a file's bytes. Raises InputError naming the file."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("not UTF-8 text", file=str(path)) from None


def write_all(
    folder: str | Path,
    contents: Mapping[str, str | bytes],
    check: Callable[[Mapping[str, bytes]], None] | None = None,
    drop: Iterable[str] = (),
) -> None:
    """Write the files into a folder, made if need be: all of them, or none.

    Each is written beside its place under a temporary name; when all are on disk they are read
    back, handed to ``check`` (which raises when they are not as meant), and renamed. Files named
    in ``drop`` are then deleted: what an earlier run left. Raises InputError naming the file that
    cannot be written.
    """
    root = Path(folder)
    if root.exists() and not root.is_dir():
        raise InputError("is a file; give the name of a folder", file=str(root))
    made = not root.exists()
    done = False
    staged: dict[str, tuple[Path, Path]] = {}
    place = root
    try:
        root.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            place = root / name
            place.parent.mkdir(parents=True, exist_ok=True)
            if place.is_dir():
                raise IsADirectoryError(21, "there is a folder of that name")
            temporary = place.with_name(f".{place.name}.{os.getpid()}.part")
            staged[name] = (temporary, place)
            data = content.encode("utf-8") if isinstance(content, str) else content
            temporary.write_bytes(data)
        if check is not None:
            check({name: temporary.read_bytes() for name, (temporary, _) in staged.items()})
        for temporary, place in staged.values():
            temporary.replace(place)
        for name in drop:
            place = root / name
            place.unlink(missing_ok=True)
        done = True
    except OSError as error:
        raise InputError(f"cannot write: {error.strerror or error}", file=str(place)) from None
    finally:
        for temporary, _ in staged.values():
            temporary.unlink(missing_ok=True)
        if made and not done and root.is_dir() and not any(root.iterdir()):
            root.rmdir()


def write_one(path: str | Path, content: str | bytes) -> None:
    """Write one file, whole or not at all. Raises InputError naming it."""
    target = Path(path)
    write_all(target.parent, {target.name: content})
