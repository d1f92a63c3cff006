"""The style properties that are read: initial values, valid values, references, opacities."""

from __future__ import annotations

import re
from typing import Final

from .colours import parse_colour
from .css_values import parse_length, parse_number, split_length

#: Inherited properties and their initial values (SVG 2, appendix "Property index").
INITIAL: Final[dict[str, str]] = {
    "clip-rule": "nonzero",
    "color": "#000000",
    "fill": "#000000",
    "fill-opacity": "1",
    "fill-rule": "nonzero",
    "font-family": "",
    "font-size": "16",
    "font-stretch": "normal",
    "font-style": "normal",
    "font-variant": "normal",
    "font-weight": "400",
    "marker-end": "none",
    "marker-mid": "none",
    "marker-start": "none",
    "stroke": "none",
    "stroke-dasharray": "none",
    "stroke-dashoffset": "0",
    "stroke-linecap": "butt",
    "stroke-linejoin": "miter",
    "stroke-miterlimit": "4",
    "stroke-opacity": "1",
    "stroke-width": "1",
    "text-anchor": "start",
    "text-transform": "none",
    "visibility": "visible",
    "letter-spacing": "normal",
    "word-spacing": "normal",
    "direction": "ltr",
    "dominant-baseline": "auto",
    "white-space": "normal",
    "writing-mode": "horizontal-tb",
}
#: Properties that are not inherited, and their initial values.
OWN: Final[dict[str, str]] = {
    "alignment-baseline": "auto",
    "baseline-shift": "baseline",
    "clip-path": "none",
    "display": "inline",
    "filter": "none",
    "mask": "none",
    "opacity": "1",
    "overflow": "",
    "stop-color": "black",
    "stop-opacity": "1",
    "text-decoration": "none",
    "transform": "",
    "transform-box": "view-box",
    "transform-origin": "",
    "vector-effect": "none",
}
#: Attributes of geometry that CSS may set as well.
GEOMETRY: Final = frozenset(("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "d"))
#: All properties by name, with their initial values.
KNOWN: Final = {**INITIAL, **OWN}
#: Computed properties of one element: name and value.
Properties = dict[str, str]
#: Places of markers on a line (``marker-start`` ...).
MARKER_PLACES: Final = ("start", "mid", "end")
_WORDS: Final = {
    "stroke-linecap": ("butt", "round", "square"),
    "stroke-linejoin": ("miter", "miter-clip", "round", "bevel", "arcs"),
    "fill-rule": ("nonzero", "evenodd"),
    "clip-rule": ("nonzero", "evenodd"),
    "visibility": ("visible", "hidden", "collapse"),
}
_URL: Final = re.compile(r"""url\(\s*["']?\s*([^"')]*?)\s*["']?\s*\)\s*(.*)\Z""", re.DOTALL)
_OPACITIES: Final = frozenset(("opacity", "fill-opacity", "stroke-opacity"))


def is_valid(name: str, value: str) -> bool:
    """Tell whether a declared value can stand; an invalid one leaves the inherited value."""
    if name in _WORDS:
        return value.strip() in _WORDS[name]
    if name in _OPACITIES:
        return opacity(value) is not None
    if name == "stroke-miterlimit":
        return parse_number(value) is not None
    if name in ("fill", "stroke", "color"):
        return is_paint(value)
    return True


def opacity(text: str) -> float | None:
    """Return an opacity from 0 to 1, None where it is none; 50% is 0.5."""
    value = 1.0 if text == "1" else parse_length(text, dpi=96.0, percent_of=1.0)
    return None if value is None else min(1.0, max(0.0, value))


def is_paint(text: str) -> bool:
    """Tell whether a ``fill`` or ``stroke`` value is one that SVG knows."""
    text = text.strip()
    word = text.lower()
    if word in ("none", "context-fill", "context-stroke", "currentcolor"):
        return True
    return bool(_URL.match(text)) or parse_colour(plain_colour(text)) is not None


def reference(text: str) -> tuple[str, str] | None:
    """Return (id, fallback) of ``url(#id) fallback``; None where it is no reference."""
    match = _URL.match(text.strip())
    return (match.group(1).removeprefix("#"), match.group(2)) if match else None


def plain_colour(text: str) -> str:
    """Drop an ``icc-color(...)`` that may follow a colour in SVG 1.1."""
    return text.partition("icc-color")[0].strip()


def font_size(properties: Properties) -> float:
    """Return the computed font size in user units."""
    parts = split_length(properties["font-size"])
    return parts[0] if parts else 16.0
