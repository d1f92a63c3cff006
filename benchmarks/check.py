"""Time and memory of the check on hole files: python benchmarks/check.py [HOLES ...].

Ratios in one run against a bare k-d tree, so that figures of two machines can be compared. Goals:
100,000 holes read and checked in 3 s, the check alone 0.5 s; 1,000,000 under 2 GB.
"""

from __future__ import annotations

import math
import resource
import sys
import time

import numpy as np
from scipy.spatial import KDTree

from stonelayout.checks.tearing import check_strength
from stonelayout.checks.webs import check
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Page
from stonelayout.template.holes import read_holes
from stonelayout.template.layers_from_holes import rebuild


def drawing(side: int) -> str:
    """Return an SVG of side x side holes of 2.5 mm, every 997th web too thin."""
    size = 3 * side + 3
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm" '
    rows = [f'{head}viewBox="0 0 {size} {size}"><g id="holes">']
    rows += [
        f'<circle cx="{3 * x + 3 + (0.2 if (x * side + y) % 997 == 0 else 0)}" cy="{3 * y + 3}" '
        'r="1.25"/>'
        for x in range(side)
        for y in range(side)
    ]
    return "\n".join([*rows, "</g></svg>"])


def main() -> None:
    """Print one row for each number of holes."""
    catalogue = load_catalogue()
    sheet = catalogue.sheet("thin-flock")
    print(
        f"{'holes':>9} {'read s':>7} {'layers s':>8} {'check s':>8} {'/ tree':>7} {'tear s':>7} MB"
    )
    for count in [int(text) for text in sys.argv[1:]] or [10_000, 100_000, 1_000_000]:
        text = drawing(math.isqrt(count))
        marks = [time.perf_counter()]
        holes = read_holes(text)
        marks.append(time.perf_counter())
        rebuilt = rebuild([("holes.svg", holes)], sheet, catalogue)
        marks.append(time.perf_counter())
        findings = check(rebuilt.layers, sheet, catalogue)
        marks.append(time.perf_counter())
        check_strength(rebuilt.layers, sheet, Page(*holes.size))
        marks.append(time.perf_counter())
        KDTree(holes.centres).query_pairs(2.9, output_type="ndarray")
        marks.append(time.perf_counter())
        found = sum(finding.count for finding in findings)
        assert 0 < found <= np.ceil(len(holes) / 997)
        read, layers, checked, tear, tree = np.diff(marks)
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{len(holes):9} {read:7.2f} {layers:8.3f} {checked:8.3f} {checked / tree:7.2f} "
            f"{tear:7.2f} {most:.0f}"
        )


if __name__ == "__main__":
    main()
