"""The proof as one HTML page that needs nothing else: layers to switch, zoom, print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

import numpy as np

from stonelayout.findings import Finding, tally
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind, Layout
from stonelayout.units import mm_and_inches

from .html_pages import CAUTION_CHILDREN, fill, json_for_script, part, stone_svg, table
from .proof import design_box, marked, said, unplaced
from .stone_drawing import VARIANTS, rgb_of, stone_facets

#: Most findings listed on the page; the report has all.
MOST_LISTED = 200


def proof_html(
    layout: Layout,
    rgb: Mapping[str, str],
    garment: str = "#1b2a55",
    findings: Sequence[Finding] = (),
    title: str = "",
    *,
    layers: Sequence[Layer] = (),
    customer: bool = False,
) -> str:
    """Return the proof as one page; arguments as for ``proof_svg``.

    ``layers``, the templates in lifting order, adds their numbers and holes. With ``customer`` the
    page has no shop figures at all: no counts, holes or findings. The page loads nothing, from the
    disk or from a network.
    """
    title = title or "Proof"
    box = design_box(layout)
    width, height = box[2] - box[0], box[3] - box[1]
    shown = [] if customer else marked(findings)
    used = [k for k, count in enumerate(layout.counts()) if count]
    size = f"{mm_and_inches(width)} wide, {mm_and_inches(height)} high"
    data = {
        "box": [round(side, 3) for side in box],
        "width": mm_and_inches(width),
        "height": mm_and_inches(height),
        "kinds": [_kind_data(layout, k, rgb) for k in used],
        "findings": [
            {"label": label, "x": round(f.at[0], 2), "y": round(f.at[1], 2)}
            for label, f in shown
            if f.at is not None
        ],
    }
    return fill(
        "proof.html",
        {
            "title": escape(title),
            "page_css": part("page.css"),
            "script": part("proof.js"),
            "body_class": "for-customer" if customer else "for-shop",
            "dimensions": escape(size) + ("" if customer else _count(layout)),
            "description": escape(_description(layout, used, size, customer), quote=True),
            "layers": "\n".join(
                _switch(n, layout, k, rgb, layers, customer) for n, k in enumerate(used)
            ),
            "shop_options": "" if customer else _SHOP_OPTIONS,
            "garment": garment,
            "findings": "" if customer else _findings(findings, shown),
            "table": _table(layout, used, customer),
            "printed_findings": "" if customer else _printed(findings, shown),
            "cautions": escape(CAUTION_CHILDREN),
            "data": json_for_script(data),
        },
    )


_SHOP_OPTIONS = (
    '<label class="option shop"><input type="checkbox" id="marks" checked> Findings</label>\n'
    '<label class="option"><input type="checkbox" id="customer"> Hide shop figures</label>'
)


def _count(layout: Layout) -> str:
    return f'<span class="shop">; {len(layout)} stones</span>'


def _kind_data(layout: Layout, k: int, rgb: Mapping[str, str]) -> dict[str, Any]:
    kind = layout.kinds[k]
    places = np.rint(layout.centres[layout.kind == k] * 100).astype(np.int64)
    steps = np.diff(places, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    gems = [
        [[[part for corner in corners for part in corner], fill] for corners, fill in facets]
        for facets in (
            stone_facets(rgb_of(kind.colour, rgb), variant) for variant in range(VARIANTS)
        )
    ]
    return {"diameter": kind.diameter, "places": steps.ravel().tolist(), "gems": gems}


def _description(layout: Layout, used: Sequence[int], size: str, customer: bool) -> str:
    counts = layout.counts()
    kinds = ", ".join(
        f"{layout.kinds[k].size} {layout.kinds[k].colour}"
        if customer
        else f"{counts[k]} {layout.kinds[k].size} {layout.kinds[k].colour}"
        for k in used
    )
    return f"The design, {size}, in stones: {kinds}"


def _switch(
    n: int,
    layout: Layout,
    k: int,
    rgb: Mapping[str, str],
    layers: Sequence[Layer],
    customer: bool,
) -> str:
    kind = layout.kinds[k]
    more = mm_and_inches(kind.diameter, 2)
    bench = "" if customer else _bench(kind, layers)
    count = "" if customer else f'<span class="count shop">{layout.counts()[k]}</span>'
    return (
        f'<label class="layer"><input type="checkbox" id="layer{n}" checked>'
        f"{stone_svg(rgb_of(kind.colour, rgb))}<span>{escape(kind.size)} {escape(kind.colour)}"
        f"<small>{more}</small>{bench}</span>{count}</label>"
    )


def _bench(kind: Kind, layers: Sequence[Layer]) -> str:
    mine = {lift: layer for lift, layer in enumerate(layers, start=1) if layer.kind == kind}
    if not mine:
        return ""
    hole = next(iter(mine.values())).hole
    return f'<small class="shop">template {", ".join(map(str, mine))}, hole {hole:.2f} mm</small>'


def _findings(findings: Sequence[Finding], shown: Sequence[tuple[str, Finding]]) -> str:
    labels = {id(finding): label for label, finding in shown}
    rows = []
    for finding in findings[:MOST_LISTED]:
        words = (
            f'<span class="{finding.severity}">{finding.severity}</span> '
            f"{escape(said(finding).partition(': ')[2])}"
        )
        label = labels.get(id(finding))
        if label is not None:
            words = f'<button type="button" id="finding{label}"><b>{label}</b> {words}</button>'
        rows.append(f"<li>{words}</li>")
    left = sum(finding.count for finding in findings[MOST_LISTED:])
    if left:
        rows.append(f"<li>and {left} more in report.json</li>")
    count = tally(findings)
    title = f"Findings: {count}" if count else "Findings"
    body = f"<ol>{''.join(rows)}</ol>" if rows else "<p>None: nothing was found amiss.</p>"
    return f'<section id="findings" class="shop"><h2>{title}</h2>{body}</section>'


def _printed(findings: Sequence[Finding], shown: Sequence[tuple[str, Finding]]) -> str:
    rows = [f"{label} {said(finding)}" for label, finding in shown]
    rows += unplaced(findings)
    items = "".join(f"<li>{escape(row)}</li>" for row in rows)
    return f'<ul class="shop">{items}</ul>' if rows else ""


def _table(layout: Layout, used: Sequence[int], customer: bool) -> str:
    counts = layout.counts()
    rows = []
    for k in used:
        kind = layout.kinds[k]
        row = [kind.size, kind.colour, mm_and_inches(kind.diameter, 2)]
        rows.append(row if customer else [*row, str(counts[k])])
    head = ["size", "colour", "diameter"] if customer else ["size", "colour", "diameter", "stones"]
    return table("Stones", head, rows, set() if customer else {3})
