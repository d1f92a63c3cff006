"""Edge rows of several sizes: each stretch on the curve of the largest size that has room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString

from stonelayout.polylines import Path, Points

from .curves import axis_of, own_start, own_starts, with_its_image
from .gauge import Gauge, Sizes, Track, choose_sizes, gauge_of, is_symmetric, sample_places
from .rows import row_corners

#: Stones of one row nearer along it than this, in pitches, are beside each other, not opposite;
#: nor are those farther apart than this share of the way along it.
_BESIDE, _BENT = 1.5, 0.45
#: The curve of another size is looked for so many times as far as its offset differs (at a corner
#: of 60 degrees it is twice as far).
_REACH = 2.2
#: Lines meet where they come nearer than this, in pitches; so far from there, in pitches along a
#: line, the other is no row opposite.
_MEET, _PARTED = 0.25, 4.0
#: The sides of a corner are no opposite rows up to so many pitches along the line, and along an
#: edge row, where sharper corners (26 degrees) are tips for smaller stones.
_FOLD, _TIP = 8.0, 4.5
#: A corner of which this holds turns by more than this, in degrees: less is the end of a bar.
_TURN = 100.0
#: Rows whose curves for the smallest size are within so many pitches of the largest face each
#: other: they have the same sizes.
_FACING = 2.2
#: Changes of size that lie so near to each other's mirror images, in mm, are symmetric: curves of
#: unlike sizes are flattened each for itself.
_ALIKE_MM = 0.05
#: Rounds in which rows take on the sizes of rows they face.
_ROUNDS = 4
#: Parallel rows have room when so much of the one farthest in has.
_NEARLY_ALL = 0.9
#: Places at which a stretch of one curve is held against another's.
_PROBES = 9
#: The curve of another size may be longer or shorter than the smallest size's by this factor.
_DETOUR = 1.6


def room_to_opposite(path: Path, others: Sequence[Path], pitch: float) -> npt.NDArray[np.bool_]:
    """Tell at which samples of a path (``sample_places``) no row opposite is within a pitch.

    ``others`` are all curves of the same rows, the path among them. The sides of a corner are
    not opposite each other, unless it is a long tip.
    """
    places = sample_places(path, np.array([pitch]))
    clear = np.ones(len(places), dtype=np.bool_)
    for other in others:
        mine, step, _ = _opposite(path, places, other, pitch)
        clear[mine[~_folds(path, other, places[mine], step, pitch, _TIP)]] = False
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
    for other in others:
        mine, step, apart = _opposite(path, places, other, pitch)
        real = ~_folds(path, other, places[mine], step, pitch, _FOLD)
        clear[mine[real]] = False
        met[mine[real & (apart < _MEET * pitch)]] = True
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
        beyond = (np.abs(step) > _BESIDE * pitch) & (near["v"] < _BENT * np.abs(step))
        near, step = near[beyond], step[beyond]
    return near["i"], step, near["v"]


def _folds(
    path: Path, other: Path, places: Points, step: Points, pitch: float, most: float
) -> npt.NDArray[np.bool_]:
    """Tell which places face, a step on, the other side of a corner, at most so many pitches on.

    A corner whose sides face each other farther on is the end of something narrow.
    """
    fold = np.zeros(len(places), dtype=np.bool_)
    if other is not path or not len(places):
        return fold
    corners = row_corners(path, pitch)
    middle = places + step / 2
    if path.closed:
        middle %= path.length
    for bend in corners.at[np.abs(corners.turn) > np.radians(_TURN)]:
        near = _away(middle, np.array([bend]), path) < pitch
        if near.any() and float(np.abs(step[near]).max()) < most * pitch:
            fold |= near
    return fold


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

    def fit_of(base: Path, places: Points) -> Sizes:
        spots = base.at(places)
        fit = np.full(len(spots), kinds - 1, dtype=np.intp)
        for i in range(kinds - 2, -1, -1):
            found = nearest[i]
            if found is None:
                break
            away, index = found[0].query(spots)
            reach = _REACH * abs(shifts[i] - shifts[-1]) + pitches[i] / 8
            fit[(away <= reach) & found[1][index] & (fit == i + 1)] = i
        return fit

    bases, places, fits = [], [], []
    for path in curves[-1]:
        for base in own_starts(path):
            at = sample_places(base, pitches)
            fit = fit_of(base, at)
            if is_symmetric(fit, base.closed):
                break
        bases.append(base)
        places.append(at)
        fits.append(fit)
    sizes = _alike(bases, places, fits, pitches)
    return [
        _joined(base, at, own, started, pitches)
        for base, at, own in zip(bases, places, sizes, strict=True)
    ]


def _alike(
    paths: list[Path], places: list[Points], fits: list[Sizes], pitches: Points
) -> list[Sizes]:
    """Choose the sizes of rows, those that face each other across a stroke alike."""
    from scipy.spatial import KDTree

    def chosen(facing: Sizes) -> list[Sizes]:
        rows = zip(fits, places, paths, np.split(facing, cuts), strict=True)
        return [
            choose_sizes(fit, float(at[1]), pitches, np.zeros(len(at)), path.closed, faced)
            for fit, at, path, faced in rows
        ]

    cuts = np.cumsum([len(at) for at in places])[:-1]
    faced = np.full(sum(map(len, places)), -1, dtype=np.intp)
    sizes = chosen(faced)
    if not paths:
        return sizes
    spots = np.concatenate([path.at(at) for path, at in zip(paths, places, strict=True)])
    row = np.repeat(np.arange(len(paths)), [len(at) for at in places])
    along = np.concatenate(places)
    length = np.array([path.length if path.closed else np.inf for path in paths])
    near = KDTree(spots).query_pairs(_FACING * float(pitches[0]), output_type="ndarray")
    step = np.abs(along[near[:, 0]] - along[near[:, 1]])
    step = np.minimum(step, length[row[near[:, 0]]] - step)
    apart = np.hypot(*(spots[near[:, 0]] - spots[near[:, 1]]).T)
    other = row[near[:, 0]] != row[near[:, 1]]
    facing = other | ((step > _BESIDE * pitches[0]) & (apart < _BENT * step))
    near, apart = near[facing], apart[facing]
    near, apart = np.concatenate((near, near[:, ::-1])), np.tile(apart, 2)
    near = near[np.lexsort((near[:, 1], np.round(apart, 9), near[:, 0]))]
    first = np.unique(near[:, 0], return_index=True)[1]
    here, there = near[first].T
    for _ in range(_ROUNDS):
        faced[here] = np.concatenate(sizes)[there]
        before, sizes = sizes, chosen(faced)
        if all((one == two).all() for one, two in zip(before, sizes, strict=True)):
            break
    return sizes


def _joined(
    base: Path, places: Points, sizes: Sizes, curves: list[list[Path]], pitches: Points
) -> Track:
    """Return a path that runs on each size's own curve in turn."""
    smallest = len(pitches) - 1
    for _ in range(len(pitches) * len(places)):
        gauge = gauge_of(places, sizes, pitches)
        stops = np.append(gauge.start[1:], base.length)
        cuts = list(zip(gauge.start.tolist(), stops.tolist(), gauge.size.tolist(), strict=True))
        if len(cuts) == 1:
            path = _whole(base, curves[cuts[0][2]], 2 * float(pitches[0]))
            if path is not None:
                return Track(path, Gauge(np.zeros(1), gauge.size, path.length, pitches))
            found: list[Path | None] = [None]
        else:
            found = [_part(base, cuts, k, curves, pitches) for k in range(len(cuts))]
        parts = [part for part in found if part is not None]
        if len(parts) == len(cuts):
            return _symmetric(base, _track(parts, gauge.size, base.closed, pitches))
        for (low, high, size), part in zip(cuts, found, strict=True):
            if part is None:
                smaller = min(size + 1, smallest)
                sizes = np.where((places >= low) & (places <= high), smaller, sizes)
    return Track(base, Gauge(np.zeros(1), np.array([smallest]), base.length, pitches))


