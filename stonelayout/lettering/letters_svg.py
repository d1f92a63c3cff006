"""Writing words as artwork: an SVG in mm, one path a letter, curves kept."""

from __future__ import annotations

from collections.abc import Sequence

from stonelayout.markup import quoteattr
from stonelayout.units import number

from .compose import Lettering

#: Free margin around words that stand alone, in mm.
MARGIN_MM = 5.0


def letters_box(letterings: Sequence[Lettering]) -> tuple[float, float, float, float]:
    """Return the box (x0, y0, x1, y1) in mm of all words, with a margin around."""
    boxes = [lettering.bounds for lettering in letterings]
    return (
        min(box[0] for box in boxes) - MARGIN_MM,
        min(box[1] for box in boxes) - MARGIN_MM,
        max(box[2] for box in boxes) + MARGIN_MM,
        max(box[3] for box in boxes) + MARGIN_MM,
    )


def letters_svg(
    letterings: Sequence[Lettering], box: tuple[float, float, float, float], stroke: float
) -> str:
    """Return the SVG: a group for each text, named by its id, and one path for each letter.

    ``box`` (x0, y0, x1, y1) in mm becomes the page; ``stroke`` is the width in mm that single
    lines are shown with.
    """
    x, y, width, height = (number(v, 4) for v in (*box[:2], box[2] - box[0], box[3] - box[1]))
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{x} {y} {width} {height}">',
    ]
    for lettering in letterings:
        text = lettering.text
        lines.append(f"<g id={quoteattr(text.id)} aria-label={quoteattr(text.words.strip())}>")
        for letter in lettering.letters:
            paint = (
                f'fill="none" stroke="{text.colour}" stroke-width="{number(stroke, 3)}" '
                'stroke-linecap="round" stroke-linejoin="round"'
                if letter.drawing.stroked
                else f'fill="{text.colour}"'
            )
            lines.append(f'<path id={quoteattr(letter.id)} {paint} d="{letter.drawing.svg()}"/>')
        lines.append("</g>")
    return "\n".join((*lines, "</svg>", ""))
