"""The job sheet: the page that goes to the bench, and the same as data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from . import benchwords
from .catalogue import Sheet
from .findings import Finding, grouped, has_errors, tally
from .layout import Layout
from .order import Design, Need, needs
from .pages import fill, gem_svg, part
from .proof import design_box
from .report import layer_entry
from .template import Layer, Registration
from .units import mm, mm_and_inches, number

#: A small picture of a layer is drawn to this many mm; more would only make the page heavy.
_PICTURE_DIGITS = 1
#: Most stones drawn in a small picture; beyond it every second, third, ... is drawn.
MOST_DRAWN = 4000
_MOST_FINDINGS = 8
#: Notes that the bench needs as well.
_SEEN = ("stones-hard-to-see",)


@dataclass(frozen=True, eq=False)
class Bench:
    """All that a job sheet tells of one design, as the other steps have computed it."""

    design: Design
    layout: Layout
    layers: tuple[Layer, ...]
    registration: Registration
    sheet: Sheet
    findings: tuple[Finding, ...] = ()
    spare: float = 0.03
    pressed: bool = True

    def needs(self) -> dict[tuple[str, str], Need]:
        """Return the stones to take out, by size and colour."""
        return {(n.size, n.colour): n for n in needs([self.design], self.spare)}


def jobsheet_data(bench: Bench) -> dict[str, Any]:
    """Return the job sheet as data: lengths in mm, templates in lifting order."""
    found, sheet = bench.needs(), bench.sheet
    return {
        "version": 1,
        "job": bench.design.name,
        "unit": "mm",
        "copies": bench.design.copies,
        "stones_each": bench.design.stones,
        "page": [round(side, 3) for side in bench.registration.page.size],
        "sheet": {
            "name": sheet.name,
            "force_g": list(sheet.force),
            "speed": sheet.speed,
            "passes": sheet.passes,
            "overcut": sheet.overcut,
            "cut_minutes": round(bench.design.cut_seconds / 60, 1),
            "note": benchwords.TEST_CUT,
        },
        "templates": [
            {**layer_entry(layer), **_taken(found[layer.kind.size, layer.kind.colour])}
            for layer in bench.layers
        ],
        "findings": [finding.as_dict() for finding in bench.findings],
        "steps": {title: list(lines) for title, lines in _steps(bench)},
    }


def _taken(need: Need) -> dict[str, int]:
    return {"spare": need.spare, "take_out": need.total, "gross": need.gross}


def jobsheet_html(bench: Bench, rgb: Mapping[str, str]) -> str:
    """Return the job sheet as one page that loads nothing; it prints on one or two pages.

    ``rgb`` gives ``#rrggbb`` by colour word.
    """
    data = jobsheet_data(bench)
    rows = [
        _row(bench, layer, entry, rgb)
        for layer, entry in zip(bench.layers, data["templates"], strict=True)
    ]
    return fill(
        "jobsheet.html",
        {
            "title": escape(bench.design.name),
            "page_css": part("page.css"),
            "facts": _facts(bench),
            "picture": _picture(bench),
            "stop": _stop(bench.findings),
            "rows": "\n".join(rows),
            "sections": "\n".join(_section(title, lines) for title, lines in _steps(bench)),
        },
    )


def _steps(bench: Bench) -> list[tuple[str, Sequence[str]]]:
    settings = _settings(bench)
    several = len(bench.layers) > 1
    return [
        ("Cut", (settings, *benchwords.CUT)),
        ("Weed", benchwords.WEED),
        ("Brush", benchwords.BRUSH),
        ("Lift", benchwords.LIFT),
        *([("Seat the next template", benchwords.NEXT)] if several else []),
        ("Look for stones that are", benchwords.LOOK),
        *([("Press", benchwords.PRESS)] if bench.pressed else []),
        ("Take care", benchwords.CAUTIONS),
    ]


def _settings(bench: Bench) -> str:
    sheet = bench.sheet
    low, high = sheet.force
    words = [f"{sheet.name}, a start:"]
    if high:
        words.append(f"force {low:g} to {high:g} g,")
    if sheet.speed:
        words.append(f"speed {sheet.speed:g},")
    words.append(f"{sheet.passes} passes" if sheet.passes > 1 else "1 pass")
    if sheet.overcut:
        words.append(f"or 1 pass with {mm(sheet.overcut)} overcut")
    return " ".join(words) + "."


def _facts(bench: Bench) -> str:
    x0, y0, x1, y1 = design_box(bench.layout)
    width, height = bench.registration.page.size
    found = bench.needs().values()
    facts = [
        ("transfers", str(bench.design.copies)),
        ("stones each", str(bench.design.stones)),
        ("stones to take out", str(sum(need.total for need in found))),
        ("design", f"{mm_and_inches(x1 - x0)} x {mm_and_inches(y1 - y0)}"),
        ("sheet for each template", f"{bench.sheet.name}, {mm(width)} x {mm(height)}"),
    ]
    if bench.registration.page.mirrored:
        facts.append(("cut", "from the back: mirrored"))
    if bench.design.cut_seconds:
        facts.append(("cutting, all templates", f"{bench.design.cut_seconds / 60:.0f} min"))
    return "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in facts
    )


def _stop(findings: Sequence[Finding]) -> str:
    """Return errors and warnings, like ones together, and what is hard to see when brushing."""
    told = [g for g in grouped(findings) if g.first.severity != "note" or g.first.code in _SEEN]
    if not told:
        return ""
    rows = []
    for one in told[:_MOST_FINDINGS]:
        worst, more = one.words()
        severity = one.first.severity
        rows.append(
            f'<li><span class="{severity}">{severity}</span> {escape(f"{worst} {more}".strip())}'
            "</li>"
        )
    left = sum(one.total for one in told[_MOST_FINDINGS:])
    if left:
        rows.append(f"<li>and {left} of other kinds: see the proof</li>")
    count = tally(findings)
    grave = has_errors(findings)
    title = ("Do not cut yet" if grave else "Before you cut") + (f": {count}" if count else "")
    frame = ' class="stop"' if grave else ""
    return f"<section{frame}><h2>{title}</h2><ul>{''.join(rows)}</ul></section>"


def _row(bench: Bench, layer: Layer, entry: Mapping[str, Any], rgb: Mapping[str, str]) -> str:
    kind = layer.kind
    web = "-" if entry["least_web"] is None else f"{entry['least_web']:.2f} mm"
    picture = _layer_picture(bench, layer)
    gross = f"{entry['take_out']}<small>{entry['gross']} gross, {entry['spare']} spare</small>"
    ticks = "".join(
        f'<span><span class="tick"></span>{word}</span>' for word in ("cut", "weeded", "lifted")
    )
    return (
        f"<tr><td>{layer.order}</td><td>{picture}<small>{escape(str(entry['file']))}</small></td>"
        f'<td class="gem">{gem_svg(rgb[kind.colour])} {escape(kind.size)} {escape(kind.colour)}'
        f"<small>{mm_and_inches(kind.diameter, 2)}</small></td>"
        f'<td class="n">{entry["count"]}</td><td class="n">{gross}</td>'
        f'<td class="n">{layer.hole:.2f} mm</td><td class="n">{web}</td>'
        f'<td class="ticks">{ticks}</td></tr>'
    )


def _section(title: str, lines: Sequence[str]) -> str:
    rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<section><h2>{escape(title)}</h2><ul>{rows}</ul></section>"


def _view(bench: Bench) -> str:
    """Return the view box of the page, in the layout's frame."""
    page = bench.registration.page
    x, y = -page.offset[0], -page.offset[1]
    return (
        f'viewBox="{number(x, 1)} {number(y, 1)} {number(page.width, 1)} {number(page.height, 1)}"'
    )


