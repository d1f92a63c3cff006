"""Single-line faces: A. V. Hershey's stroke letters, and marks and letters of our own drawing.

The Hershey letters (National Bureau of Standards, Special Publication 424, 1976) come from the
package Hershey-Fonts (MIT licence). ``data/strokes.toml`` holds what they lack: combining marks,
which are set on their letters by the Unicode decomposition, and further letters.
"""

from __future__ import annotations

import tomllib
import unicodedata
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from stonelayout.errors import InputError, MissingExtraError
from stonelayout.geometry.points import Points

from .face import Glyph, clusters
from .glyph_drawing import Affine, Command, Drawing, joined, move, scale
from .smooth_strokes import smooth_commands

#: Base line and capital height of the Hershey letters of normal size, in their grid units.
BASE, CAPITAL = 9.0, 21.0
#: A stroke no larger than this (in grid units) is a dot: one stone.
DOT = 2.5
#: Free height between a letter and its mark, in grid units.
MARK_GAP = 4.5
#: A stroke that ends this near the side of its letter runs on into the next, in grid units.
JOIN = 1.01
_GREEK = "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩ"
#: Face name -> tables of Hershey letters: (name in the package, its characters, what they mean).
FACES = {
    "plain": ("rowmans", "greeks", "single strokes, Hershey Roman Simplex, with Greek, Cyrillic"),
    "script": ("scripts", None, "joined single-stroke script, Hershey Script Simplex"),
}
#: Characters of the script face whose ends join the next letter.
_JOINING = frozenset("abcdefghijklmnopqrstuvwxyz")


@dataclass(frozen=True)
class Letter:
    """One letter of a face: its strokes from the left side at x = 0, base line at y = 0."""

    drawing: Drawing
    width: float
    top: float
    bottom: float
    joins: bool = False


class SingleLineFace:
    """A face of strokes. Units: the Hershey grid, a capital is 21 high."""

    capital = CAPITAL

    def __init__(self, name: str) -> None:
        self.name = name
        latin, greek, _ = FACES[name]
        self._letters = dict(_hershey(latin))
        if name == "script":
            self._letters |= {c: replace(self._letters[c], joins=True) for c in _JOINING}
        if greek:
            table = _hershey(greek)
            for k, char in enumerate(_GREEK):
                self._letters[char] = table[chr(ord("A") + k)]
                self._letters[char.lower()] = table[chr(ord("a") + k)]
        if name == "plain":
            self._letters |= _drawn("redrawn", self._letters)
        own, self._marks = _own(self._letters)
        self._letters = own | self._letters

    def lacks(self, text: str) -> list[str]:
        """Return the letters (with their marks) that the face cannot draw, each once."""
        found = [c for c in clusters(text) if self._letter(c) is None]
        return list(dict.fromkeys(found))

    def set(self, text: str, spaced: bool = False) -> list[Glyph]:
        """Return the letters of a line, left to right; what the face lacks is left out."""
        glyphs, x = [], 0.0
        for cluster in clusters(text):
            letter = self._letter(cluster)
            if letter is not None:
                drawing = letter.drawing.mapped(move(x, 0.0))
                glyphs.append(Glyph(drawing, x, letter.width, cluster, letter.joins))
                x += letter.width
        return glyphs

    def _letter(self, cluster: str) -> Letter | None:
        cluster = cluster.replace("\u200c", "").replace("\u200d", "") or " "
        whole = unicodedata.normalize("NFC", cluster)
        if whole in self._letters:
            return self._letters[whole]
        base, *marks = list(unicodedata.normalize("NFD", cluster))
        letter = self._letters.get(base)
        if letter is None or not all(mark in self._marks for mark in marks):
            return None
        for mark in marks:
            letter = _with_mark(letter, base, self._marks[mark])
        return letter


@dataclass(frozen=True)
class CombiningMark:
    """A combining mark: drawn about x = 0; above: its foot at y = 0, below: its top at y = 0."""

    drawing: Drawing
    where: str
    height: float


def _with_mark(letter: Letter, base: str, mark: CombiningMark) -> Letter:
    """Set a mark on a letter; a dot above gives way to a mark above."""
    drawing, top = letter.drawing, letter.top
    if mark.where == "above" and base in "ij":
        parts = [part for part in drawing.subpaths() if not _is_dot(part)]
        drawing = Drawing(tuple(c for part in parts for c in part), stroked=True)
        top = drawing.bounds()[1]
    x0, _, x1, _ = drawing.bounds()
    if mark.where == "above":
        place = move((x0 + x1) / 2, top - MARK_GAP)
        top -= MARK_GAP + mark.height
    elif mark.where == "below":
        place = move((x0 + x1) / 2, letter.bottom + MARK_GAP)
    elif mark.where == "foot":  # hangs on the letter's middle foot
        place = move((x0 + x1) / 2, letter.bottom)
    else:  # "tail": hangs on its right foot
        place = move(_right_foot(drawing), letter.bottom)
    return replace(letter, drawing=joined([drawing, mark.drawing.mapped(place)]), top=top)


