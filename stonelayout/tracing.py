"""A picture (PNG, JPEG) as artwork, through the tracer vtracer (optional extra ``trace``)."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

from .artwork import Artwork
from .errors import ArtworkError, MissingExtraError
from .svg import DEFAULT_MM, read_svg

#: Signatures of the pictures that are traced.
_PNG, _JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
_MOST_COLOURS = 64


def is_picture(data: bytes) -> bool:
    """Tell whether bytes are a PNG or JPEG file."""
    return data.startswith((_PNG, _JPEG))


def trace(
    path: str | Path,
    *,
    colours: int = 8,
    width: float | None = None,
    height: float | None = None,
    speckle: int = 4,
    corner: float = 60.0,
    tolerance: float = DEFAULT_MM,
) -> Artwork:
    """Trace a PNG or JPEG into filled shapes, ``width`` or ``height`` mm in size.

    The picture is reduced to ``colours`` colours, patches under ``speckle`` px across are dropped,
    and turns sharper than ``corner`` degrees stay corners. Raises MissingExtraError without the
    extra, ArtworkError for a file that is no picture or has no size.
    """
    name = str(path)
    if width is None and height is None:
        raise ArtworkError("a picture has no size in mm: give a width or a height", file=name)
    if not 2 <= colours <= _MOST_COLOURS:
        raise ArtworkError(f"{colours} colours; give 2 to {_MOST_COLOURS}", file=name)
    try:
        import vtracer
        from PIL import Image
    except ImportError:
        raise MissingExtraError(
            'tracing needs the extra "trace": pip install "stonelayout[trace]"', file=name
        ) from None
    try:
        with Image.open(path) as picture:
            flat = picture.convert("RGBA")
    except OSError:
        raise ArtworkError("not a picture that can be traced (PNG or JPEG)", file=name) from None
    alpha = flat.getchannel("A").point([0] * 128 + [255] * 128)
    reduced = flat.convert("RGB").quantize(colours, dither=Image.Dither.NONE).convert("RGB")
    reduced.putalpha(alpha)
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "picture.png", Path(folder) / "traced.svg"
        reduced.save(source)
        vtracer.convert_image_to_svg_py(
            str(source),
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
    artwork = read_svg(data, name=name, width=width, height=height, tolerance=tolerance)
    note = f"traced from a picture in {colours} colours: look at it before you cut"
    return replace(artwork, notes=(*artwork.notes, note))
