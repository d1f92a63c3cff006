"""Length and time of the cut path: python benchmarks/cutpath.py [--solver].

On hexagonal fills the bound is (N - 1) d, which no open path can beat; on random points a strong
solver (the package fast-tsp, where it is installed and --solver is given, up to 5,000 points).
Goals: 0.2 % over the bound, 1 % over the solver, 20,000 holes in 5 s.
"""

from __future__ import annotations

import importlib
import math
import sys
import time

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.template.cut_path import cut_order, path_length


def hexagonal(side: int, angle: float) -> Points:
    """Return a turned hexagonal fill of pitch 3 mm in a square with a round hole."""
    reach = np.arange(-side, side)
    x, y = (grid.ravel() for grid in np.meshgrid(reach, reach))
    points = 3.0 * np.column_stack((x + (y % 2) / 2, y * math.sqrt(3) / 2))
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    points = points @ turn
    inside = (np.abs(points) < 1.4 * side).all(axis=1)
    return points[inside & (np.hypot(*points.T) > 0.4 * side)]


def solver(points: Points, seconds: float) -> float | None:
    """Return the length of a strong solver's open path; None where it is not installed."""
    try:
        fast_tsp = importlib.import_module("fast_tsp")
    except ImportError:
        return None
    gaps = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    table = np.pad(np.round(gaps * 60000 / gaps.max()), ((0, 1), (0, 1))).astype(int)
    tour = fast_tsp.find_tour(table, duration_seconds=seconds)
    start = tour.index(len(points))
    return path_length(points, np.array(tour[start + 1 :] + tour[:start]))


def main() -> None:
    """Print one row for each instance."""
    rng = np.random.default_rng(1)
    cut_order(rng.uniform(0, 9, (200, 2)))  # the first use of the compiler is not timed
    for side, angle in ((8, 0.2), (25, 0.0), (40, 1.0), (97, 0.3)):
        points = hexagonal(side, angle)
        began = time.perf_counter()
        order = cut_order(points)
        took = time.perf_counter() - began
        over = path_length(points, order) / (3.0 * (len(points) - 1)) - 1
        print(f"hexagonal {len(points):6}: {over:8.3%} over the bound, {took:6.2f} s")
        assert sorted(order.tolist()) == list(range(len(points)))
    for count, seconds in ((200, 2.0), (1000, 5.0), (5000, 20.0), (20_000, 0.0)):
        points = rng.uniform(0, 1000, (count, 2))
        began = time.perf_counter()
        length = path_length(points, cut_order(points))
        took = time.perf_counter() - began
        best = solver(points, seconds) if "--solver" in sys.argv and seconds else None
        words = "" if best is None else f", {length / best - 1:.2%} over the solver"
        share = length / (0.7124 * math.sqrt(count) * 1000)
        print(f"random    {count:6}: {share:.4f} of 0.7124 sqrt(NA){words}, {took:6.2f} s")


if __name__ == "__main__":
    main()
