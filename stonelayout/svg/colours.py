"""Colours as CSS writes them, as ``#rrggbb`` and an opacity."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, Final

import numpy as np

#: CIE XYZ (white D65, D50) to linear sRGB. CSS Color 4, sample code.
_FROM_XYZ: Final = {
    "xyz-d65": (
        (3.2409699, -1.5373832, -0.4986108),
        (-0.9692436, 1.8759675, 0.0415551),
        (0.0556301, -0.2039770, 1.0569715),
    ),
    "xyz-d50": (
        (3.1341359, -1.6173863, -0.4906620),
        (-0.9787955, 1.9162544, 0.0334427),
        (0.0719554, -0.2289768, 1.4053860),
    ),
}
_HEX: Final = re.compile("#[0-9a-f]{6}", re.ASCII | re.IGNORECASE)


@lru_cache(maxsize=4096)
def parse_colour(text: str) -> tuple[str, float] | None:
    """Return ("#rrggbb", opacity), or ("currentcolor", 1); None where it is no colour."""
    if _HEX.fullmatch(text):  # most drawings have no other colours, and need no CSS parser
        return text.lower(), 1.0
    from tinycss2.color4 import parse_color

    colour = parse_color(text)
    if colour is None:
        return None
    if colour == "currentcolor":
        return "currentcolor", 1.0
    rgb = "".join(f"{round(255 * min(1.0, max(0.0, part))):02x}" for part in _channels(colour))
    return f"#{rgb}", float(colour.alpha)


def _channels(colour: Any) -> list[float]:
    """Return sRGB channels; wide-gamut spaces are read as if they were sRGB, which is near."""
    if colour.space in ("hsl", "hwb"):
        colour = colour.to("srgb")
    elif colour.space in ("oklab", "oklch"):
        colour = colour.to("xyz-d65")
    elif colour.space in ("lab", "lch"):
        colour = colour.to("xyz-d50")
    space = "xyz-d65" if colour.space == "xyz" else colour.space
    values = np.array([part or 0.0 for part in colour.coordinates])
    if space in _FROM_XYZ:
        linear = np.maximum(np.array(_FROM_XYZ[space]) @ values, 0.0)
        low = linear <= 0.0031308
        values = np.where(low, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return [float(value) for value in values]
