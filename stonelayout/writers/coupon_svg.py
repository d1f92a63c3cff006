"""The coupon as SVG: holes for the knife in black, labels for a pen in blue."""

from __future__ import annotations

from stonelayout.model.layout import DECIMALS
from stonelayout.template.coupon import Coupon
from stonelayout.units import number

HAIRLINE_MM = 0.05


def coupon_svg(found: Coupon) -> str:
    """Return the coupon as SVG text, one user unit a mm; one group of holes for each rung."""
    width, height = (number(side) for side in found.size)
    line = f'fill="none" stroke-width="{number(HAIRLINE_MM)}"'
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}">'
        ),
        "<title>Coupon</title>",
    ]
    for index, rung in enumerate(found.rungs):
        name = f"{rung.stone}{rung.row}-{number(rung.value, 3)}"
        parts.append(f'<g id="{name}" {line} stroke="#000000">')
        for (x, y, diameter), owner in zip(found.holes.tolist(), found.rung, strict=True):
            if owner == index:
                at = f'cx="{number(x, DECIMALS)}" cy="{number(y, DECIMALS)}"'
                parts.append(f'<circle {at} r="{number(diameter / 2, DECIMALS)}"/>')
        parts.append("</g>")
    parts.append(f'<g id="labels" {line} stroke="#0000ff">')
    for stroke in found.labels:
        points = [f"{number(x, 4)} {number(y, 4)}" for x, y in stroke]
        parts.append(f'<path d="M{"L".join(points)}"/>')
    return "\n".join([*parts, "</g>", "</svg>", ""])
