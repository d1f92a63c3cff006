"""What the commands share: option types, the catalogue, output and findings on the terminal."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from stonelayout.errors import InputError
from stonelayout.files import STDIN, write_one
from stonelayout.model.pattern_options import SIZES_OF
from stonelayout.units import parse_length

if TYPE_CHECKING:
    from stonelayout.findings import Finding
    from stonelayout.model.artwork import Artwork
    from stonelayout.model.catalogue import Catalogue
    from stonelayout.model.job import Job, Rule

F = TypeVar("F", bound=Callable[..., Any])
#: A user's own catalogue, read whenever it exists.
USER_CATALOGUE = "catalogue.toml"


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


def user_catalogue_path() -> Path:
    """Return where the user's own catalogue stands, whether or not it exists."""
    given = os.environ.get("STONELAYOUT_CATALOGUE")
    return Path(given) if given else Path(click.get_app_dir("stonelayout")) / USER_CATALOGUE


def load_catalogue(files: Iterable[str] = ()) -> Catalogue:
    """Return the packaged catalogue, the user's own file over it, then ``files`` over that."""
    from stonelayout.model.catalogue import load_catalogue as load

    own = user_catalogue_path()
    paths = [str(own)] if own.is_file() or "STONELAYOUT_CATALOGUE" in os.environ else []
    return load(*paths, *files)


def read_artwork(
    path: str,
    width: float | None = None,
    height: float | None = None,
    dpi: float = 96.0,
    knock_out: str | None = None,
    colours: int | None = None,
    text_font: str | None = None,
    folder: Path = Path(),
    size_of: str | None = None,
    rules: Sequence[Rule] = (),
) -> Artwork:
    """Read a drawing or picture (``-`` is standard input) at the size asked.

    ``text_font`` is for text whose own font is not installed; ``folder`` is where its file is.
    ``size_of`` and ``rules`` as for ``at_size``.
    """
    from stonelayout.files import read_bytes
    from stonelayout.laying.design_size import at_size
    from stonelayout.lettering.font_matching import Typefaces
    from stonelayout.reading.drawing import read_drawing

    name, data = "standard input" if path == STDIN else path, read_bytes(path)
    if (kind := kind_of_file(name, data)) in ("a job file", "a layout"):
        words = f"this is {kind}, no drawing"
        if kind == "a job file":
            words += f"; to make the job: stonelayout make {name} --out DIR"
        raise InputError(words, file=name)
    fonts = Typefaces(text_font, folder)

    def read(width: float | None, height: float | None) -> Artwork:
        return read_drawing(
            data,
            name,
            width=width,
            height=height,
            dpi=dpi,
            knock_out=knock_out,
            colours=colours,
            fonts=fonts,
        )

    return at_size(read, width, height, size_of, rules)


def named_file(path: Path, place: str) -> Path:
    """Return the path of a file that a job names at ``place``. Raises InputError without one."""
    from stonelayout.files import missing

    if not path.exists():
        raise InputError(f"{place}: {path}: {missing(path)}")
    return path


def kind_of_file(name: str, data: bytes) -> str:
    """Say what a file is by its first bytes and its name; "" when that tells nothing."""
    head = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith((b"\x89PNG", b"\xff\xd8")):
        return "a picture"
    if head.startswith((b"<", b"\x1f\x8b")):
        return "a drawing"
    if head.startswith(b"{"):
        return "a layout"
    return "a job file" if name.lower().endswith(".toml") else ""


def job_artwork(job: Job) -> Artwork:
    """Return what a job draws: its artwork file, beside the job file, and its texts."""
    folder = Path(job.file).parent
    artwork = None
    if job.artwork is not None:
        named_file(folder / job.artwork, f"{job.artwork_place}: artwork.file")
        artwork = read_artwork(
            str(folder / job.artwork),
            job.width,
            job.height,
            job.dpi,
            job.knock_out,
            job.colours,
            job.text_font,
            folder,
            job.size_of,
            job.rules,
        )
    if not job.texts and artwork is not None:
        return artwork
    from stonelayout.lettering.job_artwork import with_texts

    return with_texts(job, artwork, folder)


def write_result(path: str | None, content: str | bytes) -> None:
    """Write to a file whole or not at all; None or ``-`` is standard output."""
    if path is None or path == STDIN:
        data = content.encode("utf-8") if isinstance(content, str) else content
        sys.stdout.buffer.write(data)
        sys.stdout.flush()
    else:
        write_one(path, content)


def listed(values: Iterable[str]) -> list[str]:
    """Return the names in values given several times, or once with commas between."""
    return [part.strip() for value in values for part in value.split(",") if part.strip()]


def print_json(data: Any) -> None:
    """Print data as JSON on standard output."""
    click.echo(json.dumps(data, ensure_ascii=False, indent=2))


def say(message: str) -> None:
    """Print words for people on standard error."""
    click.echo(message, err=True)


SEVERITY_COLOURS = {"error": "red", "warning": "yellow", "note": "cyan"}


def finding_lines(findings: Iterable[Finding], most: int = 20) -> list[str]:
    """Return findings as lines for the terminal, the most serious first, like ones together."""
    from stonelayout.findings import grouped

    lines = []
    for group in grouped(findings):
        severity = group.first.severity
        worst, more = group.words()
        line = (
            f"{click.style(severity, fg=SEVERITY_COLOURS[severity])}: {worst} [{group.first.code}]"
        )
        lines.append(f"{line} {more}" if more else line)
    if len(lines) > most:
        lines[most:] = [f"... and {len(lines) - most} more (--format json has all)"]
    return lines


def exit_code(findings: Iterable[Finding]) -> int:
    """Return 1 when any finding has severity error, else 0."""
    from stonelayout.findings import has_errors

    return int(has_errors(findings))
