"""Text as outlines: characters in chunks, shaped with a font that is found, in user units."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from stonelayout.errors import InputError, MissingExtraError
from stonelayout.geometry.flattening import Subpath

from . import unsupported as skips
from .document import Node
from .font_properties import TextFace, TextFonts, font_wish
from .text_characters import FontError, Gatherer, Letter, NotReadError, Span

if TYPE_CHECKING:
    from .traversal import Frame, Visit, Walker

_DEGREES: Final = {"M": 0, "L": 1, "Q": 2, "C": 3}


@dataclass(frozen=True)
class _Set:
    """One shaped letter: its origin in the face and in the drawing, its scale, turn, stretch."""

    span: Span
    drawing: Any
    origin: float
    size: float
    x: float
    y: float
    turn: float
    stretch: float = 1.0


def text_visits(walker: Walker, fonts: TextFonts, node: Node, frame: Frame) -> list[Visit]:
    """Return one Visit for each element of a text that has ink of its own.

    A text is set whole or not at all: what cannot be set is skipped with the reason.
    """
    try:
        letters = Gatherer(walker, frame).letters(node)
        if not letters:
            return []
        if not any(letter.span.drawn for letter in letters):
            hidden = letters[0].span.properties["visibility"] != "visible"
            walker.skip(node, frame, skips.INVISIBLE if hidden else skips.UNPAINTED)
            return []
        placed, notes = _set(letters, fonts, node)
    except FontError as error:
        walker.skip(node, frame, str(error))
        return []
    except NotReadError as error:
        walker.skip(node, frame, f"{error}: convert text to outlines in the drawing program")
        return []
    for note in notes:
        walker.note(note)
    return list(_visits(walker, frame, node, placed))


def _visits(walker: Walker, frame: Frame, node: Node, placed: Sequence[_Set]) -> Iterator[Visit]:
    from .traversal import Visit

    spans = list(dict.fromkeys(item.span for item in placed))
    for span in spans:
        subpaths = [path for item in placed if item.span is span for path in _outline(item)]
        if not span.drawn or not subpaths:
            continue
        properties = {**span.properties, "fill-rule": "nonzero", "clip-rule": "nonzero"}
        name = frame.use_id or span.node.attrib.get("id") or node.attrib.get("id", "")
        inside = replace(frame, properties=properties, use_id=name)
        if properties["text-decoration"].split()[:1] not in ([], ["none"]):
            line = properties["text-decoration"].split()[0]
            words = f"its {line} (text-decoration) is not drawn"
            walker.skip(span.node, inside, words, drawn=True)
        yield Visit(span.node, inside, subpaths, "", span.units)


def _set(letters: Sequence[Letter], fonts: TextFonts, node: Node) -> tuple[list[_Set], list[str]]:
    """Set all chunks of a text. Raises NotReadError and what ``fonts`` raises."""
    faces, notes = _faces(letters, fonts)
    placed: list[_Set] = []
    x = y = 0.0
    chunks = _chunks(letters)
    for chunk in chunks:
        x = x if chunk[0].x is None else chunk[0].x
        y = y if chunk[0].y is None else chunk[0].y
        line, start, x, y = _line(chunk, faces, x, y)
        wanted = _text_length(letters, chunk, node, several=len(chunks) > 1)
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


def _faces(letters: Sequence[Letter], fonts: TextFonts) -> tuple[dict[Span, TextFace], list[str]]:
    words: dict[Span, str] = {}
    for letter in letters:
        words[letter.span] = words.get(letter.span, "") + letter.char
    faces: dict[Span, TextFace] = {}
    notes: list[str] = []
    for span, text in words.items():
        try:
            faces[span], note = fonts.choose(font_wish(span.properties), text)
        except (InputError, MissingExtraError) as error:
            raise FontError(str(error)) from None
        notes.append(note)
    return faces, list(dict.fromkeys(notes))


def _chunks(letters: Sequence[Letter]) -> list[list[Letter]]:
    """Split where the drawing gives a place (SVG 2: text chunks)."""
    chunks: list[list[Letter]] = []
    for letter in letters:
        if not chunks or letter.x is not None or letter.y is not None:
            chunks.append([])
        chunks[-1].append(letter)
    return chunks


def _line(
    chunk: Sequence[Letter], faces: dict[Span, TextFace], x: float, y: float
) -> tuple[list[_Set], float, float, float]:
    """Set one chunk from (x, y). Return its letters, its start and its end (x, y)."""
    line: list[_Set] = []
    start = x + chunk[0].dx
    for span, group in groupby(chunk, key=lambda letter: letter.span):
        members = list(group)
        text = "".join(letter.char for letter in members)
        backwards = _right_to_left(text, chunk)
        face = faces[span]
        size = float(span.properties["font-size"]) / face.em
        tracking, wide = _spacing(span, "letter-spacing"), _spacing(span, "word-spacing")
        drop = _drop(span, face, size)
        k = 0
        for glyph in face.set(text, spaced=tracking != 0.0):
            own = (
                [members[0] if not k else Letter("", span)]
                if backwards
                else (members[k : k + len(glyph.text)])
            )
            x += sum(letter.dx for letter in own)
            y += sum(letter.dy for letter in own)
            turn = own[0].turn if own else 0.0
            advance = glyph.advance * size
            line.append(_Set(span, glyph.drawing, glyph.x, size, x, y + drop, turn))
            x += advance + (0.0 if glyph.joins else tracking)
            x += wide * sum(char in " \u00a0" for char in glyph.text)
            k += len(glyph.text)
    return line, start, x, y


def _spacing(span: Span, name: str) -> float:
    text = span.properties[name]
    return 0.0 if text == "normal" else float(text)


def _right_to_left(text: str, chunk: Sequence[Letter]) -> bool:
    """Tell whether a stretch runs right to left. Raises NotReadError where places are unclear."""
    kinds = {unicodedata.bidirectional(letter.char) for letter in chunk}
    backwards = bool(kinds & {"R", "AL"})
    asked = chunk[0].span.properties["direction"] == "rtl"
    if not backwards:
        return False
    placed = any(letter.dx or letter.dy or letter.turn for letter in chunk[1:])
    one = len({letter.span for letter in chunk}) == 1
    mixed = bool(kinds & {"L", "EN", "AN"})
    strong = (unicodedata.bidirectional(char) for char in text)
    first = next((kind for kind in strong if kind in ("L", "R", "AL")), "L")
    if placed or not one or (mixed and asked != (first != "L")):
        raise NotReadError(
            "text of both directions, or right to left with letters placed one by one, is not read"
        )
    return True


def _anchor(first: Letter) -> float:
    """Return which share of the line stands before its place."""
    properties = first.span.properties
    share = {"middle": 0.5, "end": 1.0}.get(properties["text-anchor"], 0.0)
    return 1.0 - share if properties["direction"] == "rtl" else share


def _drop(span: Span, face: TextFace, size: float) -> float:
    """Return how far below its place the base line stands (down is positive)."""
    properties = span.properties
    shift = span.properties["baseline-shift"].lower()
    font_size = float(properties["font-size"])
    moved = 0.0
    if shift != "baseline":
        base = replace(span.units, viewport=(font_size, font_size))
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
    letters: Sequence[Letter], chunk: Sequence[Letter], node: Node, *, several: bool
) -> float | None:
    """Return the ``textLength`` of a text in one piece. Raises NotReadError for any other."""
    for span in dict.fromkeys(letter.span for letter in letters):
        if span.node is not node and "textLength" in span.node.attrib:
            raise NotReadError("textLength of a part of a text is not read")
    if "textLength" not in node.attrib:
        return None
    if several:
        raise NotReadError("textLength of a text in several pieces is not read")
    length = chunk[0].span.units.length(node.attrib["textLength"], "x")
    return length if length is not None and length > 0.0 else None


def _outline(item: _Set) -> Iterator[Subpath]:
    """Yield the contours of a letter in user units."""
    cos, sin = math.cos(math.radians(item.turn)), math.sin(math.radians(item.turn))
    matrix = item.size * np.array([[cos, -sin], [sin, cos]])
    place = np.array([item.x, item.y])
    for part in item.drawing.subpaths():
        values = [value for _, points in part for value in points]
        degrees = [_DEGREES[op] for op, _ in part[1:] if op != "Z"]
        points = np.array(values, dtype=np.float64).reshape(-1, 2) - (item.origin, 0.0)
        points = points @ matrix.T * (item.stretch, 1.0) + place
        yield Subpath(points, np.array(degrees, dtype=np.int8), closed=True)
