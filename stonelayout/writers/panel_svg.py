"""A panel of the roll as SVG: all its templates, ready to cut; and a picture of the whole plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from stonelayout.markup import escape, quoteattr
from stonelayout.model.layer import Layer, Registration
from stonelayout.model.layout import DECIMALS
from stonelayout.template.registration import EDGE
from stonelayout.template.roll import Panel, PlacedTemplate, Plan
from stonelayout.units import mm_and_inches, number, percent

from .layer_svg import HAIRLINE_MM

Template = tuple[Layer, Registration]
#: How the id of the group begins that holds the marks of one template on a panel.
MARKS_OF = "registration-"


def panel_svg(panel: Panel, width: float, templates: Mapping[str, Template]) -> str:
    """Return one panel as SVG text, one user unit a mm; ``width`` is that of the roll.

    ``templates`` gives layer and registration by the name of a piece. Places are written out, no
    transform is used; each template is two groups, of its registration and of its holes.
    """
    wide, high = number(width, DECIMALS), number(panel.length, DECIMALS)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{high}mm" '
            f'viewBox="0 0 {wide} {high}">'
        ),
        f"<title>panel {panel.number}</title>",
        "<desc>Cut at 100 %: one unit is one mm. Make a test cut first.</desc>",
        f'<g fill="none" stroke="#000000" stroke-width="{number(HAIRLINE_MM)}">',
    ]
    for index, placed in enumerate(panel.placed, start=1):
        lines += _template(f"{panel.number}-{index}", placed, *templates[placed.template.name])
    return "\n".join([*lines, "</g>", "</svg>", ""])


def _template(name: str, placed: PlacedTemplate, layer: Layer, found: Registration) -> list[str]:
    page = found.page
    radius = number(page.diameter(layer.hole) / 2, DECIMALS)
    lines = [f"<g id={quoteattr(MARKS_OF + name)}>"]
    for mark in found.marks:
        data = ""
        for line in mark.lines:
            points = _moved(page.place(line), placed)
            data += "M" + "L".join(
                f"{number(x, DECIMALS)} {number(y, DECIMALS)}" for x, y in points
            )
        known = f' id="{EDGE}-{name}"' if mark.name == EDGE else ""
        lines.append(f'<path{known} d="{data}"/>')
    pin = number(page.diameter(found.pin) / 2, DECIMALS)
    lines += _circles(page.place(found.pins), placed, pin)
    title = escape(placed.template.name)
    lines += ["</g>", f"<g id={quoteattr('template-' + name)}><title>{title}</title>"]
    return [*lines, *_circles(page.place(layer.centres), placed, radius), "</g>"]


def _circles(points: npt.NDArray[np.float64], placed: PlacedTemplate, radius: str) -> list[str]:
    return [
        f'<circle cx="{number(x, DECIMALS)}" cy="{number(y, DECIMALS)}" r="{radius}"/>'
        for x, y in _moved(points, placed)
    ]


def _moved(points: npt.NDArray[np.float64], placed: PlacedTemplate) -> list[list[float]]:
    """Return places on a template's page as they stand on the panel, turned clockwise if it is."""
    if placed.turned:
        points = np.column_stack((placed.template.height - points[:, 1], points[:, 0]))
    moved: list[list[float]] = (points + (placed.x, placed.y)).tolist()
    return moved


def plan_svg(plan: Plan, title: str = "Roll plan") -> str:
    """Return a picture of the plan: panels one below another as they come off the roll."""
    roll = plan.roll
    unit = roll.width / 90
    space = 6 * unit
    head = 8 * unit
    high = head + plan.used + space * len(plan.panels) + 3 * unit
    wide = roll.width + 24 * unit
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(wide / 3, 2)}mm" '
            f'height="{number(high / 3, 2)}mm" viewBox="{number(-unit, 3)} {number(-head, 3)} '
            f'{number(wide, 3)} {number(high, 3)}" '
            f'font-family="Liberation Sans, Helvetica, Arial, sans-serif" '
            f'font-size="{number(2.4 * unit, 3)}" fill="#22262e">'
        ),
        f"<title>{escape(title)}</title>",
        (
            f'<rect x="{number(-unit, 3)}" y="{number(-head, 3)}" width="{number(wide, 3)}" '
            f'height="{number(high, 3)}" fill="#ffffff"/>'
        ),
        (
            f'<text y="{number(-head + 4 * unit, 3)}" font-size="{number(3.2 * unit, 3)}">'
            f"{escape(title)}: {mm_and_inches(plan.used)} of roll, {percent(plan.share, 0)} "
            "template</text>"
        ),
    ]
    y = 0.0
    for panel in plan.panels:
        lines.append(
            f'<rect y="{number(y, 3)}" width="{number(roll.width, 3)}" '
            f'height="{number(panel.length, 3)}" fill="#e9ecf1" stroke="#6a7180" '
            f'stroke-width="{number(unit / 5, 3)}" stroke-dasharray="{number(unit, 3)}"/>'
        )
        lines.append(
            f'<text x="{number(roll.width + 2 * unit, 3)}" y="{number(y + 3 * unit, 3)}">'
            f"panel {panel.number}</text>"
            f'<text x="{number(roll.width + 2 * unit, 3)}" y="{number(y + 6 * unit, 3)}">'
            f"{number(panel.length, 1)} mm</text>"
        )
        for placed in panel.placed:
            lines += _pictured(placed, y, unit)
        y += panel.length + space
    return "\n".join([*lines, "</svg>", ""])


def _pictured(placed: PlacedTemplate, top: float, unit: float) -> Sequence[str]:
    x, y = placed.x, top + placed.y
    words = placed.template.name
    long = placed.width >= placed.height
    room = max(placed.width, placed.height)
    size = min(5 * unit, room / max(1.0, 0.6 * len(words)), 0.8 * min(placed.width, placed.height))
    middle = (x + placed.width / 2, y + placed.height / 2)
    at = f'x="{number(middle[0], 3)}" y="{number(middle[1] + size / 3, 3)}"'
    turn = "" if long else f' transform="rotate(-90 {number(middle[0], 3)} {number(middle[1], 3)})"'
    return (
        f'<rect x="{number(x, 3)}" y="{number(y, 3)}" width="{number(placed.width, 3)}" '
        f'height="{number(placed.height, 3)}" fill="#cfdcf2" stroke="#2a4f8f" '
        f'stroke-width="{number(unit / 6, 3)}"/>',
        f'<text {at} font-size="{number(size, 3)}" text-anchor="middle"{turn}>'
        f"{escape(words)}</text>",
    )
