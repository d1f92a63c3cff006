"""Rows against the plain way, growth, conflicts: python benchmarks/rows.py."""

from __future__ import annotations

import itertools
import math
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from stonelayout.geometry.independent_set import most_kept
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.rows.edge import edge_tracks
from stonelayout.laying.rows.row_junctions import lay_rows_together
from stonelayout.laying.rows.tracks.row import SHARP_DEGREES, lay_row, row_corners
from stonelayout.model.artwork import Line

PITCH = 2.4
#: The plain way looks along the whole line for each stone: minutes for ten thousand.
MOST_PLAIN = 1_000


def best(call: Callable[[], Any], rounds: int = 5) -> tuple[float, Any]:
    """Return the least time of a few runs, and the answer."""
    least, answer = math.inf, None
    for _ in range(rounds):
        start = time.perf_counter()
        answer = call()
        least = min(least, time.perf_counter() - start)
    return least, answer


def wave(stones: int) -> Polyline:
    """Return a closed wavy curve of about so many pitches."""
    t = np.linspace(0, 2 * math.pi, 12 * stones, endpoint=False)
    radius = 1 + 0.18 * np.sin(5 * t) + 0.07 * np.sin(11 * t + 1)
    curve = Polyline.of(np.column_stack((np.cos(t), np.sin(t))) * radius[:, None], closed=True)
    return Polyline.of(curve.points[:-1] * (stones * PITCH / curve.length), closed=True)


def plain(path: Polyline) -> np.ndarray:
    """Return what a user would write: equal steps of arc length."""
    line = shapely.linestrings(path.points)
    count = int(path.length / PITCH)
    spots = shapely.line_interpolate_point(line, np.arange(count) * path.length / count)
    return shapely.get_coordinates(spots)


def chords(points: np.ndarray) -> np.ndarray:
    """Return the distances between neighbours of a closed row."""
    return np.hypot(*np.diff(np.concatenate((points, points[:1])), axis=0).T)


def rows() -> None:
    """Time and spread of single rows."""
    print("stones   row s   us/stone  spread(row)  plain s  spread(plain)  least/pitch plain")
    for stones in (100, 1_000, 10_000, 100_000):
        path = wave(stones)
        seconds, row = best(lambda path=path: lay_row(path, PITCH), 3)
        assert row.chords.min() >= PITCH * (1 - 1e-9)
        line = f"{len(row.at):6d} {seconds:8.4f} {seconds / len(row.at) * 1e6:9.1f} "
        line += f"{np.ptp(row.chords) / row.chords.mean():11.1e}"
        if stones <= MOST_PLAIN:
            other, points = best(lambda path=path: plain(path), 1)
            loose = chords(points)
            line += (
                f" {other:9.4f} {np.ptp(loose) / loose.mean():11.4f} {loose.min() / PITCH:14.4f}"
            )
        print(line)


def outlines() -> None:
    """Spread of chords (CV) over cornered outlines: letters of an open font.

    Beside a tip sharper than 60 degrees the first chords must be longer for its two neighbours
    to keep a pitch; the second figure leaves those out.
    """
    from benchmarks.gallery_shapes import letters

    print("\nletter  stones  corners     CV %  CV % but tips   min/max")
    for count in (60, 100, 200):
        for shape in letters("BSR&", 45.0):
            ring = Polyline.of(shape.outline[0].points, closed=True)
            pitch = ring.length / (count * 1.03)
            row = lay_row(ring, pitch)
            found, plain = row.chords, np.ones(len(row.at), dtype=bool)
            bends = row_corners(ring, pitch)
            for at in bends.at[np.abs(bends.turn) > math.radians(180 - SHARP_DEGREES)]:
                tip = int(np.argmin(np.abs(row.at - at)))
                plain[[tip, tip - 1]] = False
            rest = found[plain]
            print(
                f"{shape.id:6s} {len(row.at):7d} {row.pinned.sum():8d} "
                f"{100 * found.std() / found.mean():8.2f} {100 * rest.std() / rest.mean():14.2f} "
                f"{found.min() / found.max():9.3f}"
            )