def _symmetric(base: Path, track: Track) -> Track:
    """Return a track as symmetric as its base curve, to the last digit."""
    axis, gauge = axis_of(base), track.gauge
    if axis is None or gauge is None or (gauge.size != gauge.size[::-1]).any():
        return track
    cuts = gauge.start[1:]
    back = gauge.length - cuts[::-1]
    if not np.allclose(cuts, back, rtol=0, atol=_ALIKE_MM):
        return track
    path = with_its_image(track.path, *axis)
    start = np.concatenate(([0.0], (cuts + back) / 2 * (path.length / gauge.length)))
    return Track(path, Gauge(start, gauge.size, path.length, gauge.pitches), track.depth)


def _whole(base: Path, paths: list[Path], apart: float) -> Path | None:
    """Return the curve that goes with all of a base curve, if one does."""
    spots = shapely.points(base.at(np.linspace(0.0, base.length, _PROBES)))
    for path in sorted(paths, key=lambda path: round(abs(path.length - base.length), 6)):
        if path.closed != base.closed or base.length >= _DETOUR * path.length:
            continue
        if bool((shapely.distance(LineString(path.points), spots) < apart).all()):
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
    ends, length = base.at([low, high]), high - low
    for path in [way for curve in curves[size] for way in (curve, curve.turned())]:
        line = LineString(path.points)
        start, stop = (float(line.project(shapely.Point(spot))) for spot in ends)
        spots = path.at([start, stop])
        if float(np.hypot(*(spots - ends).T).max()) > float(pitches[0]):
            continue
        if path.closed and stop <= start:
            stop += path.length
        if start < stop and length / _DETOUR < stop - start < length * _DETOUR:
            part = path.between(start, stop)
            middle = base.at(np.linspace(low, high, _PROBES))
            away = shapely.distance(LineString(part.points), shapely.points(middle))
            if float(away.max()) < 2 * float(pitches[0]):
                return part
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