def _right_foot(drawing: Drawing) -> float:
    points = np.concatenate(drawing.lines())
    low = points[:, 1] > points[:, 1].max() - 1.0
    return float(points[low, 0].max())


def _is_dot(part: tuple[Command, ...]) -> bool:
    return len(part) == 1


def _strokes(strokes: list[Points]) -> Drawing:
    commands: list[Command] = []
    for points in strokes:
        size = np.ptp(points, axis=0).max()
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        if (size <= DOT and len(points) > 3) or len(points) == 1:
            commands.append(("M", (float(middle[0]), float(middle[1]))))
            continue
        step = np.hypot(*np.diff(points, axis=0).T)
        points = points[np.concatenate(([True], step > 1e-9))]
        closed = len(points) > 3 and bool(np.allclose(points[0], points[-1]))
        if len(points) > 1:
            commands += smooth_commands(points[:-1] if closed else points, closed, CAPITAL)
    return Drawing(tuple(commands), stroked=True)


def _measured(drawing: Drawing, width: float) -> Letter:
    if not drawing:
        return Letter(drawing, width, 0.0, 0.0)
    _, top, _, bottom = drawing.bounds()
    return Letter(drawing, width, top, bottom)


@lru_cache(maxsize=8)
def _hershey(name: str) -> dict[str, Letter]:
    """Read one table of the Hershey-Fonts package; MissingExtraError when it is not there."""
    try:
        from HersheyFonts import HersheyFonts
    except ImportError:
        raise MissingExtraError(
            'lettering needs an extra: pip install "stonelayout[letters]"'
        ) from None
    font = HersheyFonts()
    font.load_default_font(name)
    letters = {}
    for char, glyph in font.all_glyphs.items():
        strokes = [
            np.array([(x - glyph.left_offset, y - BASE) for x, y in stroke], dtype=np.float64)
            for stroke in glyph.strokes
            if len(stroke)
        ]
        if strokes or char == " ":
            letters[char] = _measured(_strokes(strokes), float(glyph.char_width))
    letters.pop("\x7f", None)
    return letters


def _own(letters: dict[str, Letter]) -> tuple[dict[str, Letter], dict[str, CombiningMark]]:
    """Return the letters and marks of our own drawing that go with some letters."""
    data = _own_drawings()
    marks = {}
    for char, entry in data["marks"].items():
        drawing = _strokes(_read(entry["strokes"]))
        marks[char] = CombiningMark(drawing, entry["where"], -drawing.bounds()[1])
    found = {char: letters[other] for char, other in data["same"].items() if other in letters}
    return found | _drawn("letters", letters | found), marks


def _drawn(table: str, letters: dict[str, Letter]) -> dict[str, Letter]:
    """Return the letters of one table of our own drawings; some are drawn from ``letters``."""
    found: dict[str, Letter] = {}
    for char, entry in _own_drawings()[table].items():
        found[char] = _own_letter(entry, letters | found)
    return found


@lru_cache(maxsize=1)
def _own_drawings() -> dict[str, Any]:
    """Read our own drawings; ``data/strokes.toml`` says how."""
    text = files("stonelayout").joinpath("data/strokes.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _own_letter(entry: dict[str, Any], letters: dict[str, Letter]) -> Letter:
    """One letter: strokes of its own and, with ``of``, those of another, scaled or mirrored."""
    parts = [_strokes(_read(entry["strokes"]))] if "strokes" in entry else []
    width = float(entry.get("width", 0))
    if "of" in entry:
        other = letters[entry["of"]]
        factor = float(entry.get("scale", 1))
        width = width or other.width * factor
        by = Affine(-factor, 0, 0, factor, width, 0) if entry.get("mirror") else scale(factor)
        parts.insert(0, other.drawing.mapped(by.after(move(0, 0))))
    return _measured(joined(parts), width)


def _read(text: str) -> list[Points]:
    """Read strokes ``x,y x,y; x,y``: y up from the base line."""
    strokes = []
    for stroke in text.split(";"):
        pairs = [pair.split(",") for pair in stroke.split()]
        try:
            strokes.append(np.array([(float(x), -float(y)) for x, y in pairs]))
        except ValueError:
            raise InputError(f"not strokes: {stroke!r}") from None
    return strokes


@lru_cache(maxsize=8)
def single_line_face(name: str) -> SingleLineFace:
    """Return a single-line face by its name; KeyError when there is none."""
    if name not in FACES:
        raise KeyError(name)
    return SingleLineFace(name)
