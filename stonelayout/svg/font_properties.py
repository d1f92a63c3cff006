"""The font that a text asks for, and what the reader asks of a font that is found."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final, Protocol

#: Sizes by name, in px (CSS Fonts 4, the factors of <absolute-size> on 16 px).
SIZES: Final = {
    "xx-small": 9.6,
    "x-small": 12.0,
    "small": 14.22,
    "medium": 16.0,
    "large": 19.2,
    "x-large": 24.0,
    "xx-large": 32.0,
}
#: Width classes of OpenType (OS/2 usWidthClass) for the words of ``font-stretch``.
_WIDTHS: Final = {
    "ultra-condensed": 1,
    "extra-condensed": 2,
    "condensed": 3,
    "semi-condensed": 4,
    "normal": 5,
    "semi-expanded": 6,
    "expanded": 7,
    "extra-expanded": 8,
    "ultra-expanded": 9,
}
#: Generic families (CSS Fonts 4): which font they are, the system decides.
GENERIC: Final = frozenset(
    (
        "serif", "sans-serif", "monospace", "cursive", "fantasy", "system-ui", "ui-serif",
        "ui-sans-serif", "ui-monospace", "ui-rounded", "math", "emoji", "fangsong",
    )
)  # fmt: skip
_SIZE: Final = re.compile(
    r"(?:^|\s)((?:\d+\.?\d*|\.\d+)(?:%|[a-z]+)|(?:xx?-)?(?:small|large)|medium|larger|smaller)"
    r"(?:\s*/\s*\S+)?\s+(?=\S)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class FontWish:
    """The font that a text asks for: families in order, weight 1-1000, slant, width class 1-9."""

    families: tuple[str, ...]
    weight: int = 400
    italic: bool = False
    width: int = 5


class TextFace(Protocol):
    """An outline font, as far as text needs it. Units: those of the font, y down."""

    em: float
    ascent: float
    descent: float
    x_height: float

    def set(self, text: str, spaced: bool = False) -> list[Any]:
        """Return the letters of a line, left to right: ``drawing``, ``x``, ``advance``, ``text``.

        ``drawing.commands`` are M, L, Q, C (absolute) and Z.
        """
        ...


class TextFonts(Protocol):
    """Finds fonts."""

    def choose(self, wish: FontWish, text: str) -> tuple[TextFace, str]:
        """Return the face that draws ``text``, and a note on which it is.

        Raises InputError or MissingExtraError, which say what to do, where none does.
        """
        ...


def font_wish(properties: dict[str, str]) -> FontWish:
    """Return what the computed properties of a text ask for."""
    return FontWish(
        families=families(properties["font-family"]),
        weight=int(properties["font-weight"]),
        italic=properties["font-style"].lower().startswith(("italic", "oblique")),
        width=_WIDTHS.get(properties["font-stretch"].lower(), 5),
    )


def families(text: str) -> tuple[str, ...]:
    """Return the names of a ``font-family`` list, without quotes."""
    found = re.findall(r"""\s*("[^"]*"|'[^']*'|[^,]+)""", text)
    names = (" ".join(name.strip().strip("\"'").split()) for name in found)
    return tuple(name for name in names if name)


def weight(text: str, inherited: str) -> str:
    """Return the computed ``font-weight`` as a number (CSS Fonts 4, section 2.2)."""
    word, parent = text.strip().lower(), int(inherited)
    if word in ("normal", "bold"):
        return "400" if word == "normal" else "700"
    if word == "bolder":
        return "400" if parent < 350 else "700" if parent < 550 else str(max(900, parent))
    if word == "lighter":
        return str(min(100, parent)) if parent < 550 else "400" if parent < 750 else "700"
    number = re.fullmatch(r"\d+(\.\d*)?", word)
    value = round(float(word)) if number else 0
    return str(value) if 1 <= value <= 1000 else inherited


def shorthand(text: str) -> list[tuple[str, str]]:
    """Return the properties that the CSS shorthand ``font`` sets; [] where it sets none."""
    match = _SIZE.search(text)
    if match is None:
        return []
    found = {
        "font-style": "normal",
        "font-weight": "normal",
        "font-variant": "normal",
        "font-stretch": "normal",
        "font-size": match.group(1),
        "font-family": text[match.end() :].strip(),
    }
    for word in text[: match.start()].split():
        low = word.lower()
        if low in ("italic", "oblique"):
            found["font-style"] = low
        elif low in ("bold", "bolder", "lighter") or low.isdigit():
            found["font-weight"] = low
        elif low == "small-caps":
            found["font-variant"] = low
        elif low in _WIDTHS and low != "normal":
            found["font-stretch"] = low
    return list(found.items())
