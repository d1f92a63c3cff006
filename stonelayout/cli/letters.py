"""``stonelayout letters``: words as artwork, an SVG in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from stonelayout.model.catalogue import DEFAULT_SHEET
from stonelayout.model.text import ALIGNMENTS, DEFAULT_FACE, DEFAULT_LINE_SPACING, Setting, Text
from stonelayout.units import counted, mm

from .options import LENGTH, catalogue_option, format_option, sheet_option
from .output import print_json, say, write_result

if TYPE_CHECKING:
    from stonelayout.lettering.compose import Lettering
    from stonelayout.lettering.legibility import Readable


@click.command("letters")
@click.argument("words", metavar="TEXT")
@click.option(
    "--face",
    default=DEFAULT_FACE,
    show_default=True,
    help="plain or script (single lines), a font file, or the name of an installed font.",
)
@click.option("--fallback", metavar="FACE", help="Face for the characters that the face lacks.")
@click.option("--height", type=LENGTH, help="Height of a capital, e.g. 40mm (none given: 30 mm).")
@click.option("--width", type=LENGTH, help="Fill this width; with --height: at most this width.")
@click.option("--tracking", type=LENGTH, help="Room added between letters (else: by --stone).")
@click.option(
    "--line-spacing",
    type=click.FloatRange(0.5, 10),
    default=DEFAULT_LINE_SPACING,
    show_default=True,
    help="From line to line, in capital heights.",
)
@click.option("--align", type=click.Choice(ALIGNMENTS), default="middle", show_default=True)
@click.option(
    "--arc", type=LENGTH, help="Radius of an arc to stand on; --arc=-90mm: along its bottom."
)
@click.option("--stone", default="ss10", show_default=True, help="Stone that will follow.")
@click.option("--id", "text_id", default="text", show_default=True, help="Name of the group.")
@sheet_option
@catalogue_option
@format_option
@click.option(
    "-o", "--output", metavar="FILE.svg", help="Where to write; - or none: standard output."
)
def command(
    words: str,
    face: str,
    fallback: str | None,
    height: float | None,
    width: float | None,
    tracking: float | None,
    line_spacing: float,
    align: Any,
    arc: float | None,
    stone: str,
    text_id: str,
    sheet_name: str | None,
    catalogue_files: tuple[str, ...],
    form: str,
    output: str | None,
) -> int:
    """Set words as a drawing in mm that lay and job files take like any other.

    Write \\n between lines. Every character that the face lacks is named, never left blank.

    \b
    stonelayout letters "Ada" --face plain --height 40mm --stone ss6 -o ada.svg
    stonelayout lay ada.svg --stone ss6 --pattern edge -o layout.json
    """
    from stonelayout.lettering.compose import set_text
    from stonelayout.lettering.legibility import readable
    from stonelayout.lettering.letters_svg import letters_box, letters_svg
    from stonelayout.model.job import pitch_for
    from stonelayout.orders.own_files import own_catalogue

    for name, value in (("--height", height), ("--width", width)):
        if value is not None and value <= 0:
            raise click.UsageError(f"{name} must be more than zero")
    if arc == 0:
        raise click.UsageError("--arc must not be zero")
    if form == "json" and output in (None, "-"):
        raise click.UsageError("--format json needs -o FILE.svg: both go to standard output")
    catalogue = own_catalogue(catalogue_files)
    sheet = catalogue.sheet(sheet_name or DEFAULT_SHEET)
    size = catalogue.stone(stone)
    stones = Setting(size.diameter, pitch_for(size, sheet))
    text = Text(
        words=words.replace("\\n", "\n"),
        id=text_id,
        face=face,
        fallback=fallback,
        height=height,
        width=width,
        tracking=tracking,
        line_spacing=line_spacing,
        align=align,
        arc=arc,
    )
    lettering = set_text(text, stones=stones)
    box = letters_box([lettering])
    least = readable(
        ((letter.text, letter.drawing) for letter in lettering.letters), lettering.capital, stones
    )
    write_result(output, letters_svg([lettering], box, stones.diameter))
    if form == "json":
        print_json(_figures(lettering, least, stones))
    else:
        for line in _words(lettering, least, stones, size.name, output or "-"):
            say(line)
    return 0


def _figures(lettering: Lettering, least: Readable, stones: Setting) -> dict[str, Any]:
    x0, y0, x1, y1 = lettering.bounds
    return {
        "version": 1,
        "unit": "mm",
        "size": [round(x1 - x0, 3), round(y1 - y0, 3)],
        "letters": len(lettering.letters),
        "capital": round(lettering.capital, 3),
        "tracking": round(lettering.tracking, 3),
        "least_height": round(least.height, 1),
        "pattern": least.pattern(lettering.capital, stones),
        "notes": list(lettering.notes),
    }


def _words(
    lettering: Lettering, least: Readable, stones: Setting, size: str, output: str
) -> Sequence[str]:
    x0, y0, x1, y1 = lettering.bounds
    lines = [f"note: {note}" for note in lettering.notes]
    lines.append(
        f"{counted(len(lettering.letters), 'letter')}, {x1 - x0:.1f} x {y1 - y0:.1f} mm, capitals "
        f"{mm(lettering.capital, 1)}, tracking {mm(lettering.tracking)}"
    )
    why = f' ("{least.letter}": {least.reason})' if least.letter else f" ({least.reason})"
    lines.append(f"reads well in {size} from {mm(least.height, 1)}{why}")
    if lettering.capital < least.height * 0.999:
        lines.append(
            f"warning: {mm(lettering.capital, 1)} is less: take a smaller stone or --height "
            f"{math.ceil(least.height)}mm"
        )
    pattern = least.pattern(lettering.capital, stones)
    lines.append(f"lay it with: --stone {size} --pattern {pattern}")
    if output != "-":
        lines.append(f"written to {output}")
    return lines
