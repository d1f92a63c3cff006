"""The physical size of the page, and the root's viewport."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from stonelayout.errors import ArtworkError
from stonelayout.units import MM_PER_INCH

from .css_values import IDENTITY, Matrix, parse_length, split_length
from .document import Node
from .viewbox import fit, view_box

#: How far, relatively, asked width and height may disagree with the drawing's own proportions.
_SAME_ASPECT: Final = 1e-3
#: Largest page in mm: ten metres of roll is already far more than a garment.
_LARGEST_PAGE: Final = 1e5


@dataclass(frozen=True)
class PageSize:
    """The page in mm, where that came from, the matrix from root user units, root viewport.

    ``mm_per_px`` is the size of a px of the page, for strokes that do not scale.
    """

    size: tuple[float, float]
    size_from: str
    matrix: Matrix
    viewport: tuple[float, float]
    mm_per_px: float
    notes: tuple[str, ...] = ()


def page_size(
    root: Node, *, width: float | None, height: float | None, dpi: float, file: str
) -> PageSize:
    """Find the physical size of the drawing. Raises ArtworkError where there is none."""
    box = view_box(root)
    if "viewBox" in root.attrib and box is None:
        box_problem: tuple[str, ...] = ("the viewBox cannot be used and was passed over",)
    else:
        box_problem = ()
    own_width, own_height = (_root_length(root, name, dpi, file) for name in ("width", "height"))
    px, size_from, notes = _pixels(own_width, own_height, box, dpi)
    if px is None:
        raise ArtworkError(
            "the drawing has neither width and height nor a viewBox, so it has no size; "
            "set the page size in the drawing program",
            file=file,
            line=root.line,
            element="<svg>",
        )
    mm = px[0] * MM_PER_INCH / dpi, px[1] * MM_PER_INCH / dpi
    scale, asked = _asked(mm, width, height, file)
    if asked:
        size_from, notes = asked, ()
    elif _only_px(root) and not notes:
        size_from = f"{size_from} in px at {dpi:g} px an inch"
        if dpi == 96.0:
            notes = (
                "the drawing's size is in px, read at 96 px an inch; give --width for another "
                "size, or --dpi for files of old programs (72, 90)",
            )
    size = round(mm[0] * scale, 9), round(mm[1] * scale, 9)
    if not 0.0 < max(size) <= _LARGEST_PAGE or min(size) <= 0.0:
        raise ArtworkError(
            f"a page of {size[0]:g} x {size[1]:g} mm is no size to work with",
            file=file,
            line=root.line,
            element="<svg>",
        )
    factor = MM_PER_INCH / dpi * scale
    if box is None:
        inner = IDENTITY
        viewport = px
    else:
        inner = fit(box, px[0], px[1], root.attrib.get("preserveAspectRatio", ""))
        viewport = box[2], box[3]
    return PageSize(size, size_from, inner * factor, viewport, factor, (*notes, *box_problem))


def _root_length(root: Node, name: str, dpi: float, file: str) -> float | None:
    """Return px; None where the file leaves it to the viewer (absent, auto, per cent)."""
    text = root.attrib.get(name, "").strip()
    if not text or text == "auto" or text.endswith("%"):
        return None
    value = parse_length(text, dpi=dpi)
    if value is None or value <= 0.0:
        raise ArtworkError(
            f'{name}="{text}" is no size to work with',
            file=file,
            line=root.line,
            element="<svg>",
        )
    return value


def _pixels(
    width: float | None,
    height: float | None,
    box: tuple[float, float, float, float] | None,
    dpi: float,
) -> tuple[tuple[float, float] | None, str, tuple[str, ...]]:
    if width is not None and height is not None:
        return (width, height), "width/height", ()
    if box is not None:
        if width is not None:
            return (width, width * box[3] / box[2]), "width and viewBox", ()
        if height is not None:
            return (height * box[2] / box[3], height), "height and viewBox", ()
        note = (
            f"the drawing has only a viewBox and so no physical size: read at {dpi:g} px an inch; "
            "give --width"
        )
        return (box[2], box[3]), f"viewBox at {dpi:g} px an inch", (note,)
    if width is not None or height is not None:
        side = width if width is not None else height
        assert side is not None  # noqa: S101  # one of the two is given
        return (side, side), "width/height", ("only one side of the page is given: read as square",)
    return None, "", ()


def _only_px(root: Node) -> bool:
    given = [split_length(root.attrib.get(name)) for name in ("width", "height")]
    return all(part[1] in ("", "px") for part in given if part)


def _asked(
    mm: tuple[float, float], width: float | None, height: float | None, file: str
) -> tuple[float, str]:
    for name, value in (("width", width), ("height", height)):
        if value is not None and not 0.0 < value <= _LARGEST_PAGE:
            raise ArtworkError(f"a {name} of {value:g} mm is no size to work with", file=file)
    if width is not None and height is not None:
        meant = width * mm[1] / mm[0]
        if abs(meant - height) > _SAME_ASPECT * max(meant, height):
            raise ArtworkError(
                f"{width:g} x {height:g} mm does not fit the drawing's proportions: "
                f"{width:g} mm wide is {meant:.2f} mm high; give one of the two",
                file=file,
            )
    if width is not None:
        return width / mm[0], "width asked"
    if height is not None:
        return height / mm[1], "height asked"
    return 1.0, ""
