"""Text as outlines: characters in chunks, shaped with a font that is found, in user units."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, Final

import numpy as np

from stonelayout.errors import InputError, MissingExtraError
from stonelayout.geometry.flattening import Subpath

from . import unsupported
from .context import Context, GraphicsState, Visit
from .document import Node
from .font_properties import TextFace, TextFonts, font_wish
from .text_characters import Character, CharacterList, FontError, NotReadError, TextPart

_DEGREES: Final = {"M": 0, "L": 1, "Q": 2, "C": 3}


@dataclass(frozen=True)
class _PlacedGlyph:
    """One shaped glyph: its origin in the face and in the drawing, its scale, turn, stretch."""

    part: TextPart
    drawing: Any
    origin: float
    size: float
    x: float
    y: float
    turn: float
    stretch: float = 1.0


def text_visits(
    context: Context, fonts: TextFonts, node: Node, state: GraphicsState
) -> list[Visit]:
    """Return one Visit for each element of a text that has ink of its own.

    A text is set whole or not at all: what cannot be set is skipped with the reason.
    """
    try:
        characters = CharacterList(context, state).read(node)
        if not characters:
            return []
        if not any(character.part.drawn for character in characters):
            hidden = characters[0].part.properties["visibility"] != "visible"
            context.skip(node, state, unsupported.INVISIBLE if hidden else unsupported.UNPAINTED)
            return []
        placed, notes = _placed(characters, fonts, node)
    except FontError as error:
        context.skip(node, state, str(error))
        return []
    except NotReadError as error:
        context.skip(node, state, f"{error}: convert text to outlines in the drawing program")
        return []
    for note in notes:
        context.note(note)
    return list(_visits(context, state, node, placed))


def _visits(
    context: Context, state: GraphicsState, node: Node, placed: Sequence[_PlacedGlyph]
) -> Iterator[Visit]:
    parts = list(dict.fromkeys(item.part for item in placed))
    for part in parts:
        subpaths = [path for item in placed if item.part is part for path in _outline(item)]
        if not part.drawn or not subpaths:
            continue
        properties = {**part.properties, "fill-rule": "nonzero", "clip-rule": "nonzero"}
        name = state.use_id or part.node.attrib.get("id") or node.attrib.get("id", "")
        inside = replace(state, properties=properties, use_id=name)
        if properties["text-decoration"].split()[:1] not in ([], ["none"]):
            line = properties["text-decoration"].split()[0]
            words = f"its {line} (text-decoration) is not drawn"
            context.skip(part.node, inside, words, drawn=True)
        yield Visit(part.node, inside, subpaths, "", part.units)


def _placed(
    characters: Sequence[Character], fonts: TextFonts, node: Node
) -> tuple[list[_PlacedGlyph], list[str]]:
    """Set all chunks of a text. Raises NotReadError and what ``fonts`` raises."""
    faces, notes = _faces(characters, fonts)
    placed: list[_PlacedGlyph] = []
    x = y = 0.0
    chunks = _chunks(characters)
    for chunk in chunks:
        x = x if chunk[0].x is None else chunk[0].x
        y = y if chunk[0].y is None else chunk[0].y
        line, start, x, y = _line(chunk, faces, x, y)
        wanted = _text_length(characters, chunk, node, several=len(chunks) > 1)
        shape = 1.0
        if wanted is not None and x > start and len(line) > 1:
            if node.attrib.get("lengthAdjust") == "spacingAndGlyphs":
                shape = wanted / (x - start)
            else:
                free = (wanted - (x - start)) / (len(line) - 1)
                line = [replace(item, x=item.x + k * free) for k, item in enumerate(line)]
            x = start + wanted
        shift = -_anchor(chunk[0]) * (x - start)
        x += shift
        for item in line:
            place = start + (item.x - start) * shape + shift
            placed.append(replace(item, x=place, stretch=shape))
    return placed, notes


def _faces(
    characters: Sequence[Character], fonts: TextFonts
) -> tuple[dict[TextPart, TextFace], list[str]]:
    words: dict[TextPart, str] = {}
    for character in characters:
        words[character.part] = words.get(character.part, "") + character.char
    faces: dict[TextPart, TextFace] = {}
    notes: list[str] = []
    for part, text in words.items():
        try:
            faces[part], note = fonts.choose(font_wish(part.properties), text)
        except (InputError, MissingExtraError) as error:
            raise FontError(str(error)) from None
        notes.append(note)
    return faces, list(dict.fromkeys(notes))


def _chunks(characters: Sequence[Character]) -> list[list[Character]]:
    """Split where the drawing gives a place (SVG 2: text chunks)."""
    chunks: list[list[Character]] = []
    for character in characters:
        if not chunks or character.x is not None or character.y is not None:
            chunks.append([])
        chunks[-1].append(character)
    return chunks


def _line(
    chunk: Sequence[Character], faces: dict[TextPart, TextFace], x: float, y: float
) -> tuple[list[_PlacedGlyph], float, float, float]:
    """Set one chunk from (x, y). Return its glyphs, its start and its end (x, y)."""
    line: list[_PlacedGlyph] = []
    start = x + chunk[0].dx
    for part, group in groupby(chunk, key=lambda character: character.part):
        members = list(group)
        text = "".join(character.char for character in members)
        backwards = _right_to_left(text, chunk)
        face = faces[part]
        size = float(part.properties["font-size"]) / face.em
        tracking, wide = _spacing(part, "letter-spacing"), _spacing(part, "word-spacing")
        drop = _drop(part, face, size)
        k = 0
        for glyph in face.set(text, spaced=tracking != 0.0):
            own = (
                [members[0] if not k else Character("", part)]
                if backwards
                else (members[k : k + len(glyph.text)])
            )
            x += sum(character.dx for character in own)
            y += sum(character.dy for character in own)
            turn = own[0].turn if own else 0.0
            advance = glyph.advance * size
            line.append(_PlacedGlyph(part, glyph.drawing, glyph.x, size, x, y + drop, turn))
            x += advance + (0.0 if glyph.joins else tracking)
            x += wide * sum(char in " \u00a0" for char in glyph.text)
            k += len(glyph.text)
    return line, start, x, y


def _spacing(part: TextPart, name: str) -> float:
    text = part.properties[name]
    return 0.0 if text == "normal" else float(text)


def _right_to_left(text: str, chunk: Sequence[Character]) -> bool:
    """Tell whether a stretch runs right to left. Raises NotReadError where places are unclear."""
    kinds = {unicodedata.bidirectional(character.char) for character in chunk}
    backwards = bool(kinds & {"R", "AL"})
    asked = chunk[0].part.properties["direction"] == "rtl"
    if not backwards:
        return False
    placed = any(character.dx or character.dy or character.turn for character in chunk[1:])
    one = len({character.part for character in chunk}) == 1
    mixed = bool(kinds & {"L", "EN", "AN"})
    strong = (unicodedata.bidirectional(char) for char in text)
    first = next((kind for kind in strong if kind in ("L", "R", "AL")), "L")
    if placed or not one or (mixed and asked != (first != "L")):
        raise NotReadError(
            "text of both directions, or right to left with letters placed one by one, is not read"
        )
    return True


def _anchor(first: Character) -> float:
    """Return which share of the line stands before its place."""
    properties = first.part.properties
    share = {"middle": 0.5, "end": 1.0}.get(properties["text-anchor"], 0.0)
    return 1.0 - share if properties["direction"] == "rtl" else share


def _drop(part: TextPart, face: TextFace, size: float) -> float:
    """Return how far below its place the base line stands (down is positive)."""
    properties = part.properties
    shift = part.properties["baseline-shift"].lower()
    font_size = float(properties["font-size"])
    moved = 0.0
    if shift != "baseline":
        base = replace(part.units, viewport=(font_size, font_size))
        moved = base.length(shift, "y") or 0.0
    line = properties["alignment-baseline"].lower()
    if line in ("auto", "baseline"):
        line = properties["dominant-baseline"].lower()
    ascent, descent = face.ascent, face.descent
    drop = {
        "middle": face.x_height / 2.0,
        "central": (ascent - descent) / 2.0,
        "hanging": 0.8 * ascent,
        "mathematical": 0.5 * ascent,
        "text-before-edge": ascent,
        "before-edge": ascent,
        "text-top": ascent,
        "text-after-edge": -descent,
        "after-edge": -descent,
        "text-bottom": -descent,
        "ideographic": -descent,
    }.get(line, 0.0)
    return drop * size - moved


def _text_length(
    characters: Sequence[Character], chunk: Sequence[Character], node: Node, *, several: bool
) -> float | None:
    """Return the ``textLength`` of a text in one piece. Raises NotReadError for any other."""
    for part in dict.fromkeys(character.part for character in characters):
        if part.node is not node and "textLength" in part.node.attrib:
            raise NotReadError("textLength of a part of a text is not read")
    if "textLength" not in node.attrib:
        return None
    if several:
        raise NotReadError("textLength of a text in several pieces is not read")
    length = chunk[0].part.units.length(node.attrib["textLength"], "x")
    return length if length is not None and length > 0.0 else None


def _outline(item: _PlacedGlyph) -> Iterator[Subpath]:
    """Yield the contours of a glyph in user units."""
    cos, sin = math.cos(math.radians(item.turn)), math.sin(math.radians(item.turn))
    matrix = item.size * np.array([[cos, -sin], [sin, cos]])
    place = np.array([item.x, item.y])
    for contour in item.drawing.subpaths():
        values = [value for _, points in contour for value in points]
        degrees = [_DEGREES[op] for op, _ in contour[1:] if op != "Z"]
        points = np.array(values, dtype=np.float64).reshape(-1, 2) - (item.origin, 0.0)
        points = points @ matrix.T * (item.stretch, 1.0) + place
        yield Subpath(points, np.array(degrees, dtype=np.int8), closed=True)
