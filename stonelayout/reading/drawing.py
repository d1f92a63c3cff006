"""``read_drawing``: any artwork file that is read, a drawing or a picture, by what is in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stonelayout.errors import ArtworkError
from stonelayout.model.artwork import Artwork

if TYPE_CHECKING:
    from stonelayout.svg.font_properties import TextFonts


def read_drawing(
    data: bytes,
    name: str,
    *,
    width: float | None = None,
    height: float | None = None,
    dpi: float = 96.0,
    knock_out: str | None = None,
    colours: int | None = None,
    fonts: TextFonts | None = None,
) -> Artwork:
    """Read the bytes of an SVG, SVGZ, PNG or JPEG file; ``name`` is what messages call it.

    ``width`` and ``height`` in mm scale the page, ``dpi`` is px an inch (SVG). Areas filled in
    the colour ``knock_out`` (``"background"``: the colour seen along most of the page's border)
    cut what lies under them; of a picture the background is left out, unless it is ``"none"``.
    ``colours`` goes with a picture, which is traced; ``fonts`` with the text of a drawing (see
    ``read_svg``). Raises ArtworkError for what cannot be read, MissingExtraError for a picture
    without the extra ``trace``.
    """
    from .tracing import COLOURS, KEEP_ALL, is_picture, trace

    if is_picture(data):
        return trace(
            data,
            name=name,
            colours=COLOURS if colours is None else colours,
            width=width,
            height=height,
            knock_out=knock_out,
        )
    if colours is not None:
        words = "a number of colours goes with a picture (PNG, JPEG); a drawing keeps its own"
        raise ArtworkError(words, file=name)
    from stonelayout.svg import read_svg

    knock_out = None if knock_out == KEEP_ALL else knock_out
    return read_svg(
        data, name=name, width=width, height=height, dpi=dpi, knockout=knock_out, fonts=fonts
    )
