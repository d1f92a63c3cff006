"""Fills of several shapes by every pattern, against a bare lattice and a Poisson-disc fill.

python benchmarks/fills.py            the table: shape x pattern
python benchmarks/fills.py records    counts against best-known packings (minutes)
python benchmarks/fills.py speed      lattice at 100,000 stones against a bare numpy pass; growth
"""

from __future__ import annotations

import csv
import math
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import shapely
from scipy.spatial import cKDTree
from scipy.stats import qmc
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from stonelayout.measures import measure_fill
from stonelayout.neighbours import pairs_nearer
from stonelayout.patterns.base import Ask, Spec
from stonelayout.patterns.courses import lay_courses
from stonelayout.patterns.even import lay_even
from stonelayout.patterns.graded import lay_graded
from stonelayout.patterns.lattice import lay_lattice

DATA = Path(__file__).parent.parent / "tests" / "data"
DIAMETER, PITCH = 2.8, 3.3


def shapes() -> dict[str, BaseGeometry]:
    """Return the shapes, in mm."""
    t = np.arange(360) * math.tau / 360
    circle = Polygon(30 * np.stack((np.cos(t), np.sin(t)), axis=1))
    y = 13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)
    heart = Polygon(np.stack((32 * np.sin(t) ** 3, -2 * y), axis=1))
    a = np.arange(10) * math.pi / 5 - math.pi / 2
    r = np.where(np.arange(10) % 2, 20.0, 50.0)
    star = Polygon(np.stack((r * np.cos(a), r * np.sin(a)), axis=1))
    ring = shapely.Point(0, 0).buffer(35, quad_segs=90).difference(shapely.Point(0, 0).buffer(24))
    wave = [(x, 12 * math.sin(x / 14)) for x in np.linspace(0, 120, 200)]
    letter_e = shapely.union_all(
        [box(0, 0, 14, 70), box(0, 0, 45, 12), box(0, 29, 38, 41), box(0, 58, 45, 70)]
    )
    letter_a = Polygon(
        [(0, 70), (22, 0), (38, 0), (60, 70), (46, 70), (42, 56), (18, 56), (14, 70)]
    )
    letter_a = letter_a.difference(Polygon([(22, 45), (38, 45), (30, 18)]))
    return {
        "bar": box(0, 0, 100, 11),
        "E": letter_e,
        "A": letter_a,
        "wave": shapely.LineString(wave).buffer(6.5, quad_segs=32, cap_style="flat"),
        "star": star,
        "heart": heart,
        "ring": ring,
        "circle": circle,
    }


