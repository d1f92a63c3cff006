"""The job sheet: the page that goes to the bench, and the same as data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from stonelayout.findings import Finding, grouped, has_errors, tally
from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Layout
from stonelayout.model.order import Design, Need, needs
from stonelayout.model.shop_rates import ONE_SET, Sets
from stonelayout.template.lifting import templates_in_lifting_order
from stonelayout.template.tiles import Tile
from stonelayout.units import minutes, mm, mm_and_inches, number

from . import job_sheet_text as words
from .html_pages import fill, part, stone_svg
from .proof import design_box
from .report import layer_entry
from .stone_drawing import rgb_of

#: Decimals of a mm in a layer's small picture: more would only make the page larger.
_PICTURE_DIGITS = 1
#: Most stones drawn in a small picture; beyond it every second, third, ... is drawn.
MOST_DRAWN = 4000
_MOST_FINDINGS = 8
_TICK = '<span class="tick"></span>'
#: Boxes to tick in a row: one for each set, as far as they fit.
_MOST_TICKS = 5
#: Notes that the bench needs as well.
_SEEN = ("stones-hard-to-see",)


@dataclass(frozen=True, eq=False)
class JobSheet:
    """What a job sheet is made of: one design, its layers and tiles, its sheet and findings."""

    design: Design
    layout: Layout
    layers: tuple[Layer, ...]
    tiles: tuple[Tile, ...]
    sheet: Sheet
    findings: tuple[Finding, ...] = ()
    spare: float = 0.03
    pressed: bool = True
    sets: Sets = ONE_SET

    @property
    def templates(self) -> list[Layer]:
        """One set of templates, tile by tile where there are tiles, in lifting order."""
        return templates_in_lifting_order(self.tiles)

    @property
    def cut_seconds(self) -> float:
        """Time to cut all sets, in seconds."""
        return self.design.cut_seconds * self.sets.count

    def needs(self) -> dict[tuple[str, str], Need]:
        """Return the stones to take out, by size and colour."""
        return {(n.size, n.colour): n for n in needs([self.design], self.spare)}


def jobsheet_data(job: JobSheet) -> dict[str, Any]:
    """Return the job sheet as data: lengths in mm, templates in lifting order."""
    found, sheet = job.needs(), job.sheet
    return {
        "version": 1,
        "job": job.design.name,
        "unit": "mm",
        "copies": job.design.copies,
        "stones_each": job.design.stones,
        "pages": [[round(side, 3) for side in t.registration.page.size] for t in job.tiles],
        "sets": job.sets.count,
        "transfers_a_set": job.sets.transfers,
        "sheet": {
            "name": sheet.name,
            "force_g": list(sheet.force),
            "speed": sheet.speed,
            "passes": sheet.passes,
            "overcut": sheet.overcut,
            "cut_minutes": round(job.cut_seconds / 60, 1),
            "note": words.TEST_CUT,
        },
        "templates": [
            {
                "lift": lift,
                **layer_entry(layer),
                **_taken(found[layer.kind.size, layer.kind.colour]),
            }
            for lift, layer in enumerate(job.templates, start=1)
        ],
        "findings": [finding.as_dict() for finding in job.findings],
        "steps": {title: list(lines) for title, lines in _steps(job)},
    }


def _taken(need: Need) -> dict[str, int]:
    return {"spare": need.spare, "take_out": need.total, "gross": need.gross}


def jobsheet_html(job: JobSheet, rgb: Mapping[str, str]) -> str:
    """Return the job sheet as one page that loads nothing; it prints on one or two pages.

    ``rgb`` gives ``#rrggbb`` by colour word.
    """
    data = jobsheet_data(job)
    rows = [
        _row(job, layer, entry, rgb)
        for layer, entry in zip(job.templates, data["templates"], strict=True)
    ]
    return fill(
        "jobsheet.html",
        {
            "title": escape(job.design.name),
            "page_css": part("page.css"),
            "facts": _facts(job),
            "picture": _picture(job),
            "stop": _stop(job.findings),
            "rows": "\n".join(rows),
            "sections": "\n".join(_section(title, lines) for title, lines in _steps(job)),
        },
    )


def _steps(job: JobSheet) -> list[tuple[str, Sequence[str]]]:
    if len(job.tiles) > 1:
        lift = [
            ("Tiles", words.tiled(job.tiles)),
            ("Lift", words.LIFT),
            ("Seat the next template", (*words.NEXT, *words.SEATED)),
        ]
    else:
        following = ("Seat the next template", (*words.NEXT, *words.NEXT_CORNER, *words.SEATED))
        lift = [("Lift", (*words.CORNER, *words.LIFT)), following][: len(job.layers)]
    return [
        ("Cut", (*words.cut_so_many(job.sets), _settings(job), *words.CUT)),
        ("Weed", words.WEED),
        ("Brush", words.BRUSH),
        *lift,
        ("Look for stones that are", words.LOOK),
        *([("Press", words.PRESS)] if job.pressed else []),
        ("Take care", words.CAUTIONS),
    ]


def _settings(job: JobSheet) -> str:
    sheet = job.sheet
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


def _facts(job: JobSheet) -> str:
    x0, y0, x1, y1 = design_box(job.layout)
    found = job.needs().values()
    facts = [
        ("transfers", str(job.design.copies)),
        ("stones each", str(job.design.stones)),
        ("stones to take out", str(sum(need.total for need in found))),
        ("design", f"{mm_and_inches(x1 - x0)} x {mm_and_inches(y1 - y0)}"),
        *(_sheet_fact(job, part) for part in job.tiles),
        ("templates to cut", _so_many(job)),
    ]
    if job.tiles[0].registration.page.mirrored:
        facts.append(("cut", "from the back: mirrored"))
    if job.cut_seconds:
        facts.append(("cutting, all templates", f"{minutes(job.cut_seconds)} min"))
    return "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in facts
    )


def _sheet_fact(job: JobSheet, part: Tile) -> tuple[str, str]:
    which = f" of tile {part.number}" if part.count > 1 else ""
    width, height = part.registration.page.size
    return f"sheet for each template{which}", f"{job.sheet.name}, {mm(width)} x {mm(height)}"


def _so_many(job: JobSheet) -> str:
    sets, one = job.sets, len(job.templates)
    if sets.count == 1:
        return str(one)
    return (
        f"{sets.count} of each, {sets.count * one} in all: change after {sets.transfers} transfers"
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


def _row(job: JobSheet, layer: Layer, entry: Mapping[str, Any], rgb: Mapping[str, str]) -> str:
    kind = layer.kind
    web = "-" if entry["least_web"] is None else f"{entry['least_web']:.2f} mm"
    picture = _layer_picture(job, layer, entry["lift"])
    alike = [lift for lift, other in enumerate(job.templates, start=1) if other.kind == kind]
    together = f"; for no. {', '.join(map(str, alike))} together" if len(alike) > 1 else ""
    gross = f"{entry['gross']} gross, {entry['spare']} spare{together}"
    gross = f"{entry['take_out']}<small>{gross}</small>"
    if entry["lift"] != alike[0]:
        gross = f"with no. {alike[0]}"
    sets = _TICK * min(job.sets.count, _MOST_TICKS)
    ticks = "".join(
        f"<span>{box}{word}</span>"
        for box, word in ((sets, "cut"), (sets, "weeded"), (_TICK, "lifted"))
    )
    return (
        f"<tr><td>{entry['lift']}</td><td>{picture}<small>{escape(str(entry['file']))}</small></td>"
        f'<td class="gem">{stone_svg(rgb_of(kind.colour, rgb))} '
        f"{escape(kind.size)} {escape(kind.colour)}"
        f"<small>{mm_and_inches(kind.diameter, 2)}</small></td>"
        f'<td class="n">{entry["count"]}</td><td class="n">{gross}</td>'
        f'<td class="n">{layer.hole:.2f} mm</td><td class="n">{web}</td>'
        f'<td class="ticks">{ticks}</td></tr>'
    )


def _section(title: str, lines: Sequence[str]) -> str:
    rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<section><h2>{escape(title)}</h2><ul>{rows}</ul></section>"


def _view(job: JobSheet) -> str:
    """Return the view box that holds the pages of all tiles, in the layout's frame."""
    pages = [part.registration.page for part in job.tiles]
    x, y = (min(-page.offset[axis] for page in pages) for axis in (0, 1))
    right = max(page.width - page.offset[0] for page in pages)
    low = max(page.height - page.offset[1] for page in pages)
    return f'viewBox="{number(x, 1)} {number(y, 1)} {number(right - x, 1)} {number(low - y, 1)}"'


