"""The drawing of a job: its artwork file at the size asked for, its texts, or both."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from stonelayout.errors import InputError
from stonelayout.files import missing, read_bytes
from stonelayout.laying.design_size import at_size
from stonelayout.model.artwork import Artwork
from stonelayout.model.job import Job, Rule
from stonelayout.reading.drawing import read_drawing
from stonelayout.reading.file_kinds import kind_of_file


def job_artwork(job: Job, data: bytes | None = None) -> Artwork:
    """Return what a job draws: its artwork file, beside the job file, and its texts.

    ``data`` is the artwork file's content, read before; none: it is read here. Raises InputError
    when the file is not there or cannot be used, and when a text cannot be set.
    """
    folder = Path(job.file).parent
    artwork = None
    if job.artwork is not None:
        name = job.artwork
        if data is None:
            path = named_file(folder / name, f"{job.artwork_place}: artwork.file")
            name, data = str(path), read_bytes(path)
        artwork = artwork_at_size(
            data,
            name,
            width=job.width,
            height=job.height,
            dpi=job.dpi,
            knock_out=job.knock_out,
            colours=job.colours,
            text_font=job.text_font,
            folder=folder,
            size_of=job.size_of,
            rules=job.rules,
        )
    if not job.texts and artwork is not None:
        return artwork
    from stonelayout.lettering.job_artwork import with_texts

    return with_texts(job, artwork, folder)


def artwork_at_size(
    data: bytes,
    name: str,
    *,
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
    """Read a drawing's or picture's bytes at the size asked; ``name`` is what messages call it.

    ``text_font`` is for text whose own font is not installed; ``folder`` is where its file is.
    The rest is as for ``read_drawing``, ``size_of`` and ``rules`` as for ``at_size``. Raises
    InputError for a job file or a layout, and what these two raise.
    """
    from stonelayout.lettering.font_matching import Typefaces

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
    if not path.exists():
        raise InputError(f"{place}: {path}: {missing(path)}")
    return path
