"""``stonelayout inspect``: the shop's first look at a drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from stonelayout.units import mm_and_inches, number

from .options import SIZE_FLAG, artwork_options, catalogue_option, format_option, read_artwork
from .output import print_json, say, write_result

if TYPE_CHECKING:
    from stonelayout.documents.drawing_report import ShapeMeasures
    from stonelayout.model.artwork import Artwork

#: More rows than this are counted, not shown: a terminal is no place for a thousand shapes.
_MOST_ROWS = 40


@click.command(
    "inspect", help="Show what a drawing holds: size, shapes, widths, and what was not read."
)
@click.argument("artwork_file", metavar="ARTWORK")
@artwork_options
@format_option
@click.option("-o", "seen", metavar="FILE", help="Write what was understood as an SVG.")
@catalogue_option
def command(
    artwork_file: str,
    width: float | None,
    height: float | None,
    size_of: str | None,
    dpi: float,
    knock_out: str | None,
    colours: int | None,
    text_font: str | None,
    form: str,
    seen: str | None,
    catalogue_files: tuple[str, ...],
) -> None:
    """Read the drawing, measure its shapes and print them."""
    from stonelayout.documents.drawing_report import drawing_report, measure_shape, suggestions
    from stonelayout.laying.design_size import smaller_than_asked
    from stonelayout.orders.own_files import own_catalogue

    artwork = read_artwork(
        artwork_file,
        width=width,
        height=height,
        size_of=size_of,
        dpi=dpi,
        knock_out=knock_out,
        colours=colours,
        text_font=text_font,
    )
    measured = [measure_shape(shape) for shape in artwork.shapes]
    tips = [found.message for found in smaller_than_asked(artwork, (), size_of, SIZE_FLAG)]
    tips += suggestions(artwork, measured, own_catalogue(catalogue_files))
    if seen is not None:
        from stonelayout.writers.artwork_svg import seen_svg

        write_result(seen, seen_svg(artwork))
    if form == "json":
        for note in artwork.notes:
            say(f"note: {note}")
        if seen != "-":
            print_json({**drawing_report(artwork, measured), "suggestions": tips})
        return
    lines = [*_table(artwork, measured), *_words(artwork, tips)]
    for line in lines:
        click.echo(line, err=seen == "-")


def _table(artwork: Artwork, measured: list[ShapeMeasures]) -> list[str]:
    width, height = artwork.size
    lines = [
        f"{artwork.file}: {mm_and_inches(width)} x {mm_and_inches(height)} ({artwork.size_from})",
        "",
    ]
    rows = [["shape", "layer", "fill", "stroke", "area mm2", "length mm", "width mm", "line"]]
    for item in measured[:_MOST_ROWS]:
        shape = item.shape
        span = "-"
        if item.width_range is not None:
            low, high = (number(value, 2) for value in item.width_range)
            span = low if low == high else f"{low} to {high}"
        rows.append(
            [
                _short(shape.id),
                _short(shape.layer) or "-",
                shape.fill or "-",
                f"{shape.stroke} {number(shape.stroke_width, 2)}" if shape.stroke else "-",
                f"{item.area:.1f}" if shape.area is not None else "-",
                f"{item.length:.1f}",
                span,
                str(shape.line or "-"),
            ]
        )
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    right = (4, 5, 7)
    lines += [
        "  ".join(
            cell.rjust(widths[k]) if k in right else cell.ljust(widths[k])
            for k, cell in enumerate(row)
        ).rstrip()
        for row in rows
    ]
    if len(measured) > _MOST_ROWS:
        lines.append(f"... and {len(measured) - _MOST_ROWS} more shapes (--format json has all)")
    return lines


def _words(artwork: Artwork, tips: list[str]) -> list[str]:
    lines: list[str] = []
    if artwork.skipped:
        lines += ["", "not read, or not as drawn:"]
        for entry in artwork.skipped[:_MOST_ROWS]:
            times = f"{entry.count} x " if entry.count > 1 else ""
            name = f' "{entry.id}"' if entry.id else ""
            layer = f" in {entry.layer}" if entry.layer else ""
            line = f" (line {entry.line})" if entry.line else ""
            lines.append(f"  {times}<{entry.what}>{name}{layer}{line}: {entry.reason}")
        if len(artwork.skipped) > _MOST_ROWS:
            lines.append(f"  ... and {len(artwork.skipped) - _MOST_ROWS} more")
    if artwork.notes:
        lines += ["", *(f"note: {note}" for note in artwork.notes)]
    if tips:
        lines += ["", "to try first:", *(f"  {tip}" for tip in tips[:_MOST_ROWS])]
    return lines


def _short(text: str, most: int = 28) -> str:
    text = " ".join(text.split())
    return text if len(text) <= most else text[: most - 3] + "..."