def random_path(rng: np.random.Generator) -> Polyline:
    """Return a path of a hard kind: loops, cusps, doubled or zero-length sides, a noisy trace."""
    size = rng.choice([3.0, 12.0, 40.0])
    points = rng.uniform(-size, size, (int(rng.integers(2, 14)), 2))
    t = np.linspace(0, rng.uniform(1, 4) * math.pi, 200)
    kind = rng.integers(0, 7)
    if kind == 1:
        a, b = rng.integers(1, 5, 2)
        points = size * np.column_stack((np.sin(a * t + rng.random()), np.cos(b * t)))
    elif kind == 2:
        u = np.linspace(-1, 1, 121)
        points = size * np.column_stack((rng.uniform(0.2, 1) * u**2, u**3))
    elif kind == 3:
        points = np.repeat(points, 2, axis=0)
    elif kind == 4:
        points = np.concatenate((points, points[::-1]))
    elif kind == 5:
        points = size * np.column_stack((np.cos(t), np.sin(t))) + rng.normal(0, 0.05, (200, 2))
    elif kind == 6:
        points = np.round(points)
    return Polyline.of(points, bool(rng.random() < 0.4))


def spans(paths: int = 10_000) -> None:
    """Rows on random paths: every one laid, none below the pitch, every span even."""
    rng = np.random.default_rng(1)
    count, worst = 0, 0.0
    for _ in range(paths):
        row = lay_row(random_path(rng), PITCH)
        assert len(row.at)
        assert np.isfinite(row.centres).all()
        assert (row.chords >= PITCH * (1 - 1e-9)).all()
        pins = np.flatnonzero(row.pinned)
        for first, last in itertools.pairwise(pins.tolist()):
            # chords next to a sharp tip are longer by rule
            steps = np.hypot(*np.diff(row.centres[first : last + 1], axis=0).T)[1:-1]
            if len(steps) > 1:
                worst = max(worst, float(np.ptp(steps) / steps.mean()))
                count += 1
    assert worst <= 1e-9
    print(f"\n{paths} random paths, {count} spans of 4 chords or more: spread at most {worst:.1e}")


def conflicts() -> None:
    """Removing the fewest of crossing rows."""
    print("\ncandidates conflicts      s  proved   kept  greedy %")
    rng = np.random.default_rng(1)
    for rings in (40, 150):
        parts = []
        for _ in range(rings):
            t = np.linspace(0, 2 * math.pi, 2400, endpoint=False)
            radius = rng.uniform(50, 120) * (
                1 + 0.2 * np.sin(rng.integers(2, 6) * t + rng.random())
            )
            middle = rng.uniform(0, 100 * math.sqrt(rings), 2)
            curve = np.column_stack((np.cos(t), np.sin(t))) * radius[:, None] + middle
            parts.append(lay_row(Polyline.of(curve, closed=True), PITCH).centres)
        centres = np.concatenate(parts)
        pairs, _ = pairs_nearer(centres, PITCH)
        seconds, (keep, proved) = best(lambda p=pairs, c=centres: most_kept(np.ones(len(c)), p), 1)
        assert not (keep[pairs[:, 0]] & keep[pairs[:, 1]]).any()
        share = greedy(len(centres), pairs) / keep.sum()
        print(
            f"{len(centres):10d} {len(pairs):9d} {seconds:6.2f} {proved!s:>7s} {keep.sum():6d} "
            f"{100 * share:9.3f}"
        )


def greedy(size: int, pairs: np.ndarray) -> int:
    """Return how many nodes the least-degree greedy keeps."""
    near: list[set[int]] = [set() for _ in range(size)]
    for a, b in pairs.tolist():
        near[a].add(b)
        near[b].add(a)
    import heapq

    heap = [(len(n), k) for k, n in enumerate(near)]
    heapq.heapify(heap)
    gone = [False] * size
    kept = 0
    while heap:
        degree, k = heapq.heappop(heap)
        if gone[k] or degree != len(near[k]):
            continue
        kept += 1
        for other in [k, *near[k]]:
            gone[other] = True
        for other in list(near[k]):
            for third in near[other]:
                if not gone[third]:
                    near[third].discard(other)
                    heapq.heappush(heap, (len(near[third]), third))
    return kept


def together() -> None:
    """Rows laid together, contacts and all."""
    print("\nshapes stones      s   us/stone")
    for side in (3, 10, 30):
        square = np.array([[0, 0], [24, 0], [24, 24], [0, 24]], dtype=float)
        asks = [
            Ask(None, (Line(square + [24 * i, 24 * j], True),), (Spec(2.0, PITCH),))
            for i in range(side)
            for j in range(side)
        ]
        seconds, laid = best(lambda asks=asks: lay_rows_together(asks, edge_tracks), 1)
        total = sum(len(answer.centres) for answer in laid)
        print(f"{len(asks):6d} {total:6d} {seconds:7.2f} {seconds / total * 1e6:9.1f}")


if __name__ == "__main__":
    for part in (rows, outlines, conflicts, together, spans):
        part()
        sys.stdout.flush()
