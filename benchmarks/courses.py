"""Time and figures of `courses`: letters at several stem widths, bars, blobs, and growth.

Run: python benchmarks/courses.py
"""

import json
import math
import time
from pathlib import Path

import numpy as np
import shapely
from shapely import affinity

from stonelayout.geometry.fill_measures import measure_fill
from stonelayout.geometry.neighbours import nearest_distances
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.courses.courses import lay_courses

PITCH, STONE = 3.3, 2.8
DATA = Path(__file__).parent.parent / "tests" / "data" / "glyphs.json"


def glyph(rings: list, stem: float) -> shapely.Geometry:
    """Return a glyph whose upright stems are so many pitches wide."""
    whole = shapely.union_all([shapely.Polygon(r[0], r[1:]) for r in rings])
    return affinity.scale(whole, stem * PITCH, stem * PITCH, origin=(0, 0))


def lay(region: shapely.Geometry) -> tuple[np.ndarray, float]:
    """Return centres and processor seconds."""
    start = time.process_time()
    centres = lay_courses(Ask(region, (), (Spec(STONE, PITCH),), {"margin": 0.0})).centres
    return centres, time.process_time() - start


def row(name: str, region: shapely.Geometry) -> None:
    """Print one line of the table."""
    centres, seconds = lay(region)
    assert (nearest_distances(centres) >= PITCH * (1 - 1e-9)).all()
    m = measure_fill(region, centres, STONE, PITCH)
    print(
        f"{name:14} {m.placed:6d} {m.placed / m.bound:6.3f} {m.kappa:6.2f} {m.spread:7.4f} "
        f"{m.rows:5.2f} {m.empty:6.3f} {seconds:7.2f}"
    )


def bends(stem: float) -> shapely.Geometry:
    """Return a stroke of two bends, so many pitches wide, its chords within 0.005 mm."""
    width = stem * PITCH + STONE
    radius = 0.75 * width
    quarter = math.ceil(math.pi / 4 / math.acos(1 - 0.005 / (radius + width / 2)))
    turn = np.linspace(0, 1.5 * np.pi, 3 * quarter + 1)
    top = np.column_stack((np.cos(turn), -np.sin(turn) - 1)) * radius
    line = shapely.linestrings(np.concatenate((top, -top[-2::-1])))
    return shapely.buffer(line, width / 2, quad_segs=quarter, cap_style="flat")


def main() -> None:
    """Print the tables."""
    glyphs = json.loads(DATA.read_text(encoding="utf-8"))["glyphs"]
    lay(shapely.box(0, 0, 30, 30))  # imports
    print(f"{'shape':14} {'n':>6} {'/bound':>6} {'kappa':>6} {'spread':>7} rows  empty     s")
    for stem in (1.5, 2.2, 3.0, 3.7, 5.0, 8.0):
        for name, rings in glyphs.items():
            row(f"{name} {stem}", glyph(rings, stem))
    for width in (1, 1.5, 2, 2.7, 3.5, 5, 8, 12):
        row(f"bar {width}", shapely.box(0, 0, 16 * PITCH, width * PITCH + STONE))
    row("disc", shapely.Point(0, 0).buffer(20, 64))
    row("ring", shapely.Point(0, 0).buffer(25, 64) - shapely.Point(0, 0).buffer(13, 64))
    print("growth: stones, processor seconds")
    first = None
    for stem in (12, 24, 48, 100):
        centres, seconds = lay(bends(stem))
        first = first or (len(centres), seconds)
        power = math.log(seconds / first[1]) / math.log(max(len(centres) / first[0], 1.01))
        print(f"{len(centres):7d} {seconds:8.2f}" + (f"  n^{power:.2f}" if power else ""))


if __name__ == "__main__":
    main()
