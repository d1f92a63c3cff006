"""All that a layout must pass before it is cut: the verdict of ``stonelayout check``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stonelayout.errors import InputError, LayoutError
from stonelayout.findings import Finding
from stonelayout.geometry.points import Points
from stonelayout.model.catalogue import DEFAULT_SHEET, Catalogue, Sheet, load_catalogue
from stonelayout.model.layer import Layer, Page
from stonelayout.model.layout import Layout
from stonelayout.template.registration import bounds_of, registration
from stonelayout.template.separation import separate
from stonelayout.template.tiling import TILE_OPTION

from .all_checks import all_checks


def run_checks(
    layout: Layout | Iterable[Layer],
    sheet: str | Sheet | None = None,
    catalogue: Catalogue | None = None,
    *,
    tile: bool = False,
    files: Sequence[str] | None = None,
    apart: bool = False,
) -> tuple[Finding, ...]:
    """Return what stands against cutting a layout, or its layers, the most serious first.

    The findings are those of ``stonelayout check`` on the layout's file: webs in each layer,
    stones between layers, tear lines, contrast of stones and sheet, and whether the page with its
    marks fits the sheet's roll. Places are in mm of the layout's frame, y down.

    ``sheet`` is a sheet or its name in ``catalogue``; none: the sheet that the layout was laid
    for, or the usual one where that is not known, as for layers. ``catalogue``: none is the
    packaged one. ``tile``: a design larger than the sheet is cut in tiles, so its size is not
    judged. ``files``, for layers read from SVG files of holes, names the file of each layer: sizes
    that stand in one file are judged as holes of one sheet too, unless they are cut ``apart``; and
    where the names are not those that we give, the holes alone must fit the roll, without our
    marks. Layers are taken in lifting order, by ``Layer.order``. The findings of laying, in
    ``layout.findings``, are not repeated.

    Raises LayoutError for a layout or layers without holes, or whose centres, kinds or diameters
    are no places and sizes in mm; CatalogueError for an unknown sheet; InputError for arguments
    of another type. ``finding_codes.FINDING_CODES`` tells what each code means.
    """
    catalogue = load_catalogue() if catalogue is None else catalogue
    if not isinstance(catalogue, Catalogue):
        raise InputError(f"a catalogue is wanted (see load_catalogue), not {_type(catalogue)}")
    own = layout.sheet if isinstance(layout, Layout) else ""
    sheet = sheet or own or DEFAULT_SHEET
    material = catalogue.sheet(sheet) if isinstance(sheet, str) else sheet
    if not isinstance(material, Sheet):
        raise InputError(f"a sheet or its name is wanted, not {_type(sheet)}")
    layers = [_checked(layer) for layer in _layers(layout, material)]
    names = [f"{layer.name}.svg" for layer in layers] if files is None else list(files)
    if len(names) != len(layers):
        raise InputError(f"{len(layers)} layers and the names of {len(names)} files: give one each")
    pairs = sorted(zip(layers, names, strict=True), key=lambda pair: pair[0].order)
    layers, names = [layer for layer, _ in pairs], [name for _, name in pairs]
    ours = all(name.endswith(f"{layer.name}.svg") for layer, name in pairs)
    page = registration(layers, material).page
    piece = None if tile else page if ours else _around(layers)
    return all_checks(
        layers,
        material,
        catalogue,
        page,
        piece,
        TILE_OPTION,
        given=files is not None,
        files=[] if apart else names,
    )


def _layers(layout: Layout | Iterable[Layer], sheet: Sheet) -> list[Layer]:
    if isinstance(layout, Layout):
        centres = _places(layout.centres, "the layout")
        kind = np.asarray(layout.kind)
        if kind.shape != centres.shape[:1] or not np.isin(kind, np.arange(len(layout.kinds))).all():
            raise LayoutError("kind must hold, for each stone, an index into kinds")
        layout = replace(layout, centres=centres, kind=kind)
        return list(separate(layout.as_written(), sheet))
    if isinstance(layout, str) or not isinstance(layout, Iterable):
        raise InputError(f"a Layout or a sequence of Layers is wanted, not {_type(layout)}")
    layers = list(layout)
    for one in layers:
        if not isinstance(one, Layer):
            raise InputError(f"a sequence of Layers holds one of type {_type(one)}")
    return layers


def _checked(layer: Layer) -> Layer:
    for what, size in (("hole", layer.hole), ("stone", layer.kind.diameter)):
        if not 0 < size < math.inf:
            raise LayoutError(f"layer {layer.name}: a {what} of {size} mm is no size")
    return replace(layer, centres=_places(layer.centres, f"layer {layer.name}"))


def _around(layers: Sequence[Layer]) -> Page:
    """Return the page that just holds all holes."""
    x0, y0, x1, y1 = bounds_of(layers)
    return Page(x1 - x0, y1 - y0, (-x0, -y0))


def _places(centres: npt.ArrayLike, where: str) -> Points:
    """Return centres as floats of shape (n, 2); LayoutError when they are no places in mm."""
    try:
        found = np.asarray(centres, dtype=np.float64)
    except (TypeError, ValueError):
        raise LayoutError(f"{where}: centres must be numbers of mm") from None
    if found.ndim != 2 or found.shape[1] != 2:
        raise LayoutError(f"{where}: centres must have the shape (n, 2), not {found.shape}")
    if not np.isfinite(found).all():
        raise LayoutError(f"{where}: centres hold a number that is not finite")
    return found


def _type(value: object) -> str:
    return type(value).__name__
