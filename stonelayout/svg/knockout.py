"""Knock-outs: shapes of one colour (the garment's, usually white) cut what lies under them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.model.artwork import Artwork, Shape

from .colours import parse_colour
from .element_regions import Drawn, clipped

BACKGROUND: Final = "background"
#: Places along the page's border that are looked at, how far inside it, as a share of the page,
#: and the share of them that a background must cover.
_PLACES: Final = 400
_INSIDE: Final = 0.002
_MOST_OF_IT: Final = 0.5


def background(artwork: Artwork) -> str:
    """Return the fill that is seen along most of the page's border, as ``#rrggbb``.

    Raises ArtworkError when no one colour covers half of it.
    """
    width, height = artwork.size
    x, y = width * _INSIDE, height * _INSIDE
    border = shapely.box(x, y, width - x, height - y).exterior
    places = shapely.line_interpolate_point(border, np.linspace(0, 1, _PLACES), normalized=True)
    seen = np.full(_PLACES, "", dtype=object)
    for shape in artwork.shapes:
        if shape.area is not None and shape.fill is not None:
            shapely.prepare(shape.area)
            seen[shapely.intersects(shape.area, places)] = shape.fill
    colour, count = Counter(seen.tolist()).most_common(1)[0]
    if not colour or count < _MOST_OF_IT * _PLACES:
        words = "no one colour covers most of the page's border: name the colour to knock out"
        raise ArtworkError(words, file=artwork.file)
    return str(colour)


def knocked_out(artwork: Artwork, colour: str) -> Artwork:
    """Return the artwork with every area filled in ``colour`` taken out of what lies under it.

    The shapes of that colour are dropped; those under them keep what is left of their areas,
    strokes and outlines. ``"background"`` stands for the page's own (see ``background``). Raises
    ArtworkError where ``colour`` is none or nothing would be left.
    """
    if colour == BACKGROUND:
        colour = background(artwork)
    parsed = parse_colour(colour)
    if parsed is None or parsed[0] == "currentcolor":
        raise ArtworkError(f'"{colour}" is no colour to knock out', file=artwork.file)
    kept: list[Shape] = []
    count = 0
    for shape in artwork.shapes:
        if shape.area is not None and shape.fill == parsed[0]:
            count += 1
            kept = list(_under(kept, shape.area))
        else:
            kept.append(shape)
    if not kept:
        raise ArtworkError(f"knocking out {colour} leaves no shape", file=artwork.file)
    lost = len(artwork.shapes) - count - len(kept)
    note = f"{count} shape{'' if count == 1 else 's'} of colour {colour} cut what lies under"
    if lost:
        note += f"; {lost} {'was' if lost == 1 else 'were'} wholly covered and left out"
    return replace(artwork, shapes=tuple(kept), notes=(*artwork.notes, note))


def _under(shapes: Iterable[Shape], hole: BaseGeometry) -> Iterable[Shape]:
    for shape in shapes:
        parts = [part for part in (shape.area, shape.stroke_area) if part is not None]
        if not any(part.intersects(hole) for part in parts):
            yield shape
            continue
        x0, y0, x1, y1 = shape.bounds
        around = hole.envelope.union(parts[0].envelope).buffer(1.0 + x1 - x0 + y1 - y0)
        drawn = clipped(Drawn(shape.area, shape.stroke_area, shape.outline), around - hole)
        left = [part for part in (drawn.area, drawn.stroke_area) if part is not None]
        if any(not part.is_empty for part in left):
            area = drawn.area if drawn.area is not None and not drawn.area.is_empty else None
            edge = drawn.stroke_area
            edge = edge if edge is not None and not edge.is_empty else None
            yield replace(
                shape,
                area=area,
                stroke_area=edge,
                outline=drawn.outline,
                fill=shape.fill if area is not None else None,
                stroke=shape.stroke if edge is not None else None,
            )
