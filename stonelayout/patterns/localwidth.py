"""Edge rows of several sizes: each stretch on the curve of the largest size that has room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString

from stonelayout.polylines import Path, Points

from .curves import own_start
from .gauge import Gauge, Sizes, Track, choose_sizes, gauge_of, sample_places
from .rows import row_corners

#: Stones of one row nearer along it than this, in pitches, are beside each other, not opposite.
_BESIDE = 3.0
#: The curve of another size is looked for so many times as far as its offset differs (at a corner
#: of 60 degrees it is twice as far).
_REACH = 2.2
#: Lines meet where they come nearer than this, in pitches; so far from there, in pitches along a
#: line, the other is no row opposite.
_MEET, _PARTED = 0.25, 4.0
#: The sides of a corner are no opposite rows up to so many pitches along the line.
_FOLD = 8.0
#: Parallel rows have room when so much of the one farthest in has.
_NEARLY_ALL = 0.9
#: The curve of another size may be longer or shorter than the smallest size's by this factor.
_DETOUR = 1.6


def room_to_opposite(path: Path, others: Sequence[Path], pitch: float) -> npt.NDArray[np.bool_]:
    """Tell at which samples of a path (``sample_places``) no row opposite is within a pitch.

    ``others`` are all curves of the same rows, the path among them.
    """
    places = sample_places(path, np.array([pitch]))
    clear = np.ones(len(places), dtype=np.bool_)
    for other in others:
        clear[_opposite(path, places, other, pitch)[0]] = False
    return clear


def room_on_line(
    path: Path, others: Sequence[Path], pitch: float, places: Points
) -> npt.NDArray[np.bool_]:
    """Tell at which places (n,) of a drawn line no row on ``others`` is opposite within a pitch.

    Lines that meet are not opposite there, nor are the two sides of a corner: rows share a stone
    and part again.
    """
    clear = np.ones(len(places), dtype=np.bool_)
    met = np.zeros(len(places), dtype=np.bool_)
    bends = row_corners(path, pitch).at
    for other in others:
        mine, step, apart = _opposite(path, places, other, pitch)
        if other is path:
            fold = _away(places[mine] + step / 2, bends, path) < pitch
            real = ~(fold & (np.abs(step) < _FOLD * pitch))
            mine, apart = mine[real], apart[real]
        clear[mine] = False
        met[mine[apart < _MEET * pitch]] = True
    return np.asarray(clear | (_away(places, places[met], path) < _PARTED * pitch))


def _opposite(
    path: Path, places: Points, other: Path, pitch: float
) -> tuple[npt.NDArray[np.intp], Points, Points]:
    """Return the places opposite another path within a pitch: index, step along, distance.

    The step in mm leads along the path to the place opposite, where that is on the same path.
    """
    from scipy.spatial import KDTree

    along = sample_places(other, np.array([pitch]))
    tree = KDTree(path.at(places))
    near = tree.sparse_distance_matrix(KDTree(other.at(along)), pitch, output_type="ndarray")
    step = along[near["j"]] - places[near["i"]]
    if other is path:
        if path.closed:
            step -= path.length * np.round(step / path.length)
        beyond = np.abs(step) > _BESIDE * pitch
        near, step = near[beyond], step[beyond]
    return near["i"], step, near["v"]


def _away(places: Points, spots: Points, path: Path) -> Points:
    """Return how far places (n,) of a path are along it from the nearest of its spots."""
    if not len(spots):
        return np.full(len(places), np.inf)
    turns = path.length * np.arange(-1.0, 2.0) if path.closed else np.zeros(1)
    around = np.sort((spots + turns[:, None]).ravel())
    after = np.minimum(np.searchsorted(around, places), len(around) - 1)
    steps = np.abs(around[[np.maximum(after - 1, 0), after]] - places)
    return np.asarray(steps.min(axis=0), dtype=np.float64)


def has_room(paths: Sequence[Path], pitch: float) -> bool:
    """Tell whether rows on these curves keep clear of each other along (nearly) all of them."""
    if not paths:
        return False
    clear = np.concatenate([room_to_opposite(path, paths, pitch) for path in paths])
    return float(clear.mean()) >= _NEARLY_ALL


def sized_tracks(
    curves: Sequence[Sequence[Path]], shifts: Sequence[float], pitches: Points
) -> list[Track]:
    """Return one track for each curve of the smallest size, with sizes by local width.

    ``curves[i]`` are the curves on which a row of size i runs, ``shifts[i]`` mm from the outline.
    """
    from scipy.spatial import KDTree

    started = [[own_start(path) for path in paths] for paths in curves]
    kinds = len(pitches)
    nearest = []
    for paths, pitch in zip(curves, pitches.tolist(), strict=True):
        spots = [path.at(sample_places(path, np.array([pitch]))) for path in paths]
        flags = [room_to_opposite(path, paths, pitch) for path in paths]
        nearest.append((KDTree(np.concatenate(spots)), np.concatenate(flags)) if spots else None)
    tracks = []
    for base in started[-1]:
        places = sample_places(base, pitches)
        spots_here = base.at(places)
        fit = np.full(len(places), kinds - 1, dtype=np.intp)
        for i in range(kinds - 2, -1, -1):
            found = nearest[i]
            if found is None:
                break
            away, index = found[0].query(spots_here)
            reach = _REACH * abs(shifts[i] - shifts[-1]) + pitches[i] / 8
            fit[(away <= reach) & found[1][index] & (fit == i + 1)] = i
        sizes = choose_sizes(fit, float(places[1]), pitches, np.zeros(len(places)), base.closed)
        tracks.append(_joined(base, places, sizes, started, pitches))
    return tracks


def _joined(
    base: Path, places: Points, sizes: Sizes, curves: list[list[Path]], pitches: Points
) -> Track:
    """Return a path that runs on each size's own curve in turn."""
    for _ in range(len(pitches) * len(places)):
        gauge = gauge_of(places, sizes, pitches)
        stops = np.append(gauge.start[1:], base.length)
        cuts = list(zip(gauge.start.tolist(), stops.tolist(), gauge.size.tolist(), strict=True))
        if len(cuts) == 1:
            path = _whole(base, curves[cuts[0][2]], 2 * float(pitches[0]))
            if path is not None:
                return Track(path, Gauge(np.zeros(1), gauge.size, path.length, pitches))
            parts, bad = [], 0
        else:
            found = [_part(base, cuts, k, curves, pitches) for k in range(len(cuts))]
            parts = [part for part in found if part is not None]
            bad = next((k for k, part in enumerate(found) if part is None), -1)
            if bad < 0:
                return _track(parts, gauge.size, base.closed, pitches)
        low, high, size = cuts[bad]
        sizes = np.where((places >= low) & (places <= high), min(size + 1, len(pitches) - 1), sizes)
    return Track(base, Gauge(np.zeros(1), sizes[:1] * 0 + len(pitches) - 1, base.length, pitches))


