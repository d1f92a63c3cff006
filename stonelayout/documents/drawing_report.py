"""What a drawing holds, for ``inspect``: its shapes measured, and which stones to try first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from stonelayout.geometry.regions import local_width_range
from stonelayout.model.artwork import Artwork, Shape
from stonelayout.model.catalogue import Catalogue, Stone
from stonelayout.units import counted, mm, number

#: From this many rows across, a regular grid reads as well as rows along the outline.
_WIDE_ROWS: Final = 8
#: Room across, in pitches, from which stones fit in a zigzag, and from which in two rows staggered
#: as closely as along each (the height of an equilateral triangle; the spine pattern agrees).
_ZIGZAG, _TWO_ROWS = 0.5, 0.866
#: Larger stones are rare on garments, so none is suggested (common practice, no source).
_LARGE_MM: Final = 5.0
#: Nor are two rows of stones under this, SS6 and its range, where one row of larger ones fits.
_SMALL_MM: Final = 1.9
#: A shape that covers this share of the page is taken for the background.
_BACKGROUND: Final = 0.98
#: The narrower parts of a stroke have this share of its mean width, 2 area / outline.
_BODY: Final = 0.9


@dataclass(frozen=True)
class ShapeMeasures:
    """One shape with its figures: lengths in mm, areas in mm²."""

    shape: Shape
    area: float
    length: float
    bbox: tuple[float, float, float, float]
    width_range: tuple[float, float] | None

    def as_dict(self) -> dict[str, Any]:
        """Return the shape as it stands in ``inspect --format json``."""
        shape = self.shape
        return {
            "id": shape.id,
            "layer": shape.layer,
            "fill": shape.fill,
            "stroke": shape.stroke,
            "stroke_width": round(shape.stroke_width, 4),
            "kind": shape.kind,
            "area": round(self.area, 4),
            "length": round(self.length, 4),
            "bbox": [round(value, 4) for value in self.bbox],
            "width_range": self.width_range and [round(value, 3) for value in self.width_range],
            "line": shape.line,
        }


def measure_shape(shape: Shape) -> ShapeMeasures:
    """Measure one shape: the width range of its area, or of its drawn line where it has none."""
    region = shape.area if shape.area is not None else shape.stroke_area
    return ShapeMeasures(
        shape=shape,
        area=float(shape.area.area) if shape.area is not None else 0.0,
        length=sum(line.length for line in shape.outline),
        bbox=shape.bounds,
        width_range=(
            local_width_range(region)
            if shape.area is not None and region is not None
            else (shape.stroke_width, shape.stroke_width)
        ),
    )


def drawing_report(artwork: Artwork, measured: Iterable[ShapeMeasures]) -> dict[str, Any]:
    """Return the drawing and its shapes as plain data: what ``inspect --format json`` prints."""
    measured = list(measured)
    layers: dict[str, int] = {}
    for shape in artwork.shapes:
        layers[shape.layer] = layers.get(shape.layer, 0) + 1
    return {
        "version": 1,
        "unit": "mm",
        "file": artwork.file,
        "size": list(artwork.size),
        "size_from": artwork.size_from,
        "layers": [{"name": name, "shapes": count} for name, count in layers.items()],
        "shapes": [item.as_dict() for item in measured],
        "skipped": [entry.as_dict() for entry in artwork.skipped],
        "notes": list(artwork.notes),
    }


def suggestions(
    artwork: Artwork, measured: Iterable[ShapeMeasures], catalogue: Catalogue
) -> list[str]:
    """Return what to try first, by local width: the largest stone that fits, and a pattern."""
    measured = list(measured)
    sheet = next(iter(catalogue.sheets.values()))
    stones = sorted(catalogue.stones.values(), key=lambda stone: stone.diameter)
    out: list[str] = []
    if "viewBox at" in artwork.size_from:
        out.append("give the finished width: --width 240mm")
    page = artwork.size[0] * artwork.size[1]
    background = [
        item.shape.id for item in measured if len(measured) > 1 and item.area >= _BACKGROUND * page
    ]
    out += [
        f"{name}: covers the whole page; is it the background? Then delete it, or leave it out of "
        "what the rules pick"
        for name in background
    ]
    groups: dict[tuple[str, str], list[str]] = {}
    for item in measured:
        words: tuple[str, str]
        if item.width_range is None or item.shape.id in background:
            continue
        if item.shape.kind == "line":
            words = ("edge", "any size; a row stands on the line itself")
        else:
            least, greatest = item.width_range
            if least < stones[0].diameter:  # its tips are thinner than any stone
                least = min(greatest, _BODY * 2 * item.area / item.length)
            fitting = [stone for stone in stones if stone.diameter <= min(least, _LARGE_MM)]
            if not fitting:
                words = (
                    "",
                    f"too narrow for the smallest stone ({mm(greatest)}): make it wider",
                )
            else:
                # two rows in the narrowest place look best; one is the least
                two = [stone for stone in fitting if least >= 2 * stone.diameter + _gap(sheet)]
                small = two and two[-1].diameter < _SMALL_MM <= fitting[-1].diameter
                stone = (fitting if small or not two else two)[-1]
                rows = 1 + int(_across(greatest, stone, sheet))
                staggered = [s for s in fitting if _across(greatest, s, sheet) >= _ZIGZAG]
                also = ""
                if rows == 1 and staggered:
                    two_rows = _across(greatest, staggered[-1], sheet) >= _TWO_ROWS
                    how = "two rows staggered" if two_rows else "a zigzag"
                    also = f"; {staggered[-1].name} in {how}"
                wide = rows >= _WIDE_ROWS
                words = (
                    "lattice or courses" if wide else "courses",
                    f"{stone.name} or smaller ({_span(item.width_range)} wide, "
                    f"{counted(rows, 'row')} where widest{also})",
                )
        groups.setdefault(words, []).append(item.shape.id)
    for (pattern, advice), ids in groups.items():
        some = ", ".join(ids[:3]) + (f" and {len(ids) - 3} more" if len(ids) > 3 else "")
        out.append(f"{some}: {pattern + ', ' if pattern else ''}{advice}")
    return out


def _span(width_range: tuple[float, float]) -> str:
    """Return a width range in words: one width where both ends read the same."""
    low, high = (number(width, 1) for width in width_range)
    return f"{high} mm" if low == high else f"{low} to {high} mm"


def _across(width: float, stone: Stone, sheet: Any) -> float:
    """Return the room across for a stone's centre, in pitches."""
    return float((width - stone.diameter) / (stone.diameter + _gap(sheet)))


def _gap(sheet: Any) -> float:
    """Return the least gap between stones: web and clearance together."""
    return float(sheet.least_web + sheet.clearance)
