"""Setting words: from a text to letters at their places, in mm."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from stonelayout.errors import InputError
from stonelayout.geometry.points import Points
from stonelayout.model.text import DEFAULT_HEIGHT_MM, Setting, Text
from stonelayout.units import mm

from .baseline import ArcBaseline, Baseline, PathBaseline, StraightBaseline
from .face import Face, Glyph
from .face_loader import open_face, parts
from .fit import LEAST_HEIGHT_MM, extent, height_to_fit, spread, stroked, tracking_of
from .glyph_drawing import Affine, Command, Drawing, joined, move, scale
from .outline_face import merged, region
from .single_line_face import CAPITAL, JOIN

#: Zero-width joiner and non-joiner, which shape some scripts.
_JOINERS = "\u200c\u200d"


@dataclass(frozen=True)
class PlacedLetter:
    """A letter (or several that join) at its place, in mm, y down. ``id`` is unique."""

    id: str
    text: str
    drawing: Drawing


@dataclass(frozen=True)
class Lettering:
    """Words that are set. ``capital`` is the height of their capitals in mm."""

    letters: tuple[PlacedLetter, ...]
    text: Text
    capital: float
    tracking: float
    notes: tuple[str, ...] = ()

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """The box (x0, y0, x1, y1) of all letters in mm."""
        boxes = np.array([letter.drawing.bounds() for letter in self.letters])
        low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def set_text(
    text: Text,
    folder: Path = Path(),
    stones: Setting | None = None,
    path: Points | None = None,
    page: tuple[float, float] | None = None,
    least: float = LEAST_HEIGHT_MM,
) -> Lettering:
    """Set words with their face.

    ``stones`` says what will follow the letters: they are spaced for it unless the text has a
    tracking of its own. ``path`` (n, 2) is the line that ``text.path`` names; ``page`` the size
    in whose middle the words stand when ``text.at`` is None; ``least`` the height in mm below
    which a width does not bring the capitals. Raises InputError when a face is not there, lacks a
    character, or the words do not fit their width or path.
    """
    face = open_face(text.face, folder)
    fallback = open_face(text.fallback, folder) if text.fallback else None
    spaced = bool(text.tracking)
    lines = [
        [
            (part, glyph)
            for part in parts(line.strip(), face, fallback)
            for glyph in part[0].set(part[1], spaced)
        ]
        for line in _clean(text.words).splitlines()
    ]
    rows = [_in_capitals([(part[0], glyph) for part, glyph in line]) for line in lines]
    if not any(glyph.drawing for row in rows for glyph in row):
        raise InputError(f'the words "{text.words.strip()}" draw nothing')
    notes = []
    wanted = text.height or DEFAULT_HEIGHT_MM
    height = wanted
    if text.width is not None:
        fit = height_to_fit(text, rows, stones, text.width, least)
        height = min(fit, text.height) if text.height is not None else fit
        if text.height is not None and height < text.height:
            notes.append(
                f'"{text.words.strip()}" is set {mm(height, 1)} high instead of '
                f"{mm(text.height, 1)}, to fit {mm(text.width, 1)}"
            )
    tracking = tracking_of(text, rows, height, stones)
    placed = _place(text, rows, height, tracking, _baseline(text, path), page)
    return Lettering(tuple(_named(placed, text.id)), text, height, tracking, tuple(notes))


def _clean(words: str) -> str:
    """Return words without control and format characters; joiners stay.

    Pasted names often hold them; line breaks stay, other white space becomes a space.
    """
    kept = []
    for char in words.strip():
        if char in "\n\u2028\u2029\r\v\f\x85":
            kept.append("\n")
        elif char.isspace():
            kept.append(" ")
        elif char in _JOINERS or unicodedata.category(char) not in ("Cc", "Cf"):
            kept.append(char)
    return "".join(kept)


def _in_capitals(glyphs: Sequence[tuple[Face, Glyph]]) -> list[Glyph]:
    """Bring the letters of one line, of several faces, to a common unit: a capital's height."""
    row: list[Glyph] = []
    x = 0.0
    for face, glyph in glyphs:
        by = scale(1 / face.capital)
        drawing = glyph.drawing.mapped(by.after(move(-glyph.x, 0.0)))
        row.append(replace(glyph, drawing=drawing, x=x, advance=glyph.advance / face.capital))
        x += row[-1].advance
    return row


def _baseline(text: Text, path: Points | None) -> Baseline:
    if text.path is not None:
        if path is None:
            raise InputError(f'the artwork has no shape "{text.path}" to set words along')
        return PathBaseline(path, text.path)
    if text.arc is not None:
        return ArcBaseline(0.0, 0.0, text.arc)
    return StraightBaseline(0.0, 0.0)