def bare_lattice(room: BaseGeometry, pitch: float) -> np.ndarray:
    """Return one grid cut to a room: the least that any lattice takes."""
    x0, y0, x1, y1 = room.bounds
    rise = pitch * math.sqrt(3) / 2
    i, j = np.meshgrid(np.arange((x1 - x0) // pitch + 2), np.arange((y1 - y0) // rise + 2))
    points = np.stack((x0 + (i - j % 2 / 2) * pitch, y0 + j * rise), axis=-1).reshape(-1, 2)
    shapely.prepare(room)
    return points[shapely.contains_xy(room, points)]


def poisson(room: BaseGeometry, pitch: float) -> np.ndarray:
    """Return a Poisson-disc sample of a room."""
    x0, y0, x1, y1 = room.bounds
    side = max(x1 - x0, y1 - y0)
    sampler = qmc.PoissonDisk(2, radius=pitch / side, rng=np.random.default_rng(0))
    points = sampler.fill_space() * side + (x0, y0)
    return points[shapely.contains_xy(room, points)]


def ask(region: BaseGeometry, **options: object) -> Ask:
    """Ask for one size of stone."""
    return Ask(region, (), (Spec(DIAMETER, PITCH),), options)


def table() -> None:
    """Print shape x pattern."""
    rows: dict[str, Callable[[BaseGeometry], np.ndarray]] = {
        "bare lattice": lambda g: bare_lattice(g.buffer(-DIAMETER / 2, quad_segs=64), PITCH),
        "Poisson disc": lambda g: poisson(g.buffer(-DIAMETER / 2, quad_segs=64), PITCH),
        "lattice": lambda g: lay_lattice(ask(g)).centres,
        "lattice, edge row": lambda g: lay_lattice(ask(g, edge_row=True)).centres,
        "courses": lambda g: lay_courses(ask(g)).centres,
        "even, draft": lambda g: lay_even(ask(g, quality="draft")).centres,
        "even": lambda g: lay_even(ask(g)).centres,
        "even, edge row": lambda g: lay_even(ask(g, edge_row=True)).centres,
    }
    head = f"{'shape':8}{'pattern':19}{'placed':>7}{'bound':>7}{'share':>7}{'kappa':>7}"
    print(head + f"{'spread':>8}{'psi6':>6}{'rows':>6}{'empty':>7}{'cpu s':>8}")
    for shape, region in shapes().items():
        for name, fill in rows.items():
            start = time.process_time()
            centres = fill(region)
            took = time.process_time() - start
            if name != "Poisson disc":
                assert not len(pairs_nearer(centres, PITCH)[0])
            m = measure_fill(region, centres, DIAMETER, PITCH)
            print(
                f"{shape:8}{name:19}{m.placed:7}{m.bound:7}{m.placed / m.bound:7.3f}{m.kappa:7.2f}"
                f"{m.spread:8.3f}{m.psi6:6.2f}{m.rows:6.2f}{m.empty:7.2f}{took:8.2f}",
                flush=True,
            )
        sizes = tuple(Spec(d, d) for d in (5.0, 3.75, 2.5))
        start = time.process_time()
        laid = lay_graded(Ask(region, (), sizes))
        took = time.process_time() - start
        cover = sum(math.pi / 4 * sizes[k].diameter ** 2 for k in laid.size) / region.area
        counts = "+".join(str(n) for n in np.bincount(laid.size, minlength=3))
        print(f"{shape:8}graded 5/3.75/2.5 touching: {counts}, cover {cover:.3f}, {took:.2f} s")


def best_known(name: str, column: str) -> dict[int, float]:
    """Read a packing table."""
    with (DATA / name).open() as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return {int(row["n"]): float(row[column]) for row in rows}


def records() -> None:
    """Print counts against best-known packings."""
    circles = best_known("packings_in_circle.csv", "container_to_disc_radius")
    squares = best_known("packings_in_square.csv", "disc_radius_in_unit_square")
    t = np.arange(720) * math.tau / 720
    unit = np.stack((np.cos(t), np.sin(t)), axis=1)
    cases: list[tuple[str, int, BaseGeometry, float]] = [
        ("circle", n, Polygon((circles[n] - 1) * unit), 2.0) for n in (30, 61, 91, 100)
    ]
    for n in (30, 39, 52, 68, 100):
        side = 1 - 2 * squares[n]
        cases.append(("square", n, box(0, 0, side, side), 2 * squares[n]))
    print("at (1 - 2e-4) x the best-known distance:")
    for name, n, room, distance in cases:
        start = time.process_time()
        options = {"quality": "best", "symmetric": False, "edge_row": False}
        spec = Spec(1e-9, distance * (1 - 2e-4))
        found = len(lay_even(Ask(room, (), (spec,), options)).centres)
        print(f"{name:8}{n:5}: {found:4} placed, {time.process_time() - start:6.1f} s", flush=True)


def speed() -> None:
    """Print times and ratios."""
    room = Polygon(550 * np.array([(math.cos(a), math.sin(a)) for a in np.arange(360) / 57.29578]))
    bare, own = [], []
    for _ in range(5):
        start = time.perf_counter()
        points = bare_lattice(room.buffer(-DIAMETER / 2, quad_segs=64), PITCH)
        cKDTree(points).query(points, k=2)
        bare.append(time.perf_counter() - start)
        start = time.perf_counter()
        laid = lay_lattice(ask(room, angle=0.0))
        own.append(time.perf_counter() - start)
    print(
        f"bare pass {min(bare):.3f} s for {len(points)}; lattice at a fixed angle {min(own):.3f} s"
    )
    print(f"for {len(laid.centres)}: ratio {min(own) / min(bare):.2f}")
    for scale in (1.0, math.sqrt(10), 10.0):
        star = shapes()["star"]
        star = shapely.transform(star, lambda p, s=scale: p * s)
        for quality in ("draft", "good"):
            start = time.process_time()
            n = len(lay_even(ask(star, quality=quality)).centres)
            print(f"even, {quality}: {n} stones in {time.process_time() - start:.1f} s", flush=True)


if __name__ == "__main__":
    {"records": records, "speed": speed, "table": table}[(sys.argv[1:] or ["table"])[0]]()
