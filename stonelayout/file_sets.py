"""Sets of files: all files of a folder that belong together, swapped in as one step.

A set is written and synced in a work folder beside its places. Then a journal is put there, which
is the point of no return: what stops a run before it leaves the former set, what stops one after it
is finished by the next run. Files that cannot be replaced (open in another program, as on Windows)
are put back, so that the former set stands whole. A lock in the work folder keeps two runs apart. A
record in the folder, ``set.json``, tells which files the set has, by digest: the next run takes
those away that it does not write anew, unless they were changed since.

The order of steps (write, sync, journal, rename, drop the journal) is write-ahead logging as file
systems and databases do it, from memory.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import shutil
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from .errors import InputError

#: The record of a set, in its folder.
RECORD = "set.json"
#: The work folder, in the same folder, so that renaming stays within one file system.
WORK = ".stonelayout-part"
_LOCK, _JOURNAL, _NEW, _OLD = "lock", "journal.json", "new", "old"
#: A lock that vanishes between opening and locking it is looked for anew, so many times at most.
_TRIES = 100


@dataclass(frozen=True)
class Written:
    """What writing a set met: names of files changed by hand since the former set was written.

    ``kept`` are no part of the new set and were left, ``replaced`` are, and were replaced.
    """

    kept: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()


@dataclass(frozen=True)
class LockedFolder:
    """A folder that no other run writes to: what ``locked`` gives."""

    root: Path

    def write(
        self,
        contents: Mapping[str, str | bytes],
        by: str,
        check: Callable[[Mapping[str, bytes]], None] | None = None,
        *,
        protect: Iterable[str | Path] = (),
        former: Iterable[str] = (),
    ) -> Written:
        """Make the folder hold this set, and no other; as ``write_set``."""
        return _write(self.root, contents, by, check, tuple(protect), tuple(former))


def write_set(
    folder: str | Path,
    contents: Mapping[str, str | bytes],
    by: str,
    check: Callable[[Mapping[str, bytes]], None] | None = None,
    *,
    protect: Iterable[str | Path] = (),
    former: Iterable[str] = (),
) -> Written:
    """Make a folder hold this set, and no other: all its files, or none.

    ``contents`` maps names, with ``/`` below folders, to content; ``by`` names the command that
    writes it, since a set takes the place of one of its own command only. The files are read back
    and handed to ``check``, which raises when they are not as meant, before anything is replaced.
    ``protect`` names files that must never be replaced, such as the artwork. ``former`` names
    files of earlier sets without a record: what is left of them is told, not deleted. Raises
    InputError, with nothing changed, for a folder that another run is writing to or that holds a
    set of another command, and for what cannot be written or replaced.
    """
    with locked(folder) as mine:
        return mine.write(contents, by, check, protect=protect, former=former)


@contextlib.contextmanager
def locked(folder: str | Path) -> Iterator[LockedFolder]:
    """Keep other runs out of a folder, made if need be, and finish or undo what one left there.

    Raises InputError when another run is writing to it, or it cannot be made.
    """
    root = Path(folder)
    if not str(folder).strip():
        raise InputError("the folder's name is empty: give one")
    try:
        made = not root.exists()
        if not made and not root.is_dir():
            raise InputError("is a file; give the name of a folder", file=str(root))
        root.mkdir(parents=True, exist_ok=True)
        handle = _lock(root)
    except OSError as error:
        raise InputError(f"cannot write: {error.strerror or error}", file=str(root)) from None
    try:
        _recover(root)
        yield LockedFolder(root)
    finally:
        _release(root, handle)
        with contextlib.suppress(OSError):
            if made and not any(root.iterdir()):
                root.rmdir()


def unfinished(folder: str | Path) -> bool:
    """Tell whether a run stopped here between the files of two sets: run it again to finish."""
    return (Path(folder) / WORK / _JOURNAL).exists()


def read_record(folder: str | Path) -> dict[str, str]:
    """Return the names and digests of a folder's set; empty where there is no record."""
    try:
        data = json.loads((Path(folder) / RECORD).read_text(encoding="utf-8"))
        files = data["files"]
        return {str(name): str(value) for name, value in files.items() if _is_safe(str(name))}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def remove_set(folder: str | Path) -> tuple[str, ...]:
    """Delete a folder's set, and the folder where nothing else is in it.

    Files changed since they were written stay; their names are returned. Raises InputError as
    ``write_set``.
    """
    if not Path(folder).is_dir():
        return ()
    kept = write_set(folder, {}, _command_of(Path(folder))).kept
    if not kept:
        with contextlib.suppress(OSError):
            (Path(folder) / RECORD).unlink(missing_ok=True)
            Path(folder).rmdir()
    return kept


