"""Finding a font: a file beside the job, or one that is installed."""

from __future__ import annotations

import difflib
import os
import re
import sys
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from stonelayout.errors import InputError

ENDINGS = (".ttf", ".otf", ".ttc", ".otc")
#: No machine has more font files than this; a folder that holds more is not a font folder.
MOST_FILES = 50_000


def font_folders() -> list[Path]:
    """Return the folders in which this system keeps fonts, the user's own first."""
    home = Path.home()
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA", str(home / "AppData" / "Local"))
        windows = os.environ.get("WINDIR", "C:\\Windows")
        return [Path(local) / "Microsoft/Windows/Fonts", Path(windows) / "Fonts"]
    if sys.platform == "darwin":
        return [home / "Library/Fonts", Path("/Library/Fonts"), Path("/System/Library/Fonts")]
    data = os.environ.get("XDG_DATA_HOME") or str(home / ".local/share")
    return [
        Path(data) / "fonts",
        home / ".fonts",
        Path("/usr/local/share/fonts"),
        Path("/usr/share/fonts"),
    ]


def find_font(name: str, folder: Path) -> Path:
    """Return the font file: a path (``.ttf``, ``.otf``), or the name of an installed font.

    A path is looked up from ``folder``. A name matches the file name without its ending, or the
    font's own full name or family (its regular style), whatever the case, spaces and hyphens.
    Raises InputError with the nearest names.
    """
    if name.lower().endswith(ENDINGS) or "/" in name or "\\" in name:
        path = folder / name
        if not path.is_file():
            raise InputError("cannot read: there is no such font file", file=str(path))
        return path
    wanted = _plain(name)
    files = _installed()
    for stem in (wanted, wanted + "regular", wanted + "book"):
        if stem in files:
            return files[stem]
    by_name = _by_own_name()
    if wanted in by_name:
        return by_name[wanted]
    stems = {path.stem: None for path in files.values()}
    near = difflib.get_close_matches(name, stems, n=3, cutoff=0.5)
    hint = f"; near it: {', '.join(near)}" if near else ""
    raise InputError(
        f'there is no face "{name}": give a single-line face (plain, script), a font file such as '
        f'"face.ttf", or the name of an installed font{hint}'
    )


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]+", "", name).casefold()


def _files(folders: Iterable[Path]) -> Iterable[Path]:
    left = MOST_FILES
    for folder in folders:
        for path in sorted(folder.rglob("*")) if folder.is_dir() else ():
            left -= 1
            if left < 0:
                return
            if path.suffix.lower() in ENDINGS:
                yield path


def installed_fonts() -> list[Path]:
    """Return every font file of this system, the user's own first; one of each file name."""
    return list(_installed().values())


@lru_cache(maxsize=1)
def _installed() -> dict[str, Path]:
    found: dict[str, Path] = {}
    for path in _files(font_folders()):
        found.setdefault(_plain(path.stem), path)
    return found


@lru_cache(maxsize=1)
def _by_own_name() -> dict[str, Path]:
    """Read every installed font's full name and family: slow, so only when no file name fits."""
    from fontTools.ttLib import TTFont, TTLibError

    found: dict[str, Path] = {}
    for path in _installed().values():
        try:
            with TTFont(path, fontNumber=0, lazy=True) as font:
                names = font["name"]
                full, family = names.getBestFullName(), names.getBestFamilyName()
                style = names.getBestSubFamilyName()
        except (TTLibError, OSError, KeyError, ValueError):
            continue  # a damaged font file of the system is not ours to report
        if full:
            found.setdefault(_plain(full), path)
        if family and style in ("Regular", "Book", "Roman", "Normal"):
            found.setdefault(_plain(family), path)
    return found
