"""DXF R12 (AC1009): true CIRCLE entities on named layers, y up, one drawing unit a mm.

R12 has no header variable for units, so a line of known length says it: on a layer of its own, in
the margin, with its length in words.
"""

from __future__ import annotations

import re
from itertools import pairwise

from stonelayout.model.layer import Layer, Registration
from stonelayout.model.layout import DECIMALS
from stonelayout.units import number

#: Lengths in mm of the known-length line: the longest that fits the page is drawn.
BARS_MM = (100.0, 50.0, 20.0)
#: Distance in mm of that line from the page's lower left corner, and the height of its words.
BAR_AT_MM, TEXT_MM = 2.5, 1.5
#: R12 names: capitals, digits and these signs, 31 characters at most.
_NAME = re.compile(r"[^A-Z0-9_$-]")
_CYAN, _BLUE, _GREY, _WHITE = 4, 5, 8, 7


def layer_dxf(layer: Layer, registration: Registration) -> str:
    """Return the layer as DXF R12 text, lines ending in CRLF.

    Layers: one named as the file (holes, CIRCLE in the layer's order), REGISTRATION (marks, LINE),
    PINS where there are pin holes, SCALE (the known-length line: do not cut it), OUTLINE when the
    page's edge is to be cut.
    """
    page = registration.page
    width, height = page.size
    holes = _NAME.sub("_", layer.name.upper())[:31]
    marks = "PEN" if registration.drawn else "REGISTRATION"
    used = [(holes, _WHITE), (marks, _BLUE if registration.drawn else _CYAN)]
    body: list[object] = []
    for mark in registration.marks:
        for line in mark.lines:
            points = page.place(line).tolist()
            for first, last in pairwise(points):
                body += _line(marks, (*first, *last), height)
    if registration.pins:
        used.append(("PINS", _CYAN))
        radius = page.diameter(registration.pin) / 2
        for x, y in page.place(registration.pins).tolist():
            body += _circle("PINS", x, height - y, radius)
    bar = next((length for length in BARS_MM if length + 2 * BAR_AT_MM <= width), BARS_MM[-1])
    used.append(("SCALE", _GREY))
    low = height - BAR_AT_MM
    body += _line("SCALE", (BAR_AT_MM, low, BAR_AT_MM + bar, low), height)
    at = [10, _n(BAR_AT_MM), 20, _n(BAR_AT_MM - 2.0), 30, "0"]
    words = f"{number(bar)} MM, 1 UNIT = 1 MM. {page.worked_on.upper()}".rstrip(". ")
    body += [0, "TEXT", 8, "SCALE", *at, 40, _n(TEXT_MM), 1, words]
    radius = page.diameter(layer.hole) / 2
    for x, y in page.place(layer.centres).tolist():
        body += _circle(holes, x, height - y, radius)
    if registration.outline:
        used.append(("OUTLINE", _WHITE))
        corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height), (0.0, 0.0)]
        for first, last in pairwise(corners):
            body += _line("OUTLINE", (*first, *last), height)
    head: list[object] = [0, "SECTION", 2, "HEADER", 9, "$ACADVER", 1, "AC1009"]
    head += [9, "$EXTMIN", 10, "0", 20, "0", 30, "0"]
    head += [9, "$EXTMAX", 10, _n(width), 20, _n(height), 30, "0", 0, "ENDSEC"]
    head += _tables(used)
    tags = [*head, 0, "SECTION", 2, "ENTITIES", *body, 0, "ENDSEC", 0, "EOF"]
    return "".join(f"{tag}\r\n" for tag in tags)


def _tables(layers: list[tuple[str, int]]) -> list[object]:
    tags: list[object] = [0, "SECTION", 2, "TABLES", 0, "TABLE", 2, "LTYPE", 70, 1]
    tags += [0, "LTYPE", 2, "CONTINUOUS", 70, 0, 3, "Solid line", 72, 65, 73, 0, 40, "0"]
    tags += [0, "ENDTAB", 0, "TABLE", 2, "LAYER", 70, len(layers)]
    for name, colour in layers:
        tags += [0, "LAYER", 2, name, 70, 0, 62, colour, 6, "CONTINUOUS"]
    return [*tags, 0, "ENDTAB", 0, "ENDSEC"]


def _circle(layer: str, x: float, y: float, radius: float) -> list[object]:
    return [0, "CIRCLE", 8, layer, 10, _n(x), 20, _n(y), 30, "0", 40, _n(radius)]


def _line(layer: str, ends: tuple[float, ...], height: float) -> list[object]:
    """Return a LINE between two places (x, y, x, y) on the page, y down."""
    x0, y0, x1, y1 = ends
    start = [10, _n(x0), 20, _n(height - y0), 30, "0"]
    return [0, "LINE", 8, layer, *start, 11, _n(x1), 21, _n(height - y1), 31, "0"]


def _n(value: float) -> str:
    return number(value, DECIMALS)
