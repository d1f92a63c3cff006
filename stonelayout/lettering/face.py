"""The contract of a face: letters in its own units, placed one after the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from .glyph_drawing import Drawing


@dataclass(frozen=True)
class Glyph:
    """One letter placed on a line that starts at the origin, in units of the face, y down.

    ``x`` is where its advance begins and ``advance`` how far the line goes on after it;
    ``drawing`` is already at its place. ``text`` is what it stands for; ``joins`` tells that its
    line runs on into the next letter.
    """

    drawing: Drawing
    x: float
    advance: float
    text: str
    joins: bool = False


class Face(Protocol):
    """A set of letters. ``capital`` is the height of a capital in units of the face."""

    name: str
    capital: float

    def lacks(self, text: str) -> list[str]:
        """Return the characters (with their marks) that the face cannot draw, each once."""
        ...

    def set(self, text: str, spaced: bool = False) -> list[Glyph]:
        """Return the letters of a line in the order of their places, left to right.

        ``spaced``: the line will be tracked, so no ligatures (as CSS has it for letter-spacing).
        What the face lacks is left out or drawn as its empty box: ask ``lacks`` first.
        """
        ...


def clusters(text: str) -> list[str]:
    """Split text into letters with the combining marks that follow each."""
    import unicodedata

    found: list[str] = []
    for char in text:
        if found and (unicodedata.category(char) in ("Mn", "Mc", "Me") or char in "\u200c\u200d"):
            found[-1] += char
        else:
            found.append(char)
    return found


def code_points(text: str) -> str:
    """Name characters for a message: ``"ș" (U+0219 LATIN SMALL LETTER S WITH COMMA BELOW)``."""
    import unicodedata

    names = ", ".join(f"U+{ord(c):04X} {unicodedata.name(c, 'unnamed')}" for c in text)
    return f'"{text}" ({names})'
