"""Options that several commands take, and their types."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from stonelayout.errors import InputError
from stonelayout.files import STDIN, read_bytes
from stonelayout.model.pattern_options import SIZES_OF
from stonelayout.units import parse_length

if TYPE_CHECKING:
    from stonelayout.model.artwork import Artwork

F = TypeVar("F", bound=Callable[..., Any])


class LengthType(click.ParamType[float]):
    """A length with its unit, e.g. ``240mm`` or ``9.5in``; mm inside."""

    name = "LENGTH"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return mm; a usage error says what a length looks like."""
        if isinstance(value, float):
            return value
        try:
            return parse_length(str(value))
        except InputError as error:
            self.fail(error.message, param, ctx)


LENGTH = LengthType()
SIZE_FLAG = "--size-of"
#: Epilog of the commands that print findings.
FINDINGS_HELP = "What a finding means, by its [code], and what to do: stonelayout findings CODE."

format_option = click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="How to print the result on standard output.",
)
sheet_option = click.option(
    "--sheet", "sheet_name", metavar="NAME", help="Template sheet (see: stonelayout sheets)."
)

tile_option = click.option(
    "--tile", is_flag=True, help="Cut a design larger than the sheet in tiles."
)
width_option = click.option(
    "--width", type=LENGTH, help="Width of an SVG's page, where its own size is in px or wrong."
)


def catalogue_option(command: F) -> F:
    """Add ``--catalogue FILE``."""
    return click.option(
        "--catalogue",
        "catalogue_files",
        multiple=True,
        metavar="FILE",
        help="Your own stones, sheets, colours and cutters (TOML), laid over the built-in ones.",
    )(command)


def artwork_options(command: F) -> F:
    """Add how a drawing is read: ``--width``, ``--height``, ``--dpi``, ``--knock-out``, ..."""
    for option in (
        click.option(
            "--text-font",
            metavar="FONT",
            help="Font for text whose own is not installed: a file, or an installed font.",
        ),
        click.option("--colours", type=click.IntRange(2, 64), help="Colours of a traced picture."),
        click.option(
            "--knock-out",
            metavar="COLOUR",
            help="Areas of this colour cut what lies under them: white, #rrggbb, background (a"
            " picture's is left out; none keeps it).",
        ),
        click.option("--dpi", type=float, default=96.0, help="Pixels an inch (old files: 72, 90)."),
        click.option(
            SIZE_FLAG,
            type=click.Choice(SIZES_OF),
            help="What --width and --height measure: the drawing's page (as without this), or the"
            " design on it.",
        ),
        click.option("--height", type=LENGTH, help="Height of the page, e.g. 180mm."),
        click.option("--width", type=LENGTH, help="Width of the page, e.g. 240mm."),
    ):
        command = option(command)
    return command


def read_artwork(path: str, **options: Any) -> Artwork:
    """Read a drawing or picture (``-`` is standard input) by the ``artwork_options``."""
    from stonelayout.orders.job_drawing import artwork_at_size

    name = "standard input" if path == STDIN else path
    return artwork_at_size(read_bytes(path), name, **options)


def listed(values: Iterable[str]) -> list[str]:
    """Return the names in values given several times, or once with commas between."""
    return [part.strip() for value in values for part in value.split(",") if part.strip()]
