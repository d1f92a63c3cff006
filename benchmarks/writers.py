"""Time and size of the cut files: python benchmarks/writers.py [HOLES].

The writers against the SVG one in the same run.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable

import numpy as np

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.template.cut_path import runs
from stonelayout.template.registration import registration
from stonelayout.writers.layer_dxf import layer_dxf
from stonelayout.writers.layer_hpgl import layer_hpgl
from stonelayout.writers.layer_pdf import layer_pdf
from stonelayout.writers.layer_svg import layer_svg


def main() -> None:
    """Print one row for each format."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1600
    side = math.isqrt(count)
    grid = np.array([(3.0 * x, 3.0 * y) for x in range(side) for y in range(side)])
    layer = Layer(1, Kind("ss6", "crystal", 2.0), grid, 2.5)
    frame = registration([layer], load_catalogue().sheet("thin-flock"))
    way = runs(layer, frame, passes=2)
    formats: dict[str, Callable[[], str | bytes]] = {
        "svg": lambda: layer_svg(layer, frame),
        "dxf": lambda: layer_dxf(layer, frame),
        "hpgl": lambda: layer_hpgl(way, frame),
        "hpgl, short lines": lambda: layer_hpgl(way, frame, arcs=False),
        "pdf": lambda: layer_pdf(layer, frame),
    }
    first = 0.0
    for name, write in formats.items():
        began = time.perf_counter()
        for _ in range(5):
            size = len(write())
        took = (time.perf_counter() - began) / 5
        first = first or took
        print(f"{name:18} {took * 1000:7.1f} ms {took / first:6.2f} x svg {size / 1024:8.1f} KB")


if __name__ == "__main__":
    main()
