"""A picture (PNG, JPEG) as artwork, through the tracer vtracer (optional extra ``trace``)."""

from __future__ import annotations

import io
import tempfile
from dataclasses import replace
from pathlib import Path

from .artwork import Artwork
from .errors import ArtworkError, MissingExtraError
from .files import read_bytes
from .svg import DEFAULT_MM, read_svg

#: Signatures of the pictures that are traced.
_PNG, _JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
_MOST_COLOURS = 64


def is_picture(data: bytes) -> bool:
    """Tell whether bytes are a PNG or JPEG file."""
    return data.startswith((_PNG, _JPEG))


def trace(
    source: str | Path | bytes,
    *,
    name: str | None = None,
    colours: int = 8,
    width: float | None = None,
    height: float | None = None,
    speckle: int = 4,
    corner: float = 60.0,
    tolerance: float = DEFAULT_MM,
    knock_out: str | None = None,
) -> Artwork:
    """Trace a PNG or JPEG into filled shapes, ``width`` or ``height`` mm in size.

    ``source`` is a path or the file's bytes; ``name`` is what messages call it. The picture is
    reduced to ``colours`` colours, patches under ``speckle`` px across are dropped, and turns
    sharper than ``corner`` degrees stay corners; ``knock_out`` is as in read_svg. Raises
    MissingExtraError without the extra, ArtworkError for a file that is no picture or has no size.
    """
    name = name or ("the picture" if isinstance(source, bytes) else str(source))
    if width is None and height is None:
        raise ArtworkError(
            "a picture has no size in mm: give a width or a height (--width 240mm)", file=name
        )
    if not 2 <= colours <= _MOST_COLOURS:
        raise ArtworkError(f"{colours} colours; give 2 to {_MOST_COLOURS}", file=name)
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
    reduced = flat.convert("RGB").quantize(colours, dither=Image.Dither.NONE).convert("RGB")
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
    artwork = read_svg(
        data, name=name, width=width, height=height, tolerance=tolerance, knockout=knock_out
    )
    note = f"traced from a picture in {colours} colours: look at it before you cut"
    return replace(artwork, notes=(*artwork.notes, note))
