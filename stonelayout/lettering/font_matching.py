"""The fonts for text in a drawing: the one it names, exactly, or the one that the shop gives."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from stonelayout.errors import InputError, MissingExtraError
from stonelayout.svg.font_properties import GENERIC, FontWish

from .face import code_points
from .font_files import find_font, installed_fonts
from .outline_face import OutlineFace, outline_face

#: What to do where no font is the right one.
_GIVE = (
    "convert text to outlines in the drawing program, or give a font with --text-font "
    "(text_font in a job file)"
)
#: From this weight on a text is bold: a viewer without a bold face of its own makes one up
#: (CSS Fonts 4, font-synthesis).
BOLD = 600
#: Bits of OS/2 ``fsSelection``: italic, oblique.
_SLANTED = 0x0201


@dataclass(frozen=True)
class FontStyle:
    """One face in a font file: the names it answers to, weight, slant, width class."""

    path: Path
    index: int
    name: str
    families: frozenset[str]
    own_names: frozenset[str]
    weight: int
    italic: bool
    width: int

    @property
    def label(self) -> str:
        """Its full name and its file's, for a note."""
        return f"{self.name} ({self.path.name})"


class Typefaces:
    """Finds faces among the installed fonts. ``given``: a font file, or an installed font.

    ``folder`` is where a font file is looked up from. Raises InputError when what is given is no
    font, MissingExtraError for a given font without the extra ``letters``.
    """

    def __init__(self, given: str | None = None, folder: Path = Path()) -> None:
        self._given: list[FontStyle] = []
        if given is not None:
            self._given = _given(given, folder)
            for style in self._given:
                outline_face(style.path, style.index)

    def choose(self, wish: FontWish, text: str) -> tuple[OutlineFace, str]:
        """Return the face for a text, and which it is in words.

        The first family named decides when it is installed (or given); else the font given for
        such text; else the next family named. A family without the slant or the bold asked for is
        not taken: a viewer would slant or thicken it, and the shapes would be others. Raises
        InputError, with what to do, when no face is the right one or it lacks a character.
        """
        try:
            found = self._found(wish)
        except (MissingExtraError, ImportError):
            raise MissingExtraError(
                "convert text to outlines in the drawing program, or install the extra that reads "
                'it: pip install "stonelayout[letters]"'
            ) from None
        if found is None:
            raise InputError(_not_found(wish))
        style, note = found
        face = outline_face(style.path, style.index)
        lacking = face.lacks(text)
        if lacking:
            shown = ", ".join(code_points(char) for char in lacking[:3])
            raise InputError(f"its font {style.label} has no {shown}: {_GIVE}")
        return face, note

    def _found(self, wish: FontWish) -> tuple[FontStyle, str] | None:
        first = wish.families[0] if wish.families else ""
        for k, family in enumerate(wish.families):
            if k == 1 and self._given:
                break
            if family.lower() in GENERIC:
                continue
            style = _match(family, wish, [*self._given, *_styles()])
            if style is not None:
                note = f"text was read as outlines of the font {style.label}"
                if k:
                    note += f'; "{first}", which the drawing names first, is not installed'
                return style, note
        if not self._given:
            return None
        style = _nearest(self._given, wish) or self._given[0]
        wanted = f'"{first}"' if first else "a font that it does not name"
        note = (
            f"text in {wanted} was read as outlines of {style.label}, the font given: "
            "look whether it stands as the customer's does"
        )
        return style, note


def _not_found(wish: FontWish) -> str:
    named = [family for family in wish.families if family.lower() not in GENERIC]
    if not named:
        return f"its font is not named: {_GIVE}"
    asked = " ".join(
        word for word, on in (("bold", wish.weight >= BOLD), ("italic", wish.italic)) if on
    )
    style = f" {asked}" if asked else ""
    return f'its font "{named[0]}"{style} is not installed: {_GIVE}'


def _plain(name: str) -> str:
    return "".join(char for char in name.casefold() if char not in " -_")


def _match(family: str, wish: FontWish, styles: Iterable[FontStyle]) -> FontStyle | None:
    """Return the face of a family (or of a full name) that draws just what is asked for."""
    wanted = _plain(family)
    styles = list(styles)
    members = [style for style in styles if wanted in style.families]
    exact = _nearest(members, wish)
    if exact is not None:
        return exact
    return next((style for style in styles if wanted in style.own_names), None)


def _nearest(styles: Iterable[FontStyle], wish: FontWish) -> FontStyle | None:
    """Return the nearest face by the font matching of CSS Fonts 4; None if it is not the style."""
    slanted = [style for style in styles if style.italic == wish.italic]
    if not slanted:
        return None
    width = min((abs(style.width - wish.width), style.width) for style in slanted)[1]
    same = [style for style in slanted if style.width == width]
    best = min(same, key=lambda style: _weight_rank(style.weight, wish.weight))
    return None if wish.weight >= BOLD > best.weight else best


def _weight_rank(weight: int, wanted: int) -> tuple[int, int]:
    """Order weights as CSS does: 400 and 500 look to each other first, light down, bold up."""
    if 400 <= wanted <= 500:
        if wanted <= weight <= 500:
            return 0, weight - wanted
        return (1, wanted - weight) if weight < wanted else (2, weight - wanted)
    if wanted < 400:
        return (0, wanted - weight) if weight <= wanted else (1, weight - wanted)
    return (0, weight - wanted) if weight >= wanted else (1, wanted - weight)


def _given(name: str, folder: Path) -> list[FontStyle]:
    """Return the faces of a font file, or those of the family of an installed font."""
    try:
        path = find_font(name, folder)
    except InputError as error:
        if error.file is not None:
            raise
        raise InputError(
            f'the font for text, "{name}", is not installed: give a font file such as "face.ttf", '
            "or the name of an installed font"
        ) from None
    faces = _read(path)
    if not faces:
        raise InputError("not a font file that can be read", file=str(path))
    if path not in installed_fonts():
        return faces
    wanted = _plain(name)
    return [style for style in _styles() if wanted in style.families] or faces


@lru_cache(maxsize=1)
def _styles() -> tuple[FontStyle, ...]:
    return tuple(style for path in installed_fonts() for style in _read(path))


def _read(path: Path) -> list[FontStyle]:
    """Read the faces of a font file; [] for a damaged one."""
    from fontTools.ttLib import TTCollection, TTFont, TTLibError

    try:
        with path.open("rb") as file:
            if path.suffix.lower() in (".ttc", ".otc"):
                fonts = TTCollection(file, lazy=True).fonts
                return [_style(path, k, font) for k, font in enumerate(fonts)]
            return [_style(path, 0, TTFont(file, lazy=True))]
    except (TTLibError, OSError, KeyError, ValueError, AssertionError, AttributeError):
        return []  # a damaged font file of the system is not ours to report


def _style(path: Path, index: int, font: Any) -> FontStyle:
    names = font["name"]
    by_id: dict[int, set[str]] = {}
    for record in names.names:
        if record.nameID in (1, 4, 6, 16):
            by_id.setdefault(record.nameID, set()).add(_plain(record.toUnicode(errors="replace")))
    metrics = font["OS/2"]
    return FontStyle(
        path=path,
        index=index,
        name=names.getBestFullName() or path.stem,
        families=frozenset(by_id.get(1, set()) | by_id.get(16, set())),
        own_names=frozenset(by_id.get(4, set()) | by_id.get(6, set())),
        weight=metrics.usWeightClass,
        italic=bool(metrics.fsSelection & _SLANTED),
        width=metrics.usWidthClass or 5,
    )
