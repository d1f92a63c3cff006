"""How a stone is drawn on a proof: facets of our own drawing, in lights and darks of its colour."""

from __future__ import annotations

import colorsys
import math
from collections.abc import Mapping

#: One facet: its corners in radii of the stone, counted from its centre, and its ``#rrggbb``.
Facet = tuple[tuple[tuple[float, float], ...], str]

#: How many ways a colour is drawn: neighbours that catch the light differently sparkle.
VARIANTS = 3
#: How stones of a colour are drawn that the catalogue does not have.
NOT_KNOWN = "#9a9da1"
_SIDES = 8
_TABLE = 0.56
_GLINT = 0.17


def rgb_of(colour: str, rgb: Mapping[str, str]) -> str:
    """Return a colour as ``#rrggbb``; grey where ``rgb`` lacks it (``colour-not-known``)."""
    return rgb.get(colour, NOT_KNOWN)


def stone_facets(colour: str, variant: int = 0) -> tuple[Facet, ...]:
    """Return the facets of a stone of this colour, the lowest first, all within radius 1.

    ``variant`` (0 to 2) turns the cut under a light that stays at the upper left.
    """
    start = math.pi / _SIDES + variant * 2 * math.pi / (_SIDES * VARIANTS)
    turn = [start + k * 2 * math.pi / _SIDES for k in range(_SIDES + 1)]
    rim = _ring([k * math.pi / 12 for k in range(24)], 1.0)
    outer, inner = _ring(turn, 0.96), _ring(turn, _TABLE)
    facets: list[Facet] = [(rim, shade(colour, 0.62))]
    for k in range(_SIDES):
        middle = (turn[k] + turn[k + 1]) / 2
        # Light from the upper left (y runs down); every second facet throws some of it back.
        light = 1.0 + 0.36 * math.cos(middle + 0.75 * math.pi) + (0.2 if k % 2 else -0.12)
        corners = (outer[k], outer[k + 1], inner[k + 1], inner[k])
        facets.append((corners, shade(colour, light)))
    for k in range(_SIDES):
        middle = (turn[k] + turn[k + 1]) / 2
        light = 1.08 - 0.3 * math.cos(middle + 0.75 * math.pi) + (0.14 if k % 2 else 0.0)
        facets.append((((0.0, 0.0), inner[k], inner[k + 1]), shade(colour, light)))
    x, y = -0.36 + 0.09 * variant, -0.4 + 0.05 * variant
    glint = ((x, y - _GLINT), (x + _GLINT, y), (x, y + _GLINT), (x - _GLINT, y))
    facets.append((_rounded(glint), shade(colour, 1.88)))
    return tuple(facets)


def variant_of(index: int) -> int:
    """Return the variant of the stone with this index: spread, the same on every run."""
    return (index + index // 7) % VARIANTS


def shade(colour: str, factor: float) -> str:
    """Return ``#rrggbb`` made lighter (factor 1 to 2, towards white) or darker (0 to 1)."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    hue, light, saturation = colorsys.rgb_to_hls(red, green, blue)
    light = light * factor if factor <= 1 else light + (1 - light) * min(1.0, factor - 1)
    mixed = colorsys.hls_to_rgb(hue, light, saturation)
    return "#" + "".join(f"{round(part * 255):02x}" for part in mixed)


def _ring(turns: list[float], radius: float) -> tuple[tuple[float, float], ...]:
    return tuple(
        (round(math.cos(turn) * radius, 3), round(math.sin(turn) * radius, 3)) for turn in turns
    )


def _rounded(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((round(x, 3), round(y, 3)) for x, y in points)
