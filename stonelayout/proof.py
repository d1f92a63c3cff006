"""The proof: the picture that a customer approves, stones at true size on a garment colour."""

from __future__ import annotations

import colorsys
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

import numpy as np

from .findings import Finding
from .layout import Kind, Layout
from .units import mm_and_inches, number

#: Margin of garment around the design and height of one line of the legend, in mm.
MARGIN_MM = 10.0
LINE_MM = 6.0
_FONT = 'font-family="Helvetica, Arial, sans-serif"'
_SHOWN = ("error", "warning")


def proof_svg(
    layout: Layout,
    rgb: Mapping[str, str],
    garment: str = "#1b2a55",
    findings: Sequence[Finding] = (),
    title: str = "",
) -> str:
    """Return the proof as SVG text, one user unit a mm.

    ``rgb`` gives ``#rrggbb`` by colour word; ``findings`` of severity error and warning that have
    a place are ringed and numbered there and listed below.
    """
    width, height = layout.size
    marked = [f for f in findings if f.severity in _SHOWN and f.at is not None][:99]
    legend = _legend(layout, marked)
    full_width = width + 2 * MARGIN_MM
    full_height = height + 3 * MARGIN_MM + LINE_MM * (len(legend) + 1)
    ink = _ink(garment)
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(full_width)}mm" '
            f'height="{number(full_height)}mm" viewBox="{number(-MARGIN_MM)} {number(-MARGIN_MM)} '
            f'{number(full_width)} {number(full_height)}">'
        ),
        f"<title>{escape(title or 'Proof')}</title>",
        "<defs>",
        *(_gem(f"k{k}", kind, rgb[kind.colour]) for k, kind in enumerate(layout.kinds)),
        "</defs>",
        (
            f'<rect id="garment" x="{number(-MARGIN_MM)}" y="{number(-MARGIN_MM)}" '
            f'width="{number(full_width)}" height="{number(full_height)}" fill="{garment}"/>'
        ),
    ]
    centres = np.round(layout.centres, 3)
    for k, kind in enumerate(layout.kinds):
        parts.append(f'<g id="stones-{escape(kind.name)}">')
        parts += [
            f'<use href="#k{k}" x="{number(x, 3)}" y="{number(y, 3)}"/>'
            for x, y in centres[layout.kind == k].tolist()
        ]
        parts.append("</g>")
    parts += _marks(marked)
    parts.append(f'<g id="legend" {_FONT} font-size="4" fill="{ink}">')
    for row, (symbol, words) in enumerate(
        [("", f"{mm_and_inches(width)} x {mm_and_inches(height)}, {len(layout)} stones"), *legend]
    ):
        y = height + MARGIN_MM + LINE_MM * (row + 0.5)
        if symbol:
            parts.append(f'<use href="#{symbol}" x="3" y="{number(y - 1.3, 2)}"/>')
        parts.append(f'<text x="{8 if symbol else 0}" y="{number(y, 2)}">{escape(words)}</text>')
    parts += ["</g>", "</svg>", ""]
    return "\n".join(parts)


def _legend(layout: Layout, marked: Sequence[Finding]) -> list[tuple[str, str]]:
    rows = [
        (f"k{k}", f"{kind.size} {kind.colour}, {kind.diameter:.2f} mm: {count} stones")
        for k, (kind, count) in enumerate(zip(layout.kinds, layout.counts(), strict=True))
    ]
    rows += [("", f"{i}  {f.severity}: {f.message}") for i, f in enumerate(marked, start=1)]
    return rows


def _marks(marked: Sequence[Finding]) -> list[str]:
    if not marked:
        return []
    parts = [f'<g id="findings" fill="none" stroke="#ff2d2d" stroke-width="0.8" {_FONT}>']
    for i, finding in enumerate(marked, start=1):
        x, y = finding.at or (0.0, 0.0)
        parts.append(f'<circle cx="{number(x, 3)}" cy="{number(y, 3)}" r="5"/>')
        parts.append(
            f'<text x="{number(x + 5.5, 3)}" y="{number(y - 3.5, 3)}" font-size="5" '
            f'fill="#ff2d2d" stroke="none">{i}</text>'
        )
    parts.append("</g>")
    return parts


def _gem(name: str, kind: Kind, colour: str) -> str:
    """Draw one stone about (0, 0): a girdle, eight crown facets of three lights, a table."""
    radius = kind.diameter / 2
    turn = np.arange(9) * (np.pi / 4) + np.pi / 8
    outer = np.column_stack((np.cos(turn), np.sin(turn))) * radius * 0.97
    inner = outer * 0.52
    lights = (0.78, 0.62, 0.82, 1.12, 1.4, 1.55, 1.3, 0.98)
    facets = [f'<circle r="{number(radius, 4)}" fill="{_light(colour, 0.6)}"/>']
    for i, light in enumerate(lights):
        corners = (outer[i], outer[i + 1], inner[i + 1], inner[i])
        points = " ".join(f"{number(x, 3)},{number(y, 3)}" for x, y in corners)
        facets.append(f'<polygon points="{points}" fill="{_light(colour, light)}"/>')
    table = " ".join(f"{number(x, 3)},{number(y, 3)}" for x, y in inner[:8])
    facets.append(f'<polygon points="{table}" fill="{_light(colour, 1.15)}"/>')
    return f'<g id="{name}">{"".join(facets)}</g>'


def _light(colour: str, factor: float) -> str:
    """Return the colour made lighter (factor > 1, towards white) or darker (< 1)."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    hue, light, saturation = colorsys.rgb_to_hls(red, green, blue)
    light = light * factor if factor <= 1 else light + (1 - light) * min(1.0, factor - 1)
    mixed = colorsys.hls_to_rgb(hue, light, saturation)
    return "#" + "".join(f"{round(part * 255):02x}" for part in mixed)


def _ink(garment: str) -> str:
    """Return black or white, whichever has more contrast with the garment (WCAG luminance)."""
    parts = [int(garment[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#000000" if luminance > 0.179 else "#ffffff"
