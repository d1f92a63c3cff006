"""``read_svg``: from the bytes of a drawing to an Artwork."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.files import read_bytes
from stonelayout.geometry.flattening import CHORD_ERROR_MM, transformed
from stonelayout.model.artwork import Artwork, Shape, Skipped

from . import unsupported
from .cascade import Cascade
from .context import Context, Visit, located
from .css_values import IDENTITY
from .document import read_tree
from .element_regions import (
    LEAST_SCALE,
    Drawn,
    clipped,
    filled,
    flattened,
    lines_of,
    pen_of,
    scales,
    stroked,
)
from .font_properties import TextFonts
from .knockout import knocked_out
from .page_size import PageSize, page_size
from .paint import resolve
from .traversal import Traversal

#: Chord error in mm when none is asked for.
DEFAULT_MM: Final = CHORD_ERROR_MM
#: Chord errors that make sense, in mm.
_TOLERANCES: Final = (1e-6, 10.0)
_DPI: Final = (1.0, 10_000.0)


def read_svg(
    source: str | Path | bytes,
    *,
    name: str | None = None,
    width: float | None = None,
    height: float | None = None,
    dpi: float = 96.0,
    tolerance: float = DEFAULT_MM,
    knockout: str | None = None,
    fonts: TextFonts | None = None,
) -> Artwork:
    """Read an SVG or SVGZ drawing.

    ``source`` is a path, or the bytes of a file; ``name`` is what messages call it. ``width`` and
    ``height`` (mm) scale the page; ``dpi`` is how many px an inch has. Curves are flattened to
    ``tolerance`` mm of chord error. Areas filled in the colour ``knockout`` (the garment's, e.g.
    ``"white"``; ``"background"``: the one along the page's border) cut what lies under them
    instead of being shapes. ``fonts`` (see ``lettering.font_matching``) finds the fonts
    with which text is read as outlines; None: text is skipped, and named. Raises ArtworkError,
    with file, line and element where there are any, for a file that cannot be read or draws
    nothing.
    """
    if isinstance(source, bytes):
        data, file = source, name or "the drawing"
    else:
        data, file = read_bytes(source), name or str(source)
    if not _TOLERANCES[0] <= tolerance <= _TOLERANCES[1]:
        raise ArtworkError(f"a chord error of {tolerance:g} mm makes no sense", file=file)
    if not (math.isfinite(dpi) and _DPI[0] <= dpi <= _DPI[1]):
        raise ArtworkError(f"{dpi:g} px an inch makes no sense (usual: 96; old: 72, 90)", file=file)
    try:
        artwork = _read(data, file, width, height, dpi, tolerance, fonts)
        return artwork if knockout is None else knocked_out(artwork, knockout)
    except ArtworkError as error:
        error.in_file(file)
        raise
    except RecursionError:
        raise ArtworkError("its styles or references are nested too deep", file=file) from None


def _read(
    data: bytes,
    file: str,
    width: float | None,
    height: float | None,
    dpi: float,
    tolerance: float,
    fonts: TextFonts | None,
) -> Artwork:
    root = read_tree(data, file)
    page = page_size(root, width=width, height=height, dpi=dpi, file=file)
    context = Context(root, Cascade(root, dpi), dpi, tolerance, fonts)
    shapes = _ShapeList(context, page)
    for visit in Traversal(context).shapes(page.matrix, page.viewport):
        try:
            shapes.add(visit)
        except ArtworkError as error:
            raise located(error, visit.node) from None
        except shapely.GEOSException as error:
            problem = ArtworkError(f"its outline cannot be worked out ({error})")
            raise located(problem, visit.node) from None
    skipped = context.skipped.entries()
    if not shapes.found:
        raise ArtworkError(_nothing(skipped), file=file)
    notes = (*page.notes, *context.notes, *context.cascade.notes, *shapes.closing_notes())
    return Artwork(tuple(shapes.found), page.size, page.size_from, skipped, notes, file)


def _nothing(skipped: tuple[Skipped, ...]) -> str:
    if not skipped:
        return "the drawing has no shapes"
    seen = Counter[tuple[str, str]]()
    for entry in skipped:
        seen[entry.what, entry.reason] += entry.count
    parts = [f"{count} x <{what}>: {reason}" for (what, reason), count in seen.most_common(3)]
    return "the drawing has no shapes that can be read; " + "; ".join(parts)


@dataclass(eq=False)
class _ShapeList:
    """Turns visits into shapes with unique ids."""

    context: Context
    page: PageSize
    found: list[Shape] = field(default_factory=list)
    names: Counter[str] = field(default_factory=Counter)
    ids: set[str] = field(default_factory=set)
    beyond: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.ids = {""}
        self.taken = set(self.context.ids)

    def add(self, visit: Visit) -> None:
        """Add the shape of one element, or say why there is none."""
        context, node, state = self.context, visit.node, visit.state
        properties = state.properties
        if visit.problem:
            drawn = "; it was read up to there" if visit.subpaths else ": it is not drawn"
            context.skip(node, state, f"{visit.problem}{drawn}")
        if not visit.subpaths:
            return
        if properties["visibility"] != "visible":
            context.skip(node, state, unsupported.INVISIBLE)
            return
        paints = {}
        for name in ("fill", "stroke"):
            paints[name] = resolve(name, properties, context.ids, context.cascade)
        if paints["fill"].colour is None and paints["stroke"].colour is None:
            context.skip(node, state, unsupported.UNPAINTED)
            return
        geometry, pen_width = self._geometry(
            visit, paints["fill"].colour is not None, paints["stroke"].colour is not None
        )
        if geometry.area is None and geometry.stroke_area is None:
            context.skip(node, state, unsupported.NO_AREA)
            return
        if state.clip is not None:
            geometry = clipped(geometry, state.clip)
        area = _some(geometry.area)
        edge = _some(geometry.stroke_area)
        if area is None and edge is None:
            context.skip(node, state, unsupported.CLIPPED_AWAY)
            return
        shape = Shape(
            id=self._name(visit),
            layer=state.layer,
            layer_id=state.layer_id,
            fill=paints["fill"].colour if area is not None else None,
            stroke=paints["stroke"].colour if edge is not None else None,
            stroke_width=pen_width if edge is not None else 0.0,
            area=area,
            outline=geometry.outline,
            stroke_area=edge,
            line=node.line,
            tag=node.tag,
            groups=state.groups,
        )
        if not self._on_page(shape, visit):
            return
        for paint in paints.values():
            if paint.note:
                context.skip(node, state, paint.note, drawn=True)
        self.found.append(shape)

    def _geometry(self, visit: Visit, has_fill: bool, has_stroke: bool) -> tuple[Drawn, float]:
        matrix, properties = visit.state.matrix, visit.state.properties
        flats = flattened(visit.subpaths, matrix, self.context.tolerance)
        area = edge = None
        width, line_pen = 0.0, None
        if has_fill and visit.node.tag != "line":
            area = _some(filled(flats, matrix, properties["fill-rule"]))
        if has_stroke:
            largest, smallest = scales(matrix)
            error = self.context.tolerance / max(largest, LEAST_SCALE)
            fixed = properties["vector-effect"] == "non-scaling-stroke"
            pen = pen_of(properties, visit.units, error)
            if pen is not None and fixed:
                pen = pen_of(properties, visit.units, self.context.tolerance, self.page.mm_per_px)
                placed = [transformed(path, matrix) for path in visit.subpaths]
                placed_flats = flattened(placed, IDENTITY, self.context.tolerance)
                edge = _some(stroked(placed_flats, IDENTITY, pen)) if pen else None
                width = pen.width if pen else 0.0
                line_pen = width * IDENTITY[:, :2]
            elif pen is not None:
                edge = _some(stroked(flats, matrix, pen))
                width = pen.width * (largest * smallest) ** 0.5
                line_pen = pen.width * matrix[:, :2]
        outline = lines_of(flats, matrix, line_pen)
        return Drawn(area, edge, outline), width

    def _name(self, visit: Visit) -> str:
        own = visit.state.use_id or visit.node.attrib.get("id", "")
        tag = visit.node.tag
        if own and own not in self.ids:
            name = own
        else:
            stem = own or tag
            name = ""
            while not name or name in self.ids or (name in self.taken):
                self.names[stem] += 1
                count = self.names[stem] + (1 if own else 0)
                name = f"{stem}-{count}"
        self.ids.add(name)
        return name

    def _on_page(self, shape: Shape, visit: Visit) -> bool:
        x0, y0, x1, y1 = shape.bounds
        width, height = self.page.size
        if x1 <= 0.0 or y1 <= 0.0 or x0 >= width or y0 >= height:
            self.context.skip(visit.node, visit.state, unsupported.OFF_PAGE)
            return False
        slack = 1.0 + shape.stroke_width
        if x0 < -slack or y0 < -slack or x1 > width + slack or y1 > height + slack:
            self.beyond.append(shape.id)
        return True

    def closing_notes(self) -> Iterable[str]:
        """Return what is to say about the drawing as a whole."""
        if self.beyond:
            some = ", ".join(self.beyond[:3]) + (", ..." if len(self.beyond) > 3 else "")
            count = len(self.beyond)
            yield (
                f"{count} shape{'s' if count > 1 else ''} reach{'' if count > 1 else 'es'} beyond "
                f"the page and {'were' if count > 1 else 'was'} kept whole: {some}"
            )


def _some(region: BaseGeometry | None) -> BaseGeometry | None:
    return None if region is None or region.is_empty else region