def _picture(job: JobSheet) -> str:
    """Draw the whole design pale, once: the layers' pictures use it."""
    width = float(np.median(job.layout.diameters)) if len(job.layout) else 1.0
    marks = "".join(
        "M" + "L".join(f"{number(x, 1)} {number(y, 1)}" for x, y in line)
        for part in job.tiles
        for mark in part.registration.marks
        for line in mark.lines
    )
    return (
        f'<svg {_view(job)} role="img" aria-label="The whole design with its marks">'
        f'<g id="all"><path class="all" stroke-width="{number(width, 2)}" '
        f'd="{_dots(job.layout.centres)}"/><path class="marks" d="{marks}"/></g></svg>'
    )


def _layer_picture(job: JobSheet, layer: Layer, lift: int) -> str:
    label = escape(f"template {lift}: {layer.kind.size} {layer.kind.colour}", quote=True)
    return (
        f'<svg {_view(job)} role="img" aria-label="{label}"><use href="#all"/>'
        f'<path class="holes" stroke-width="{number(layer.hole, 2)}" '
        f'd="{_dots(layer.centres)}"/></svg>'
    )


def _dots(centres: np.ndarray[Any, np.dtype[np.float64]]) -> str:
    """Return path data of one dot a stone: a line of no length with round ends."""
    step = -(-len(centres) // MOST_DRAWN) or 1
    places = np.round(centres[::step], _PICTURE_DIGITS).tolist()
    return "".join(f"M{number(x, 1)} {number(y, 1)}h0" for x, y in places)