def _whole(base: Path, paths: list[Path], apart: float) -> Path | None:
    """Return the curve that goes with all of a base curve, if one does."""
    for path in sorted(paths, key=lambda path: round(abs(path.length - base.length), 6)):
        if path.closed == base.closed and base.length < _DETOUR * path.length:
            line = LineString(path.points)
            if float(shapely.distance(line, shapely.Point(base.points[0]))) < apart:
                return path
    return None


def _part(
    base: Path,
    cuts: list[tuple[float, float, int]],
    k: int,
    curves: list[list[Path]],
    pitches: Points,
) -> Path | None:
    """Return the stretch of run k on its own size's curve, shorter where it leads to a larger."""
    low, high, size = cuts[k]
    before = cuts[k - 1][2] if k or base.closed else size
    after = cuts[(k + 1) % len(cuts)][2] if k + 1 < len(cuts) or base.closed else size
    low += float(pitches[size]) if before < size else 0.0
    high -= float(pitches[size]) if after < size else 0.0
    if size == len(pitches) - 1:
        return base.between(low, high)
    ends = base.at([low, high])
    for path in curves[size]:
        line = LineString(path.points)
        start, stop = (float(line.project(shapely.Point(spot))) for spot in ends)
        spots = path.at([start, stop])
        if float(np.hypot(*(spots - ends).T).max()) > float(pitches[0]):
            continue
        if path.closed and stop <= start:
            stop += path.length
        length = high - low
        if start < stop and length / _DETOUR < stop - start < length * _DETOUR:
            return path.between(start, stop)
    return None


def _track(parts: list[Path], sizes: Sizes, closed: bool, pitches: Points) -> Track:
    """Join the stretches by straight ramps, which belong to the smaller size."""
    path = Path.of(np.concatenate([part.points for part in parts]), closed)
    start, at = [0.0], 0.0
    for k, part in enumerate(parts[:-1]):
        at += part.length
        ramp = float(np.hypot(*(parts[k + 1].points[0] - part.points[-1])))
        start.append(at + (ramp if sizes[k + 1] < sizes[k] else 0.0))
        at += ramp
    size = sizes.copy()
    end = float(np.hypot(*(parts[0].points[0] - parts[-1].points[-1]))) if closed else 0.0
    if closed and end > 1e-9 and sizes[0] > sizes[-1]:
        start.append(path.length - end)
        size = np.append(size, sizes[0])
    return Track(path, Gauge(np.array(start), size, path.length, pitches))