def _picture(bench: Bench) -> str:
    """Draw the whole design pale, once: the layers' pictures use it."""
    width = float(np.median(bench.layout.diameters)) if len(bench.layout) else 1.0
    marks = "".join(
        "M" + "L".join(f"{number(x, 1)} {number(y, 1)}" for x, y in line)
        for mark in bench.registration.marks
        for line in mark.lines
    )
    return (
        f'<svg {_view(bench)} role="img" aria-label="The whole design with its marks">'
        f'<g id="all"><path class="all" stroke-width="{number(width, 2)}" '
        f'd="{_dots(bench.layout.centres)}"/><path class="marks" d="{marks}"/></g></svg>'
    )


def _layer_picture(bench: Bench, layer: Layer) -> str:
    label = escape(f"template {layer.order}: {layer.kind.size} {layer.kind.colour}", quote=True)
    return (
        f'<svg {_view(bench)} role="img" aria-label="{label}"><use href="#all"/>'
        f'<path class="holes" stroke-width="{number(layer.hole, 2)}" '
        f'd="{_dots(layer.centres)}"/></svg>'
    )


def _dots(centres: np.ndarray[Any, np.dtype[np.float64]]) -> str:
    """Return path data of one dot a stone: a line of no length with round ends."""
    step = -(-len(centres) // MOST_DRAWN) or 1
    places = np.round(centres[::step], _PICTURE_DIGITS).tolist()
    return "".join(f"M{number(x, 1)} {number(y, 1)}h0" for x, y in places)
