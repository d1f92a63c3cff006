"""The proof as SVG: the picture that a customer approves, at true size on a garment colour."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np

from stonelayout.findings import Finding, tally
from stonelayout.markup import escape, quoteattr
from stonelayout.model.layout import Kind, Layout
from stonelayout.units import mm_and_inches, number

from .stone_drawing import VARIANTS, rgb_of, stone_facets, variant_of

_Sides = tuple[float, float, float, float]
#: Garment around the design, in mm.
MARGIN_MM = 12.0
#: The page is at least this wide in mm, so that its words have room beside a small design.
LEAST_WIDTH_MM = 150.0
#: Most findings that are marked on one proof; more would hide the picture.
MOST_MARKS = 60
_INK, _PALE, _MARK = "#22262e", "#6a7180", "#e0115f"
_SHOWN = ("error", "warning")


def design_box(layout: Layout) -> _Sides:
    """Return the box (x0, y0, x1, y1) in mm around all stones, rims included."""
    if not len(layout):
        return 0.0, 0.0, *layout.size
    radii = layout.diameters[:, None] / 2
    low, high = (layout.centres - radii).min(axis=0), (layout.centres + radii).max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def design_size(layout: Layout) -> tuple[float, float]:
    """Return the width and height in mm of the finished design, rims included, as all papers do."""
    x0, y0, x1, y1 = design_box(layout)
    return x1 - x0, y1 - y0


def marked(findings: Sequence[Finding]) -> list[tuple[str, Finding]]:
    """Return the findings that a proof shows, numbered from 1: errors and warnings with a place."""
    shown = [f for f in findings if f.severity in _SHOWN and f.at is not None]
    return [(str(i), f) for i, f in enumerate(shown[:MOST_MARKS], start=1)]


def unplaced(findings: Sequence[Finding]) -> list[str]:
    """Return the errors and warnings without a place, such as what was not read, one line each."""
    return [said(f) for f in findings if f.severity in _SHOWN and f.at is None][:MOST_MARKS]


def said(finding: Finding) -> str:
    """Return a finding in one line: severity, layer or shape, message."""
    layer = f"{finding.layer}: " if finding.layer else ""
    return f"{finding.severity}: {layer}{finding.message}"


def proof_svg(
    layout: Layout,
    rgb: Mapping[str, str],
    garment: str = "#1b2a55",
    findings: Sequence[Finding] = (),
    title: str = "",
    *,
    counts: bool = True,
) -> str:
    """Return the proof as SVG text, one user unit a mm, places as in the layout.

    ``rgb`` gives ``#rrggbb`` by colour word; ``findings`` of severity error and warning that have
    a place are ringed and numbered there, and all are listed below; pass none for a customer, and
    no ``counts``.
    """
    x0, y0, x1, y1 = design_box(layout)
    # Words grow with the design: a proof is looked at as a whole.
    unit = max(1.0, (x1 - x0) / 260)
    spare = max(0.0, LEAST_WIDTH_MM - (x1 - x0) - 2 * MARGIN_MM - 14 * unit) / 2
    left, right = x0 - MARGIN_MM - 4 * unit - spare, x1 + MARGIN_MM + 14 * unit + spare
    cloth = (x0 - MARGIN_MM, y0 - MARGIN_MM, x1 + MARGIN_MM, y1 + MARGIN_MM)
    marks = marked(findings)
    told = [
        *((label, said(finding)) for label, finding in marks),
        *(("", words) for words in unplaced(findings)),
    ]
    if len(told) < sum(finding.severity in _SHOWN for finding in findings):
        told.append(("", f"in all {tally(findings)}: report.json has them"))
    below, foot = _below(layout, told, counts, left + 4 * unit, cloth[3], right, unit)
    top = cloth[1] - 13 * unit
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(right - left, 3)}mm" '
            f'height="{number(foot - top, 3)}mm" viewBox="{number(left, 3)} {number(top, 3)} '
            f'{number(right - left, 3)} {number(foot - top, 3)}" '
            'font-family="Liberation Sans, Helvetica, Arial, sans-serif">'
        ),
        f"<title>{escape(title or 'Proof')}</title>",
        "<defs>",
        *(
            _symbol(f"k{k}v{v}", kind, rgb_of(kind.colour, rgb), v)
            for k, kind in enumerate(layout.kinds)
            for v in range(VARIANTS)
        ),
        "</defs>",
        _rect("paper", (left, top, right, foot), "#ffffff"),
        _text(left + 4 * unit, top + 8 * unit, title or "Proof", 6 * unit, weight="bold"),
        _rect("garment", cloth, garment, 2.5),
    ]
    parts += _stones(layout)
    parts += _dimensions((x0, y0, x1, y1), cloth, unit)
    parts += _marks(marks, unit)
    parts += [*below, "</svg>", ""]
    return "\n".join(parts)


def _stones(layout: Layout) -> list[str]:
    parts = []
    centres = np.round(layout.centres, 3)
    for k, kind in enumerate(layout.kinds):
        parts.append(f"<g id={quoteattr('stones-' + kind.name)}>")
        parts += [
            f'<use href="#k{k}v{variant_of(i)}" x="{number(x, 3)}" y="{number(y, 3)}"/>'
            for i, (x, y) in enumerate(centres[layout.kind == k].tolist())
        ]
        parts.append("</g>")
    return parts


def _dimensions(box: _Sides, cloth: _Sides, unit: float) -> list[str]:
    """Draw the width below the garment and the height to its right, in mm and inches."""
    x0, y0, x1, y1 = box
    y, x, tick = cloth[3] + 4 * unit, cloth[2] + 4 * unit, 1.4 * unit
    middle = (y0 + y1) / 2
    lines = (
        f"M{number(x0, 3)} {number(y - tick, 3)}v{number(2 * tick, 3)}m0 {number(-tick, 3)}"
        f"H{number(x1, 3)}m0 {number(-tick, 3)}v{number(2 * tick, 3)}"
        f"M{number(x - tick, 3)} {number(y0, 3)}h{number(2 * tick, 3)}m{number(-tick, 3)} 0"
        f"V{number(y1, 3)}m{number(-tick, 3)} 0h{number(2 * tick, 3)}"
    )
    turned = f' transform="rotate(-90 {number(x + 5 * unit, 3)} {number(middle, 3)})"'
    return [
        (
            f'<path id="dimensions" d="{lines}" fill="none" stroke="{_PALE}" '
            f'stroke-width="{number(0.3 * unit, 3)}"/>'
        ),
        _text((x0 + x1) / 2, y + 5 * unit, mm_and_inches(x1 - x0), 3.6 * unit, anchor="middle"),
        _text(
            x + 5 * unit, middle, mm_and_inches(y1 - y0), 3.6 * unit, anchor="middle", more=turned
        ),
    ]


def _below(
    layout: Layout,
    told: Sequence[tuple[str, str]],
    counts: bool,
    x: float,
    y: float,
    right: float,
    unit: float,
) -> tuple[list[str], float]:
    """Return the lines below the picture and where they end: stones by kind, then findings."""
    line = 6 * unit
    y += 16 * unit
    parts = ['<g id="legend">']
    radius = max((kind.diameter for kind in layout.kinds), default=1.0) / 2
    for k, (kind, count) in enumerate(zip(layout.kinds, layout.counts(), strict=True)):
        if not count:
            continue
        parts.append(
            f'<use href="#k{k}v0" x="{number(x + radius, 3)}" y="{number(y - 1.3 * unit, 3)}"/>'
        )
        cells = [kind.size, kind.colour, mm_and_inches(kind.diameter, 2)]
        cells += [f"{count} stones"] if counts else []
        for column, word in zip((0, 14, 40, 84), cells, strict=False):
            parts.append(_text(x + 2 * radius + (3 + column) * unit, y, word, 3.8 * unit))
        y += line
    words = "a screen or a print cannot show the colour of cut glass"
    words = f"{len(layout)} stones in all; {words}" if counts else words.capitalize()
    parts.append(_text(x, y, words, 3.2 * unit, _PALE))
    parts.append("</g>")
    y += 2 * unit if told else 0.0
    width = max(30, int((right - x - 12 * unit) / (1.85 * unit)))
    for label, words in told:
        y += line
        parts += [_text(x, y, label, 3.6 * unit, _MARK, weight="bold")] if label else []
        for row in textwrap.wrap(words, width):
            parts.append(_text(x + 7 * unit, y, row, 3.6 * unit))
            y += 4.6 * unit
        y -= 4.6 * unit
    return parts, y + 6 * unit


def _marks(marks: Sequence[tuple[str, Finding]], unit: float) -> list[str]:
    if not marks:
        return []
    parts = ['<g id="findings">']
    for label, finding in marks:
        x, y = finding.at or (0.0, 0.0)
        place = f'cx="{number(x, 3)}" cy="{number(y, 3)}" r="{number(4.5 * unit, 3)}" fill="none"'
        parts.append(f'<circle {place} stroke="#ffffff" stroke-width="{number(1.6 * unit, 3)}"/>')
        parts.append(f'<circle {place} stroke="{_MARK}" stroke-width="{number(0.8 * unit, 3)}"/>')
        at = (x + 4 * unit, y - 4 * unit)
        parts.append(
            f'<circle cx="{number(at[0], 3)}" cy="{number(at[1], 3)}" r="{number(2.6 * unit, 3)}" '
            f'fill="{_MARK}"/>'
        )
        size = 3.4 * unit if len(label) < 2 else 2.8 * unit
        parts.append(
            _text(at[0], at[1] + size * 0.36, label, size, "#ffffff", "middle", weight="bold")
        )
    parts.append("</g>")
    return parts


def _symbol(name: str, kind: Kind, colour: str, variant: int) -> str:
    radius = kind.diameter / 2
    facets = []
    for corners, fill in stone_facets(colour, variant):
        points = " ".join(f"{number(x * radius, 3)},{number(y * radius, 3)}" for x, y in corners)
        facets.append(f'<polygon points="{points}" fill="{fill}"/>')
    return f'<g id="{name}">{"".join(facets)}</g>'


def _rect(name: str, box: _Sides, fill: str, radius: float = 0.0) -> str:
    x0, y0, x1, y1 = box
    rounded = f' rx="{number(radius, 3)}"' if radius else ""
    return (
        f'<rect id="{name}" x="{number(x0, 3)}" y="{number(y0, 3)}" width="{number(x1 - x0, 3)}" '
        f'height="{number(y1 - y0, 3)}"{rounded} fill="{fill}"/>'
    )


def _text(
    x: float,
    y: float,
    words: str,
    size: float,
    fill: str = _INK,
    anchor: str = "start",
    weight: str = "normal",
    more: str = "",
) -> str:
    style = "" if anchor == "start" else f' text-anchor="{anchor}"'
    style += "" if weight == "normal" else f' font-weight="{weight}"'
    return (
        f'<text x="{number(x, 3)}" y="{number(y, 3)}" font-size="{number(size, 3)}" '
        f'fill="{fill}"{style}{more}>{escape(words)}</text>'
    )
