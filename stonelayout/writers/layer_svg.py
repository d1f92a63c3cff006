"""SVG for cutting: true size in mm, hairlines without fill, one layer a file."""

from __future__ import annotations

from stonelayout.markup import escape
from stonelayout.model.layer import Layer, Page, Registration
from stonelayout.model.layout import DECIMALS
from stonelayout.units import counted, number

#: Width in mm of the lines to cut: thin enough to be taken as a hairline, wide enough to see.
HAIRLINE_MM = 0.05
_CUT, _PEN = "#000000", "#0000ff"


def layer_svg(layer: Layer, registration: Registration) -> str:
    """Return the layer as SVG text, one user unit a mm.

    ``<g id="holes">`` holds a ``<circle cx cy r>`` for each hole, in the layer's order;
    ``<g id="registration">`` is the same, byte for byte, for every layer of one registration.
    """
    page = registration.page
    width, height = (number(side, DECIMALS) for side in page.size)
    about = (
        f"{counted(len(layer), 'hole')} of {number(layer.hole, 3)} mm for {layer.kind.size} "
        f"{layer.kind.colour}. Cut at 100 %: one unit is one mm. {page.worked_on}".rstrip()
    )
    radius = number(page.diameter(layer.hole) / 2, DECIMALS)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}">'
        ),
        f"<title>{escape(layer.name)}</title>",
        f"<desc>{escape(about)}</desc>",
        registration_svg(registration),
        f'<g id="holes" {_hairline(_CUT)}>',
        *(
            f'<circle cx="{number(x, DECIMALS)}" cy="{number(y, DECIMALS)}" r="{radius}"/>'
            for x, y in page.place(layer.centres).tolist()
        ),
        "</g>",
    ]
    if registration.outline:
        lines.append(f'<rect id="outline" width="{width}" height="{height}" {_hairline(_CUT)}/>')
    return "\n".join([*lines, "</svg>", ""])


def registration_svg(registration: Registration) -> str:
    """Return the group of registration marks: paths, and circles for pin holes."""
    page = registration.page
    colour = _PEN if registration.drawn else _CUT
    lines = [f'<g id="registration" {_hairline(colour)}>']
    for mark in registration.marks:
        data = "".join(_line(page, line) for line in mark.lines)
        lines.append(f'<path id="{mark.name}" d="{data}"/>')
    radius = number(page.diameter(registration.pin) / 2, DECIMALS)
    for i, (x, y) in enumerate(page.place(registration.pins).tolist(), start=1):
        at = f'cx="{number(x, DECIMALS)}" cy="{number(y, DECIMALS)}"'
        lines.append(f'<circle id="pin-{i}" {at} r="{radius}" stroke="{_CUT}"/>')
    return "\n".join([*lines, "</g>"])


def _line(page: Page, line: tuple[tuple[float, float], ...]) -> str:
    points = [f"{number(x, DECIMALS)} {number(y, DECIMALS)}" for x, y in page.place(line).tolist()]
    return "M" + "L".join(points)


def _hairline(colour: str) -> str:
    return f'fill="none" stroke="{colour}" stroke-width="{number(HAIRLINE_MM)}"'