def _command_of(folder: Path) -> str:
    """Return the command that wrote a folder's set; "" where there is none, or no record."""
    try:
        data = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        return str(data["by"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def digest(data: bytes) -> str:
    """Return the SHA-256 of a file's content in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def _is_safe(name: str) -> bool:
    path = PurePosixPath(name)
    return bool(name) and not path.is_absolute() and ".." not in path.parts and "\\" not in name


def _write(
    root: Path,
    contents: Mapping[str, str | bytes],
    by: str,
    check: Callable[[Mapping[str, bytes]], None] | None,
    protect: tuple[str | Path, ...],
    former: tuple[str, ...],
) -> Written:
    data = {
        name: content.encode("utf-8") if isinstance(content, str) else content
        for name, content in contents.items()
    }
    for name in data:
        _refuse_place(root, name, protect)
    before, other = read_record(root), _command_of(root)
    if before and other != by:
        raise InputError(
            f"this folder holds the files that stonelayout {other} wrote: give another folder",
            file=str(root),
        )
    stale, kept, replaced = [], [], []
    for name, was in before.items():
        place = root / name
        if name == RECORD or _kind(place) != "file" or _linked(root, name):
            continue
        if name not in data and any(_same(place, source) for source in protect):
            continue
        same = digest(place.read_bytes()) == was
        if name in data:
            replaced += [] if same else [name]
        elif same:
            stale.append(name)
        else:
            kept.append(name)
    known = {*data, *before, RECORD}
    kept += [name for name in former if name not in known and _kind(root / name) == "file"]
    record = {"version": 1, "by": by, "files": {name: digest(data[name]) for name in sorted(data)}}
    data[RECORD] = (json.dumps(record, ensure_ascii=False, indent=1) + "\n").encode()
    _stage(root, data, check)
    _swap(root, {"version": 1, "files": sorted(data), "stale": stale})
    return Written(tuple(kept), tuple(replaced))


def _refuse_place(root: Path, name: str, protect: tuple[str | Path, ...]) -> None:
    """Raise InputError unless a file may stand, or be replaced, at ``name``."""
    place = root / name
    if not _is_safe(name):
        raise InputError(f'"{name}" leads out of the folder', file=str(root))
    if _linked(root, name):
        raise InputError("cannot write: a linked folder stands in the way", file=str(place))
    kind = _kind(place)
    if kind not in ("file", ""):
        raise InputError(f"cannot write: there is a {kind} of that name", file=str(place))
    if any(_same(place, source) for source in protect):
        raise InputError("is what the job is made from: give another folder", file=str(place))


def _same(place: Path, other: str | Path) -> bool:
    try:
        return place.samefile(other)
    except OSError:
        return False


def _kind(place: Path) -> str:
    """Say what stands at a place; "" for nothing."""
    try:
        mode = place.lstat().st_mode
    except OSError:
        return ""
    kinds = ((stat.S_ISREG, "file"), (stat.S_ISDIR, "folder"), (stat.S_ISLNK, "link"))
    return next((word for test, word in kinds if test(mode)), "device")


def _linked(root: Path, name: str) -> bool:
    """Tell whether a folder on the way from the root to a file is a link."""
    ways = [root / parent for parent in PurePosixPath(name).parents if str(parent) != "."]
    return any(way.is_symlink() for way in ways)


def _stage(
    root: Path, data: Mapping[str, bytes], check: Callable[[Mapping[str, bytes]], None] | None
) -> None:
    """Write and sync all files in the work folder, read them back, and check them."""
    new, place = root / WORK / _NEW, root
    try:
        for name, content in data.items():
            place = new / name
            place.parent.mkdir(parents=True, exist_ok=True)
            _write_synced(place, content)
        read = {name: (new / name).read_bytes() for name in data}
    except OSError as error:
        at = root / place.relative_to(new) if place != root else root
        raise InputError(f"cannot write: {error.strerror or error}", file=str(at)) from None
    if check is not None:
        check({name: content for name, content in read.items() if name != RECORD})


def _swap(root: Path, journal: dict[str, Any]) -> None:
    """Put the journal down, and all files in their places; put them back where one cannot be."""
    work = root / WORK
    try:
        _write_synced(work / f"{_JOURNAL}.part", json.dumps(journal).encode())
        (work / f"{_JOURNAL}.part").replace(work / _JOURNAL)
        _sync_folder(work)
    except OSError as error:
        raise InputError(f"cannot write: {error.strerror or error}", file=str(root)) from None
    try:
        _finish(root, journal)
    except OSError as error:
        at = error.filename2 or error.filename or str(root)
        at = (
            str(at)
            .replace(f"{WORK}{os.sep}{_NEW}{os.sep}", "")
            .replace(f"{WORK}{os.sep}{_OLD}{os.sep}", "")
        )
        _undo(root, journal)
        raise InputError(
            f"cannot replace: {error.strerror or error}; close it where it is open. The former "
            "files stand as they were",
            file=at,
        ) from None
    except KeyboardInterrupt:
        _finish(root, journal)
        raise


def _finish(root: Path, journal: Mapping[str, Any]) -> None:
    """Carry a journal out, from wherever it stopped, and drop it."""
    work = root / WORK
    for name in journal["files"]:
        if (work / _NEW / name).exists():
            _set_aside(root, name)
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (work / _NEW / name).replace(root / name)
    for name in journal["stale"]:
        _set_aside(root, name)
    for folder in {(root / name).parent for name in (*journal["files"], *journal["stale"])}:
        if folder.is_dir():
            _sync_folder(folder)
    (work / _JOURNAL).unlink(missing_ok=True)
    _sync_folder(work)
    for name in journal["stale"]:
        for parent in PurePosixPath(name).parents:
            if str(parent) != ".":
                with contextlib.suppress(OSError):
                    (root / parent).rmdir()


def _set_aside(root: Path, name: str) -> None:
    """Move a former file into the work folder, unless it has been, or there is none."""
    place, aside = root / name, root / WORK / _OLD / name
    if place.exists() and not aside.exists():
        aside.parent.mkdir(parents=True, exist_ok=True)
        place.replace(aside)


def _undo(root: Path, journal: Mapping[str, Any]) -> None:
    """Put the former files back; what cannot be is finished by the next run."""
    work = root / WORK
    with contextlib.suppress(OSError):
        for name in journal["files"]:
            if not (work / _NEW / name).exists():
                (root / name).replace(work / _NEW / name)
        for name in (*journal["files"], *journal["stale"]):
            if (work / _OLD / name).exists():
                (work / _OLD / name).replace(root / name)
        (work / _JOURNAL).unlink(missing_ok=True)


def _recover(root: Path) -> None:
    """Finish the set that another run has put a journal down for, or take away what it left."""
    work = root / WORK
    try:
        journal = json.loads((work / _JOURNAL).read_text(encoding="utf-8"))
        names = [*journal["files"], *journal["stale"]]
        if not all(isinstance(name, str) and _is_safe(name) for name in names):
            raise ValueError("its journal leads out of the folder")
        _finish(root, journal)
    except FileNotFoundError:
        pass
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"an earlier run stopped here and cannot be finished ({error}): look at the folder "
            f"{WORK} in it, then delete that",
            file=str(root),
        ) from None
    _empty(work)


def _empty(work: Path) -> None:
    for name in (_NEW, _OLD):
        shutil.rmtree(work / name, ignore_errors=True)
    (work / f"{_JOURNAL}.part").unlink(missing_ok=True)


def _release(root: Path, handle: int) -> None:
    """Take the work folder away, unless a journal stands in it, and drop the lock."""
    work = root / WORK
    with contextlib.suppress(OSError):
        if not (work / _JOURNAL).exists():
            _empty(work)
            if os.name != "nt":  # Windows deletes no open file
                (work / _LOCK).unlink(missing_ok=True)
    os.close(handle)
    with contextlib.suppress(OSError):
        if not (work / _JOURNAL).exists():
            if os.name == "nt":
                (work / _LOCK).unlink(missing_ok=True)
            work.rmdir()


def _lock(root: Path) -> int:
    """Return a handle that holds the folder's lock. Raises InputError when another run has it."""
    path = root / WORK / _LOCK
    for _ in range(_TRIES):
        try:
            path.parent.mkdir(exist_ok=True)
            handle = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
        except FileNotFoundError:  # the other run took its work folder away in between
            continue
        try:
            _hold(handle)
            if path.stat().st_ino == os.fstat(handle).st_ino:
                return handle
        except BlockingIOError:
            os.close(handle)
            raise InputError(
                "another run is writing to this folder: wait until it is done, then run again",
                file=str(root),
            ) from None
        except FileNotFoundError:
            pass
        os.close(handle)
    raise InputError("another run keeps writing to this folder: try again", file=str(root))


def _hold(handle: int) -> None:
    """Lock an open file for this process. Raises BlockingIOError when another holds it.

    File systems without locks, as some networks have, give none: runs are not kept apart there.
    """
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            raise BlockingIOError from None
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno not in (errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS):
            raise


def _write_synced(place: Path, content: bytes) -> None:
    with place.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    """Sync a folder's entries, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
