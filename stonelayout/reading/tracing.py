"""A picture (PNG, JPEG) as artwork, through the tracer vtracer (optional extra ``trace``)."""

from __future__ import annotations

import io
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from stonelayout.errors import ArtworkError, MissingExtraError
from stonelayout.files import read_bytes
from stonelayout.model.artwork import Artwork
from stonelayout.svg import DEFAULT_MM, read_svg
from stonelayout.svg.knockout import background
from stonelayout.units import counted, mm

#: Signatures of the pictures that are traced.
_PNG, _JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
FEWEST, _MOST_COLOURS = 2, 64
#: Colours that a picture is reduced to at most when none are asked for.
COLOURS = 8
#: ``knock_out`` that leaves nothing out, not even the background.
KEEP_ALL = "none"
#: Pixels larger than this in mm show as steps along an edge of stones.
COARSE_MM = 0.6
#: Colours no further apart than this, of 441 between black and white, are one: a JPEG writes a flat
#: colour in several.
ALIKE = 16.0
#: A colour with a smaller share of inner pixels is a blend along edges.
BLEND = 0.25


def is_picture(data: bytes) -> bool:
    """Tell whether bytes are a PNG or JPEG file."""
    return data.startswith((_PNG, _JPEG))


def trace(
    source: str | Path | bytes,
    *,
    name: str | None = None,
    colours: int = COLOURS,
    width: float | None = None,
    height: float | None = None,
    speckle: int = 4,
    corner: float = 60.0,
    tolerance: float = DEFAULT_MM,
    knock_out: str | None = None,
) -> Artwork:
    """Trace a PNG or JPEG into filled shapes, ``width`` or ``height`` mm in size.

    ``source`` is a path or the file's bytes; ``name`` is what messages call it. The picture is
    reduced to ``colours`` colours at most, the blends along its edges left out; patches under
    ``speckle`` px across are dropped, and turns sharper than ``corner`` degrees stay corners.
    ``knock_out`` is as in read_svg; without it the background is left out if there is one, unless
    it is ``"none"``. Raises MissingExtraError without the extra, ArtworkError for a file that is
    no picture or has no size.
    """
    name = name or ("the picture" if isinstance(source, bytes) else str(source))
    if width is None and height is None:
        raise ArtworkError(
            "a picture has no size in mm: give a width or a height (--width 240mm)", file=name
        )
    if not FEWEST <= colours <= _MOST_COLOURS:
        raise ArtworkError(f"{colours} colours; give {FEWEST} to {_MOST_COLOURS}", file=name)
    try:
        import vtracer
        from PIL import Image
    except ImportError:
        raise MissingExtraError(
            'tracing needs the extra "trace": pip install "stonelayout[trace]"', file=name
        ) from None
    data = source if isinstance(source, bytes) else read_bytes(source)
    try:
        with Image.open(io.BytesIO(data)) as picture:
            flat = picture.convert("RGBA")
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        raise ArtworkError("not a picture that can be traced (PNG or JPEG)", file=name) from None
    alpha = flat.getchannel("A").point([0] * 128 + [255] * 128)
    many = flat.convert("RGB").quantize(max(4 * colours, 32), dither=Image.Dither.NONE)
    few = few_colours(np.asarray(many), _palette(many), colours)
    reduced = Image.fromarray(few)
    reduced.putalpha(alpha)
    with tempfile.TemporaryDirectory() as folder:
        before, target = Path(folder) / "picture.png", Path(folder) / "traced.svg"
        reduced.save(before)
        vtracer.convert_image_to_svg_py(
            str(before),
            str(target),
            colormode="color",
            hierarchical="cutout",
            mode="spline",
            filter_speckle=speckle,
            color_precision=8,
            layer_difference=0,
            corner_threshold=round(corner),
        )
        data = target.read_bytes()
    sizes: Any = {"name": name, "width": width, "height": height, "tolerance": tolerance}
    left_out = knock_out
    if knock_out is None:
        seen = read_svg(data, **sizes)
        try:
            left_out = background(seen)
        except ArtworkError:
            left_out = KEEP_ALL
    try:
        artwork = read_svg(data, **sizes, knockout=None if left_out == KEEP_ALL else left_out)
    except ArtworkError:
        if knock_out is not None or left_out == KEEP_ALL:
            raise
        words = f"nothing is seen in the picture but its background ({left_out})"
        raise ArtworkError(f"{words}: take a larger or clearer picture", file=name) from None
    notes = list(artwork.notes)
    if knock_out is None and left_out != KEEP_ALL:
        words = f"the background ({left_out}) is left out; --knock-out {KEEP_ALL} keeps it"
        notes = [words if "cut what lies under" in note else note for note in notes]
    number = len(np.unique(few.reshape(-1, 3), axis=0))
    pixel = artwork.size[0] / few.shape[1]
    if pixel > COARSE_MM:
        notes.append(
            f"the picture is coarse: {few.shape[1]} x {few.shape[0]} px, so that a pixel is "
            f"{mm(pixel)} and edges come out in steps; a larger picture gives better ones"
        )
    words = f"traced from a picture in {counted(number, 'colour')}: look at it before you cut"
    if number > FEWEST:
        words += (
            f"; if it shall have fewer, say how many: colours = {number - 1} in the job, or "
            f"--colours {number - 1}"
        )
    notes.append(words)
    return replace(artwork, notes=tuple(notes))


def _palette(picture: Any) -> npt.NDArray[np.uint8]:
    """Return the colours (n, 3) of a picture with a palette."""
    return np.array(picture.getpalette(), dtype=np.uint8).reshape(-1, 3)


def few_colours(
    index: npt.NDArray[np.uint8], palette: npt.NDArray[np.uint8], most: int
) -> npt.NDArray[np.uint8]:
    """Return the colours (h, w, 3) of a picture given by ``index`` (h, w) into ``palette`` (n, 3).

    Two colours that are ALIKE become one. Then the colour with the fewest inner pixels (whose
    four neighbours are of it too) joins the one nearest to it, until ``most`` are left and none
    is a mere blend along the edges of others.
    """
    colour = palette[: int(index.max()) + 1].astype(np.float64)
    apart = np.sqrt(((colour[:, None] - colour) ** 2).sum(axis=2))
    np.fill_diagonal(apart, np.inf)
    around = np.stack([index, *(np.roll(index, step, axis) for axis in (0, 1) for step in (1, -1))])
    alike = (around == index).all(axis=0)
    around = around[:, ~alike]
    pixels = np.bincount(index.ravel(), minlength=len(colour))
    inside = np.bincount(index[alike], minlength=len(colour))
    joins = np.arange(len(colour), dtype=np.uint8)
    while True:
        seen = joins[around]
        inner = seen[0, (seen == seen[0]).all(axis=0)]
        count = np.bincount(joins, pixels, len(colour))
        core = np.bincount(joins, inside, len(colour)) + np.bincount(inner, minlength=len(colour))
        kept = np.flatnonzero(count)
        kept = kept[np.lexsort((kept, core[kept]))]
        if len(kept) < 2:
            break
        between = apart[np.ix_(kept, kept)]
        least = 0
        if between.min() < ALIKE:
            least = int(np.unravel_index(between.argmin(), between.shape)[0])
        elif len(kept) <= most and core[kept[0]] >= BLEND * count[kept[0]]:
            break
        joins[joins == kept[least]] = kept[between[least].argmin()]
    found: npt.NDArray[np.uint8] = palette[joins[index]]
    return found
