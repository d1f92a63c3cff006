"""Registration: the page that all layers share, and the marks outside the artwork."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from stonelayout.errors import LayoutError
from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import Layer, Mark, Page, Place, Registration

#: Height and width of a mark in mm: seen at arm's length, and small beside the artwork.
MARK_MM = 6.0
#: Least distance in mm from a mark to a hole; two webs where that is more.
CLEAR_MM = 2.0
#: Sheet left outside the marks on every side, in mm.
MARGIN_MM = 5.0
#: Id of the register edge in a cut file: by it our own files are known.
EDGE = "register-edge"
#: Ids of the groups of marks that we write, one or one a template of a panel, and of the outline.
MARKS_ID = re.compile(r"registration(-.*)?\Z")
OUTLINE = "outline"
#: Length in mm of the foot of the register edge, where the tape's corner is set.
FOOT_MM = 12.0
#: Crosses (or pins) stand on a right triangle whose legs differ by this at least, in mm, so that
#: they fit in one way only; a cross further off than this is seen.
UNLIKE_MM = 8.0
#: Places that are equal on paper may differ by this in mm, from adding floats.
_ROUNDING_MM = 1e-9


def bounds_of(layers: Sequence[Layer]) -> tuple[float, float, float, float]:
    """Return the box (x0, y0, x1, y1) in mm around all holes; LayoutError when there are none."""
    boxes = [
        (
            *(layer.centres.min(axis=0) - layer.hole / 2),
            *(layer.centres.max(axis=0) + layer.hole / 2),
        )
        for layer in layers
        if len(layer)
    ]
    if not boxes:
        raise LayoutError("there are no holes: nothing to cut")
    x0, y0, x1, y1 = zip(*boxes, strict=True)
    return float(min(x0)), float(min(y0)), float(max(x1)), float(max(y1))


def registration(
    layers: Sequence[Layer],
    sheet: Sheet,
    *,
    pin: float = 0.0,
    drawn: bool = False,
    mirrored: bool = False,
    outline: bool = False,
    scale: Place = (1.0, 1.0),
) -> Registration:
    """Return the page around all holes and the marks on it, the same for every layer.

    The register edge runs along the left, with a foot at the bottom; the key stands top left,
    crosses top right, bottom right and bottom left. ``pin`` (mm) puts pin holes in place of the
    crosses; ``scale`` is what x and y are multiplied by (see ``scale_from_bar``). Raises
    LayoutError for no holes, or a pin or scale out of bounds.
    """
    if not 0 <= pin <= 20:
        raise LayoutError(f"a pin hole of {pin:g} mm; give 0 (none) to 20 mm")
    if not all(0.9 <= factor <= 1.1 for factor in scale):
        raise LayoutError("a scale correction of more than 10 %: measure the test bar again")
    x0, y0, x1, y1 = bounds_of(layers)
    clear = max(CLEAR_MM, 2 * sheet.least_web)
    half = max(MARK_MM, pin) / 2
    left = x0 - clear
    right = max(x1, x0 + 4 * half + 2 * UNLIKE_MM + clear)
    top, bottom = y0 - clear - half, y1 + clear + half
    foot = bottom + half + clear
    third = x0 + half
    if abs((right - half - third) - (bottom - top)) < UNLIKE_MM:
        third += 2 * UNLIKE_MM
    crosses = ((right - half, top), (right - half, bottom), (third, bottom))
    marks = [
        Mark(EDGE, (((left, top - half), (left, foot), (left + FOOT_MM, foot)),)),
        _key(x0, top - MARK_MM / 2),
    ]
    if not pin or drawn:
        marks += [cross(f"cross-{i}", at) for i, at in enumerate(crosses, start=1)]
    offset = tuple(float(math.ceil(MARGIN_MM - low - _ROUNDING_MM)) for low in (left, top - half))
    page = Page(
        width=float(math.ceil(right + MARGIN_MM + offset[0] - _ROUNDING_MM)),
        height=float(math.ceil(foot + MARGIN_MM + offset[1] - _ROUNDING_MM)),
        offset=(offset[0], offset[1]),
        mirrored=mirrored,
        scale=scale,
    )
    return Registration(page, tuple(marks), crosses if pin else (), pin, drawn, outline)


def _key(x: float, y: float) -> Mark:
    """Return an F with its top left corner here: no turn and no mirror maps it to itself."""
    wide, middle = MARK_MM * 0.6, y + MARK_MM * 0.45
    return Mark(
        "key",
        (
            ((x, y + MARK_MM), (x, y), (x + wide, y)),
            ((x, middle), (x + wide * 0.75, middle)),
        ),
    )


def cross(name: str, at: Place) -> Mark:
    """Return a cross whose middle is here, in mm of the layout's frame."""
    (x, y), half = at, MARK_MM / 2
    return Mark(name, (((x - half, y), (x + half, y)), ((x, y - half), (x, y + half))))


def scale_from_bar(asked: Place, measured: Place) -> Place:
    """Return the correction along x and y from a test bar: length asked over length measured.

    Lengths in mm. Raises LayoutError unless all are positive and within 10 % of each other.
    """
    if min(*asked, *measured) <= 0:
        raise LayoutError("the lengths of a test bar must be above 0")
    x, y = (want / got for want, got in zip(asked, measured, strict=True))
    if not all(0.9 <= factor <= 1.1 for factor in (x, y)):
        raise LayoutError("the test bar is more than 10 % off: check units and measure again")
    return x, y
