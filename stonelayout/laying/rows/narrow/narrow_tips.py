"""Narrow tips: where both sides of a tip are too near for two rows, one row runs between them."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.bisection import narrowed
from stonelayout.geometry.equal_chords import SAME, SHORT, most_equal
from stonelayout.geometry.neighbours import ROUNDING, crossing_pairs
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.rows.tracks.row import Row


def in_single_file(
    row: Row, pitches: Points, region: BaseGeometry
) -> tuple[Row, list[tuple[float, float]], list[float]]:
    """Lay the stones of narrow tips of a region in single file; for closed rows.

    ``pitches`` (sizes,) in mm. A tip is narrow where stones equally far before and behind a
    pinned one are too near to each other. They are replaced by stones of its size half-way
    between, which keep from the region's outline what the row keeps. Returns the row, on a path
    that runs through them before each tip; the stretches behind the tips, which have no stones of
    their own; and the places of those left out.
    """
    own: Points | None = None
    given: list[tuple[float, float]] = []
    lost: list[float] = []
    for spot in row.centres[row.pinned]:
        found = _merged(row, int(np.argmin(np.hypot(*(row.centres - spot).T))), pitches)
        if found is None:
            continue
        fresh, hole, gone = found
        if own is None:
            own = _depths(row, region, len(pitches))
        if not _fits(fresh.centres, region, own[fresh.size]):
            continue
        given = [_carried(row.path, fresh.path, *stretch) for stretch in given]
        lost = [_carried(row.path, fresh.path, s, s)[0] for s in lost]
        row = fresh
        given.append(hole)
        lost += gone
    return row, given, lost


def _depths(row: Row, region: BaseGeometry, sizes: int) -> Points:
    """Return the distance in mm from the outline that the stones of each size keep (sizes,)."""
    shapely.prepare(region)
    depth = np.asarray(shapely.distance(shapely.points(row.centres), region.boundary))
    least = [float(depth[row.size == k].min(initial=np.inf)) for k in range(sizes)]
    return np.array(least) - SAME


def _fits(centres: Points, region: BaseGeometry, least: Points) -> bool:
    spots = shapely.points(centres)
    inside = shapely.dwithin(region, spots, SAME)
    return bool(inside.all() and (shapely.distance(spots, region.boundary) >= least).all())


def _merged(
    row: Row, tip: int, pitches: Points
) -> tuple[Row, tuple[float, float], list[float]] | None:
    """Return the row with one tip in single file, or None where it is not narrow."""
    centres, count, size = row.centres, len(row.at), int(row.size[tip])
    pitch = float(pitches[size])
    pairs = 0
    while 2 * pairs + 3 < count:
        before, behind = (tip - pairs - 1) % count, (tip + pairs + 1) % count
        apart = float(np.hypot(*(centres[before] - centres[behind])))
        if row.size[before] != row.size[behind]:
            return None
        least = float(pitches[row.size[before]]) * (1 - ROUNDING)
        if apart >= least or row.pinned[before] or row.pinned[behind]:
            break
        pairs += 1
    if not pairs:
        return None
    reach = np.arange(pairs + 2)
    middles = (centres[(tip - reach) % count] + centres[(tip + reach) % count]) / 2
    fork = centres[[(tip - pairs - 1) % count, (tip + pairs + 1) % count]]
    unlike = float(pitches[row.size[(tip + pairs + 1) % count]] + pitch) / 2
    file = _file(Polyline.of(middles), fork, pitch, unlike)
    kept = (tip + np.arange(pairs + 1, count - pairs)) % count
    near, apart_from = crossing_pairs(file, centres[kept], float(pitches.max()))
    clear = (pitch + pitches[row.size[kept]]) / 2 * (1 - ROUNDING)
    if len(file) < pairs or (apart_from < clear[near[:, 1]]).any():
        return None
    start = float(row.at[tip])
    way = float(row.at[(tip - pairs - 1) % count]) - start
    outer = row.path.between(start, start + way % row.path.length)
    path = Polyline.of(np.concatenate((outer.points, file[::-1])), closed=True)
    steps = np.concatenate((outer.points[-1:], file[::-1]))
    inner = outer.length + np.cumsum(np.hypot(*np.diff(steps, axis=0).T))
    at = np.concatenate(([0.0], (row.at[kept] - start) % row.path.length, inner))
    pinned = np.concatenate(([True], row.pinned[kept], np.ones(len(inner), dtype=np.bool_)))
    gone = (row.at[(tip + np.arange(1, pairs + 1)) % count] - start) % row.path.length
    hole = (0.0, float(at[1]))
    sizes = np.concatenate(([size], row.size[kept], np.full(len(inner), size)))
    fresh = Row(path, at, pinned, sizes.astype(np.intp))
    return fresh, hole, gone[: 2 * pairs - len(file)].tolist()


def _file(line: Polyline, fork: Points, pitch: float, unlike: float) -> Points:
    """Return the stones (n, 2) on a line from a tip (left out) that keep off the fork's two.

    The last stands as far from the fork as from the one before it, in proportion to their least
    distances ``unlike`` and ``pitch``.
    """

    def off(s: float) -> float:
        return float(np.hypot(*(fork - line.at([s])[0]).T).min()) * pitch / unlike

    if off(0.0) < pitch:
        return np.empty((0, 2))
    low, _ = narrowed(lambda s: off(s) >= pitch, 0.0, line.length, 50)
    if low <= SAME:
        return np.empty((0, 2))
    places, _ = most_equal(line.between(0.0, low), pitch)
    count = len(places) - 1
    if count < 1:
        return np.empty((0, 2))

    def reaches(s: float) -> bool:
        found, chord = most_equal(line.between(0.0, s), pitch * (1 - SHORT))
        return len(found) - 1 >= count and chord >= off(s)

    most, _ = narrowed(reaches, low, 0.0, 50)
    places, _ = most_equal(line.between(0.0, most), pitch)
    return line.at(places[1:]) if len(places) - 1 == count else np.empty((0, 2))


def _carried(old: Polyline, fresh: Polyline, start: float, stop: float) -> tuple[float, float]:
    """Return a stretch of a path in arc lengths of another path through the same points."""
    line = LineString(fresh.points)
    s = float(line.project(shapely.Point(old.at([start])[0])))
    return s, s + stop - start
