"""What our HTML pages share: templates that come with the package, small drawings, escaping."""

from __future__ import annotations

import json
from html import escape
from importlib import resources
from string import Template
from typing import Any

from stonelayout.units import number

from .stone_drawing import stone_facets

CAUTION_CHILDREN = (
    "Stones are small parts: not for children under 3, and stones on anything for a child of 12 or "
    "younger must meet your local limits for lead and other metals. Check your local rules."
)


class _PageTemplate(Template):
    delimiter = "%%"


def fill(name: str, values: dict[str, str]) -> str:
    """Return the template of this name, filled in; values are HTML, escaped by the caller."""
    return _PageTemplate(part(name)).substitute(values)


def part(name: str) -> str:
    """Return a file of ``templates/`` as text."""
    source = resources.files("stonelayout.documents").joinpath("templates", name)
    return source.read_text(encoding="utf-8").rstrip("\n")


def json_for_script(data: Any) -> str:
    """Return JSON that can stand inside a script element: no ``<`` remains in it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def stone_svg(rgb: str) -> str:
    """Return a small inline picture of one stone; its words stand beside it, so it is hidden."""
    facets = []
    for corners, colour in stone_facets(rgb):
        points = " ".join(f"{number(x, 2)},{number(y, 2)}" for x, y in corners)
        facets.append(f'<polygon points="{points}" fill="{colour}"/>')
    return f'<svg viewBox="-1.1 -1.1 2.2 2.2" aria-hidden="true">{"".join(facets)}</svg>'


def table(caption: str, head: list[str], rows: list[list[str]], numbers: set[int]) -> str:
    """Return an HTML table of plain words; the columns in ``numbers`` stand to the right."""

    def cell(tag: str, k: int, words: str, more: str = "") -> str:
        side = ' class="n"' if k in numbers else ""
        return f"<{tag}{side}{more}>{escape(words)}</{tag}>"

    heads = "".join(cell("th", k, words, ' scope="col"') for k, words in enumerate(head))
    lines = [
        "<tr>" + "".join(cell("td", k, words) for k, words in enumerate(row)) + "</tr>"
        for row in rows
    ]
    return (
        f"<table><caption>{escape(caption)}</caption><thead><tr>{heads}</tr></thead>\n<tbody>"
        + "\n".join(lines)
        + "</tbody></table>"
    )