def _place(
    text: Text,
    rows: Sequence[Sequence[Glyph]],
    height: float,
    tracking: float,
    line: Baseline,
    page: tuple[float, float] | None,
) -> list[Glyph]:
    """Return the letters at their places; a joined script's strokes linked."""
    found: list[Glyph] = []
    for k, row in enumerate(rows):
        first, last = extent(row, height, tracking)
        start = _start(text, first, last, line)
        for x, glyph in _linked(spread(row, height, tracking), height, tracking):
            by = _letter_place(line, start + x, glyph, k * text.line_spacing * height, height)
            found.append(replace(glyph, drawing=glyph.drawing.mapped(by)))
    found = [glyph for glyph in found if glyph.drawing]
    if text.path is not None:
        return found
    if text.at is not None:
        shift = move(*text.at)
    elif page is not None:
        box = np.array([glyph.drawing.bounds() for glyph in found])
        low, high = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
        shift = move(*(float(v) for v in np.array(page) / 2 - (low + high) / 2))
    else:
        shift = Affine()
    return [replace(glyph, drawing=glyph.drawing.mapped(shift)) for glyph in found]


def _start(text: Text, first: float, last: float, line: Baseline) -> float:
    """Return where x = 0 of a row comes on the base line."""
    length = line.length or 0.0
    if line.length is not None and last - first > length:
        raise InputError(
            f'"{text.words.strip()}" is {mm(last - first, 1)} long and its path '
            f'"{text.path}" only {mm(length, 1)}: give a smaller height, or width = '
            f'"{mm(length, 1)}"'
        )
    if text.align == "left":
        return -first
    return length / 2 - (first + last) / 2 if text.align == "middle" else length - last


def _letter_place(line: Baseline, x: float, glyph: Glyph, down: float, height: float) -> Affine:
    """Return the map for one letter: it stands on the base line with its middle."""
    half = glyph.advance * height / 2
    if isinstance(line, PathBaseline):
        by = line.chord(x + half, max(half, 0.05 * height), down)
    else:
        by = line.place(x + half, down)
    return by.after(move(-half, 0.0))


def _linked(
    row: list[tuple[float, Glyph]], height: float, tracking: float
) -> list[tuple[float, Glyph]]:
    """Join the strokes of a script: where one letter's line ends, the next one's goes on.

    The letters that join become one, so that one row of stones runs through them.
    """
    found: list[tuple[float, Glyph]] = []
    joins = False
    reach = JOIN * height / CAPITAL + abs(tracking)
    for x, glyph in row:
        before = found[-1] if joins else None
        joins = glyph.joins and stroked(glyph)
        if before is None or not glyph.drawing:
            found.append((x, glyph))
            continue
        moved = glyph.drawing.mapped(move(x - before[0], 0.0))
        both = _chained(before[1].drawing, moved, reach)
        found[-1] = (before[0], replace(before[1], drawing=both, text=before[1].text + glyph.text))
    return found


def _chained(first: Drawing, second: Drawing, reach: float) -> Drawing:
    """Link the end of a stroke of ``first`` to the start of one of ``second`` within reach."""
    strokes, following = first.subpaths(), second.subpaths()
    pairs = [
        (math.dist(_end(a), _start_of(b)), j, k)
        for j, a in enumerate(strokes)
        for k, b in enumerate(following)
        if len(a) > 1 and len(b) > 1 and "Z" not in (a[-1][0], b[-1][0])
    ]
    near = min(pairs, default=(math.inf, 0, 0))
    if near[0] <= reach:
        _, j, k = near
        link: tuple[Command, ...] = () if near[0] < 1e-9 else (("L", following[k][0][1]),)
        following[k] = (*strokes.pop(j), *link, *following[k][1:])
    return Drawing(tuple(c for part in (*strokes, *following) for c in part), stroked=True)


def _end(part: Sequence[Command]) -> tuple[float, float]:
    return part[-1][1][-2], part[-1][1][-1]


def _start_of(part: Sequence[Command]) -> tuple[float, float]:
    return part[0][1][0], part[0][1][1]


def _named(glyphs: Sequence[Glyph], text_id: str) -> list[PlacedLetter]:
    """Merge outlines that touch the one before, and name each letter by its number."""
    import shapely

    groups: list[tuple[list[Glyph], Any]] = []
    for glyph in glyphs:
        area = shapely.Point() if glyph.drawing.stroked else region(glyph.drawing)
        if groups and not area.is_empty and shapely.intersects(groups[-1][1], area):
            groups[-1] = ([*groups[-1][0], glyph], shapely.union(groups[-1][1], area))
        else:
            groups.append(([glyph], area))
    found = []
    for k, (group, _) in enumerate(groups, start=1):
        drawing = joined(glyph.drawing for glyph in group)
        words = [glyph.text for glyph in group]
        if unicodedata.bidirectional(words[0][0]) in ("R", "AL"):
            words.reverse()
        found.append(
            PlacedLetter(
                f"{text_id}-{k}", "".join(words), merged(drawing) if len(group) > 1 else drawing
            )
        )
    return found
