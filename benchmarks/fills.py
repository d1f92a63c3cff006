"""Fills of several shapes by every pattern, against a bare lattice and a Poisson-disc fill.

python benchmarks/fills.py                the table: shape x pattern (two to four minutes)
python benchmarks/fills.py table E star   the table for some shapes
python benchmarks/fills.py records        counts against best-known packings (two minutes)
python benchmarks/fills.py speed          a lattice of 100,000 stones against a bare numpy pass
python benchmarks/fills.py growth         even fills of 500, 5,000 and 50,000 stones

Times are CPU seconds of one process. Every fill is checked before its line is printed: distances
exactly, centres inside, counts under the proved bound and not below the lattice's.
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

from stonelayout.geometry.bounds import proved_bound
from stonelayout.geometry.fill_measures import measure_fill
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.courses.courses import lay_courses
from stonelayout.laying.packing.even import lay_even
from stonelayout.laying.packing.graded import lay_graded
from stonelayout.laying.packing.lattice import lay_lattice

DATA = Path(__file__).parent.parent / "tests" / "data"
DIAMETER, PITCH = 2.8, 3.3
#: Sizes of the graded fills, stones touching; and of the others.
GRADED = (5.0, 3.75, 2.5)
#: Counts that a search must reach at (1 - 2e-4) x the best-known distance.
RECORDS = {
    "circle": {30: 30, 61: 61, 91: 91, 100: 99},
    "square": {30: 30, 39: 39, 52: 52, 68: 68, 100: 99},
}


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


def certify(
    region: BaseGeometry, centres: np.ndarray, sizes: np.ndarray, pitches: np.ndarray
) -> None:
    """Check distances and outline; ``sizes`` (n,) diameters, ``pitches`` (n,), both in mm."""
    pairs, length = pairs_nearer(centres, float(pitches.max()))
    least = (pitches[pairs[:, 0]] + pitches[pairs[:, 1]]) / 2
    assert (length >= least * (1 - 1e-9)).all()
    assert shapely.contains_xy(region, centres).all()
    away = shapely.distance(shapely.boundary(region), shapely.points(centres))
    assert (away >= sizes / 2 - 1e-8).all()


def table(*only: str) -> None:
    """Print shape x pattern."""
    fills: dict[str, Callable[[BaseGeometry], np.ndarray]] = {
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
        if only and shape not in only:
            continue
        placed = {}
        for name, fill in fills.items():
            start = time.process_time()
            centres = fill(region)
            took = time.process_time() - start
            count = len(centres)
            size, pitch = np.full(count, DIAMETER), np.full(count, PITCH)
            if name != "Poisson disc":  # which keeps its distance in the unit square only nearly
                certify(region, centres, size - 1e-3 * (name == "bare lattice"), pitch)
            m = measure_fill(region, centres, DIAMETER, PITCH)
            placed[name] = m.placed
            assert m.placed <= m.bound
            print(
                f"{shape:8}{name:19}{m.placed:7}{m.bound:7}{m.placed / m.bound:7.3f}{m.kappa:7.2f}"
                f"{m.spread:8.3f}{m.psi6:6.2f}{m.rows:6.2f}{m.empty:7.2f}{took:8.2f}",
                flush=True,
            )
        assert placed["bare lattice"] <= placed["lattice"] <= placed["even"]
        specs = tuple(Spec(d, d) for d in GRADED)
        start = time.process_time()
        laid = lay_graded(Ask(region, (), specs))
        took = time.process_time() - start
        size = np.array(GRADED)[laid.size]
        certify(region, laid.centres, size, size)
        cover = float((math.pi / 4 * size**2).sum()) / region.area
        counts = "+".join(str(n) for n in np.bincount(laid.size, minlength=len(GRADED)))
        names = "/".join(f"{d:g}" for d in GRADED)
        print(f"{shape:8}graded {names} mm, touching: {counts}, cover {cover:.3f}, {took:.2f} s")


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
    print("at (1 - 2e-4) x the best-known distance:")
    options = {"quality": "best", "symmetric": False, "edge_row": False}
    for name, wanted in RECORDS.items():
        for n, least in wanted.items():
            if name == "circle":
                room, distance = Polygon((circles[n] - 1) * unit), 2.0
            else:
                side, distance = 1 - 2 * squares[n], 2 * squares[n]
                room = box(0, 0, side, side)
            spec = Spec(1e-9, distance * (1 - 2e-4))
            start = time.process_time()
            centres = lay_even(Ask(room, (), (spec,), options)).centres
            took = time.process_time() - start
            certify(room, centres, np.full(len(centres), 1e-9), np.full(len(centres), spec.pitch))
            print(f"{name:8}{n:5}: {len(centres):4} placed, {took:6.1f} s", flush=True)
            assert least <= len(centres) <= proved_bound(room, spec.pitch)


def speed() -> None:
    """Print how much longer a lattice takes than one bare pass."""
    t = np.arange(360) * math.tau / 360
    room = Polygon(550 * np.stack((np.cos(t), np.sin(t)), axis=1))
    bare, own = [], []
    for _ in range(7):
        start = time.process_time()
        points = bare_lattice(room.buffer(-DIAMETER / 2, quad_segs=64), PITCH)
        cKDTree(points).query(points, k=2)
        bare.append(time.process_time() - start)
        start = time.process_time()
        laid = lay_lattice(ask(room, angle=0.0))
        own.append(time.process_time() - start)
    count = len(laid.centres)
    certify(room, laid.centres, np.full(count, DIAMETER), np.full(count, PITCH))
    assert count >= len(points)
    print(f"bare pass {min(bare):.3f} s for {len(points)} points;")
    print(f"lattice at a fixed angle {min(own):.3f} s for {count}: {min(own) / min(bare):.2f} x")


def growth() -> None:
    """Print what even fills of more and more stones take."""
    for scale in (1.0, math.sqrt(10), 10.0):
        star = shapely.transform(shapes()["star"], lambda p, s=scale: p * 1.34 * s)
        for quality in ("draft", "good"):
            start = time.process_time()
            centres = lay_even(ask(star, quality=quality)).centres
            took = time.process_time() - start
            count = len(centres)
            certify(star, centres, np.full(count, DIAMETER), np.full(count, PITCH))
            print(f"even, {quality}: {count} stones in {took:.1f} s", flush=True)


if __name__ == "__main__":
    modes = {"table": table, "records": records, "speed": speed, "growth": growth}
    mode, *rest = sys.argv[1:] or ["table"]
    modes[mode](*rest)
