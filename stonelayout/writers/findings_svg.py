"""The picture of a check: every hole, and a numbered ring at every fault."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from stonelayout.findings import Finding
from stonelayout.geometry.points import Points
from stonelayout.markup import escape
from stonelayout.model.layer import Layer
from stonelayout.units import number

#: Faults that are listed in words; the others are ringed alone.
MOST_LISTED = 60
#: Room round the holes in mm, and the least width in mm of a picture that holds words.
MARGIN_MM, LEAST_WIDTH_MM = 8.0, 120.0
#: Directions in which a number may stand beside its ring.
WAYS = 24
_HOLE, _INK, _ERROR, _WARNING = "#8d96a6", "#22262e", "#d1002f", "#b86b00"


def faults_svg(layers: Sequence[Layer], findings: Sequence[Finding], title: str) -> str:
    """Return SVG text, one user unit a mm, places as in the layers.

    Findings of severity error and warning that have a place are ringed; they are numbered in the
    order given, and the first MOST_LISTED listed below with their places in mm.
    """
    holes = [(layer.centres, layer.hole / 2) for layer in layers]
    x0, y0 = np.min([centres.min(axis=0) - r for centres, r in holes], axis=0) - MARGIN_MM
    x1, y1 = np.max([centres.max(axis=0) + r for centres, r in holes], axis=0) + MARGIN_MM
    spare = max(0.0, LEAST_WIDTH_MM - float(x1 - x0)) / 2
    left, right, bottom = float(x0) - spare, float(x1) + spare, float(y1)
    unit = (right - left) / 160
    shown = [f for f in findings if f.severity in ("error", "warning") and f.at is not None]
    words, foot = _listed(shown, left + 4 * unit, bottom, unit)
    top = float(y0) - 9 * unit
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(right - left, 3)}mm" '
            f'height="{number(foot - top, 3)}mm" viewBox="{number(left, 3)} {number(top, 3)} '
            f'{number(right - left, 3)} {number(foot - top, 3)}" '
            'font-family="Liberation Sans, Helvetica, Arial, sans-serif">'
        ),
        f"<title>{escape(title)}</title>",
        (
            f'<rect x="{number(left, 3)}" y="{number(top, 3)}" width="{number(right - left, 3)}" '
            f'height="{number(foot - top, 3)}" fill="#ffffff"/>'
        ),
        _text(left + 4 * unit, top + 7 * unit, title, 4.4 * unit, _INK),
        f'<g id="holes" fill="{_HOLE}" fill-opacity="0.5" stroke="{_INK}" stroke-width="0.15">',
    ]
    for centres, radius in holes:
        lines += [
            f'<circle cx="{number(x, 3)}" cy="{number(y, 3)}" r="{number(radius, 3)}"/>'
            for x, y in centres.tolist()
        ]
    radius = max(r for _, r in holes) + unit
    lines.append(f'</g><g id="faults" fill="none" stroke-width="{number(0.7 * unit, 3)}">')
    lines += [_ring(finding, radius) for finding in shown]
    lines.append(f'</g><g stroke="#ffffff" stroke-width="{number(unit, 3)}">')
    places = np.array([finding.at for finding in shown], dtype=np.float64).reshape(-1, 2)
    kept_clear = np.concatenate([*(centres for centres, _ in holes), places])
    for k, finding in enumerate(shown[:MOST_LISTED], start=1):
        at = _aside(places[k - 1], radius + 2 * unit, kept_clear)
        kept_clear = np.concatenate((kept_clear, [at]))
        number_at = (float(at[0]), float(at[1]) + 1.3 * unit)
        words_at = _text(*number_at, str(k), 3.6 * unit, _colour(finding))
        lines.append(
            words_at.replace("<text", '<text paint-order="stroke" text-anchor="middle"', 1)
        )
    return "\n".join([*lines, "</g>", *words, "</svg>", ""])


def _ring(finding: Finding, radius: float) -> str:
    x, y = finding.at or (0.0, 0.0)
    return (
        f'<circle cx="{number(x, 3)}" cy="{number(y, 3)}" r="{number(radius, 3)}" '
        f'stroke="{_colour(finding)}"/>'
    )


def _aside(at: Points, distance: float, others: Points) -> Points:
    """Return the place (2,) at a distance from ``at`` that is farthest from others (n, 2)."""
    angles = np.linspace(0, 2 * np.pi, WAYS, endpoint=False)
    places: Points = at + distance * np.column_stack((np.cos(angles), np.sin(angles)))
    room = np.hypot(*(places[:, None] - others).transpose(2, 0, 1)).min(axis=1)
    best: Points = places[int(room.round(6).argmax())]
    return best


def _listed(shown: Sequence[Finding], x: float, y: float, unit: float) -> tuple[list[str], float]:
    """Return the lines of words below the picture, and where they end."""
    lines: list[str] = []
    y += 2 * unit
    for k, finding in enumerate(shown[:MOST_LISTED], start=1):
        at = finding.at or (0.0, 0.0)
        said = f"at {at[0]:.1f}, {at[1]:.1f} mm: {finding.message}"
        lines.append(_text(x, y + 4 * unit, str(k), 3 * unit, _colour(finding)))
        for row in textwrap.wrap(said, 92):
            y += 4 * unit
            lines.append(_text(x + 7 * unit, y, row, 3 * unit, _INK))
        y += unit
    if len(shown) > MOST_LISTED:
        y += 4 * unit
        more = f"and {len(shown) - MOST_LISTED} more, ringed without a number"
        lines.append(_text(x + 7 * unit, y, more, 3 * unit, _INK))
    return lines, y + 4 * unit


def _colour(finding: Finding) -> str:
    return _ERROR if finding.severity == "error" else _WARNING


def _text(x: float, y: float, words: str, size: float, fill: str) -> str:
    return (
        f'<text x="{number(x, 3)}" y="{number(y, 3)}" font-size="{number(size, 3)}" '
        f'fill="{fill}">{escape(words)}</text>'
    )
