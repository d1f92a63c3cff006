"""Render a gallery of artworks x patterns x stone sizes: python benchmarks/gallery.py FOLDER.

Writes one SVG for each pattern and size (and a PNG where resvg_py is installed).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import shapely

from benchmarks.gallery_shapes import Art, shapes
from stonelayout.errors import StoneLayoutError
from stonelayout.laying.lay import lay
from stonelayout.model.artwork import Artwork
from stonelayout.model.catalogue import DEFAULT_SHEET, load_catalogue
from stonelayout.model.job import Pick, Rule
from stonelayout.model.layout import Layout
from stonelayout.model.pattern_options import PATTERNS

SIZES = ("ss6", "ss10", "ss16")
#: The looks: a name, a pattern and its options. Patterns that take one column each.
LOOKS = {
    "edge": ("edge", {}),
    "edge-on": ("edge", {"where": "on"}),
    "edge-2-rows": ("edge", {"rows": 2}),
    "spine": ("spine", {}),
    "lattice": ("lattice", {}),
    "courses": ("courses", {}),
    "even": ("even", {}),
    "even-edge-row": ("even", {"edge_row": True}),
    "graded": ("graded", {}),
    "edge-sizes": ("edge", {}),
    "edge-2-rows-sizes": ("edge", {"rows": 2}),
    "spine-sizes": ("spine", {}),
}
#: Looks of several sizes: the one asked for with two smaller ones.
SEVERAL = {"graded", "edge-sizes", "edge-2-rows-sizes", "spine-sizes"}
SMALLER = {"ss6": ("ss4", "ss3"), "ss10": ("ss8", "ss6"), "ss16": ("ss12", "ss8")}
GAP_MM = 0.4
#: Fills of the sizes of a look.
FILLS = ("#9fc2e8", "#f0c36a", "#e58a8a")


def render(art: Art, layout: Layout | None, x: float, y: float) -> Iterable[str]:
    """Yield SVG elements of one artwork with its stones, its top left moved to (x, y)."""
    low = np.min([shape.bounds[:2] for shape in art], axis=0)
    yield f'<g transform="translate({x - low[0]:.3f} {y - low[1]:.3f})">'
    for shape in art:
        for part in shapely.get_parts(shape.area) if shape.area is not None else ():
            rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else []
            text = " ".join(
                "M" + " L".join(f"{a:.3f},{b:.3f}" for a, b in ring.coords) + "Z" for ring in rings
            )
            yield f'<path d="{text}" fill="#dfe6ee" fill-rule="evenodd"/>'
        for line in shape.outline:
            text = "M" + " L".join(f"{a:.3f},{b:.3f}" for a, b in line.points)
            yield (
                f'<path d="{text}{"Z" if line.closed else ""}" fill="none" stroke="#c33" '
                'stroke-width="0.1"/>'
            )
    if layout is not None:
        drawn = zip(layout.centres, layout.diameters, layout.kind, strict=True)
        for (cx, cy), diameter, kind in drawn:
            fill = FILLS[kind % len(FILLS)]
            yield (
                f'<circle cx="{cx:.4f}" cy="{cy:.4f}" r="{diameter / 2:.3f}" fill="{fill}" '
                'stroke="#234" stroke-width="0.12"/>'
            )
    yield "</g>"


def sheet_of(look: str, size: str, only: set[str]) -> str:
    """Return the SVG text of one look at one size: all artworks in rows."""
    catalogue = load_catalogue()
    pattern, given = LOOKS[look]
    names = (size, *(SMALLER.get(size, ()) if look in SEVERAL else ()))
    stones = tuple(catalogue.stone(name) for name in names)
    options = {**PATTERNS[pattern].defaults(), **given}
    pitch = stones[0].diameter + GAP_MM
    rule = Rule(
        pick=Pick(all=True),
        stones=stones,
        pitches=tuple(stone.diameter + GAP_MM for stone in stones),
        colour="crystal",
        pattern=pattern,
        options=options,
        key=look,
        place=look,
    )
    parts: list[str] = []
    x, y, tall, wide = 5.0, 9.0, 0.0, 0.0
    for name, art in shapes(pitch).items():
        if only and name not in only:
            continue
        boxes = np.array([shape.bounds for shape in art])
        width = float(boxes[:, 2].max() - boxes[:, 0].min())
        height = float(boxes[:, 3].max() - boxes[:, 1].min())
        if x + width > 330 and x > 5:
            x, y, tall = 5.0, y + tall + 14, 0.0
        note = ""
        layout = None
        try:
            artwork = Artwork(tuple(art), (width, height))
            layout = lay(artwork, [rule], catalogue.sheet(DEFAULT_SHEET))
            note = f"{len(layout)} stones"
        except StoneLayoutError as error:
            note = str(error).split(":")[0]
        parts.extend(render(art, layout, x, y))
        parts.append(f'<text x="{x:.1f}" y="{y - 3:.1f}" font-size="3.4">{name}: {note}</text>')
        x, tall, wide = x + width + 10, max(tall, height), max(wide, x + width + 10)
    total = y + tall + 5
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.1f}mm" height="{total:.1f}mm" '
        f'viewBox="0 0 {wide:.1f} {total:.1f}" font-family="DejaVu Sans">'
        '<rect width="100%" height="100%" fill="white"/>' + "".join(parts) + "</svg>\n"
    )


def main() -> None:
    """Write the gallery."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--look", action="append", choices=sorted(LOOKS))
    ask.add_argument("--size", action="append")
    ask.add_argument("--shape", action="append", default=[])
    ask.add_argument("--scale", type=float, default=6.0, help="pixels for each mm in PNG files")
    given = ask.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    for look in given.look or [name for name in LOOKS if LOOKS[name][0] in PATTERNS]:
        for size in given.size or SIZES:
            text = sheet_of(look, size, set(given.shape))
            target = given.folder / f"{look}-{size}.svg"
            target.write_text(text, encoding="utf-8")
            try:
                import resvg_py
            except ImportError:
                continue
            width = round(float(text.split('width="', 1)[1].split("mm", 1)[0]) * given.scale)
            picture = resvg_py.svg_to_bytes(svg_string=text, width=width, dpi=96)
            target.with_suffix(".png").write_bytes(bytes(picture))
            sys.stdout.write(f"{target}\n")


if __name__ == "__main__":
    main()
