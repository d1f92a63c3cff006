"""Reading the ``[[text]]`` tables of a job file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stonelayout.toml.tables import TableReader
from stonelayout.toml.values import (
    Reader,
    arc_value,
    css_colour_value,
    length_value,
    number_between,
    one_of,
    place_value,
    positive_length_value,
    text_value,
    words_value,
)

from .names import LeftOut
from .text import ALIGNMENTS, Text


def read_texts(reader: TableReader, raw: Any) -> tuple[Text, ...]:
    """Read all ``[[text]]`` tables; what is wrong is kept as problems of the reader."""
    if raw is None:
        return ()
    entries = reader.array("text", raw, "text")
    texts = []
    for k, entry in enumerate(entries or (), start=1):
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


_READERS: Mapping[str, Reader] = {
    "words": words_value,
    "id": text_value,
    "face": text_value,
    "fallback": text_value,
    "height": positive_length_value,
    "width": positive_length_value,
    "tracking": length_value,
    "line_spacing": number_between(0.5, 10, "a number of capital heights from 0.5 to 10, e.g. 1.6"),
    "align": one_of(ALIGNMENTS, "alignment"),
    "at": place_value,
    "arc": arc_value,
    "path": text_value,
    "colour": css_colour_value,
}
