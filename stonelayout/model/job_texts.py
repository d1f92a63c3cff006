"""Reading the ``[[text]]`` tables of a job file."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from stonelayout.errors import InputError
from stonelayout.spelling import unknown
from stonelayout.toml.tables import TableReader, length_value, positive_length_value, text_value

from .names import LeftOut
from .text import ALIGNMENTS, Text


def read_texts(reader: TableReader, raw: Any) -> tuple[Text, ...]:
    """Read all ``[[text]]`` tables; what is wrong is kept as problems of the reader."""
    if raw is None:
        return ()
    if not isinstance(raw, list) or not all(isinstance(entry, dict) for entry in raw):
        reader.problem("text", "write each text as a table of its own: [[text]]")
        return ()
    texts = []
    for k, entry in enumerate(raw, start=1):
        text = None if isinstance(entry, LeftOut) else _text(reader, f"text[{k}]", entry)
        if text is not None:
            texts.append(text)
    ids = [text.id for text in texts]
    for name in sorted({name for name in ids if ids.count(name) > 1}):
        reader.problem("text", f'two texts have the id "{name}": give each an id of its own')
    return tuple(texts)


def _text(reader: TableReader, key: str, raw: Mapping[str, Any]) -> Text | None:
    before = len(reader.problems)
    found = reader.keys(key, raw, _READERS)
    if "words" not in raw:
        reader.problem(key, 'missing words = "..."')
    if "arc" in raw and "path" in raw:
        reader.problem(key, "give one of arc and path")
    if "path" in raw and "at" in raw:
        reader.problem(f"{key}.at", "words along a path stand where the path is")
    if len(reader.problems) > before:
        return None
    found.setdefault("id", f"text-{key[5:-1]}" if key != "text[1]" else "text")
    return Text(**found)


def _words(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise InputError(f'{value!r} is not text; write e.g. "Ada", with \\n between lines')
    return value.strip()


def _arc(value: Any) -> float:
    radius = length_value(value)
    if radius == 0:
        raise InputError("an arc needs a radius; negative: along the bottom of the circle")
    return radius


def _at(value: Any) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f'{value!r} is not a place; write e.g. ["120 mm", "60 mm"]')
    return length_value(value[0]), length_value(value[1])


def _align(value: Any) -> str:
    if value not in ALIGNMENTS:
        raise InputError(unknown(value, ALIGNMENTS, "alignment"))
    return str(value)


def _line_spacing(value: Any) -> float:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not number or not math.isfinite(value) or not 0.5 <= value <= 10:
        raise InputError(f"{value!r} is not a number of capital heights from 0.5 to 10, e.g. 1.6")
    return float(value)


def _colour(value: Any) -> str:
    from tinycss2.color3 import parse_color

    rgba = parse_color(text_value(value))
    if rgba is None or isinstance(rgba, str):
        raise InputError(f'"{value}" is not a colour; write e.g. "#1f4fa8" or "red"')
    return "#" + "".join(f"{round(part * 255):02x}" for part in rgba[:3])


_READERS: Mapping[str, Callable[[Any], Any]] = {
    "words": _words,
    "id": text_value,
    "face": text_value,
    "fallback": text_value,
    "height": positive_length_value,
    "width": positive_length_value,
    "tracking": length_value,
    "line_spacing": _line_spacing,
    "align": _align,
    "at": _at,
    "arc": _arc,
    "path": text_value,
    "colour": _colour,
}
