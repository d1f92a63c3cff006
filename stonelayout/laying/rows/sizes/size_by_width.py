"""Edge rows of several sizes: each stretch on the curve of the largest size that has room."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.rows.tracks.facing_rows import BENT, BESIDE, room_to_opposite
from stonelayout.laying.rows.tracks.row_curves import own_start, own_starts
from stonelayout.laying.rows.tracks.size_runs import (
    Sizes,
    Track,
    choose_sizes,
    is_symmetric,
    sample_places,
)

from .multi_size_path import joined

#: The curve of another size is looked for so many times as far as its offset differs (at a corner
#: of 60 degrees it is twice as far), that of an inner row less far (a corner of 90 degrees: 1.42).
_REACH, _INNER_REACH = 2.2, 1.5
#: Rows whose curves for the smallest size are within so many pitches of the largest face each
#: other: they have the same sizes.
_FACING = 2.2
#: Rounds in which rows take on the sizes of rows they face, and as many for each size in which
#: all rows take on what one of them has room for.
_ROUNDS = 4

#: The curves on which rows of each size run.
Curves = list[list[Polyline]]
#: Tells for points (n, 2) a size (n,).
SizeAt = Callable[[Points], Sizes]


def sized_rows(
    rows: Sequence[Curves], shifts: Sequence[Sequence[float]], pitches: Points
) -> list[Track]:
    """Return a track for each curve of the smallest size, with sizes by local width.

    ``rows[r][i]`` are the curves on which row r runs, the outermost first, where its stones have
    size i; ``shifts[r][i]`` mm from the outline. A size has room where all rows have. They change
    their size at the same places.
    """
    rows = [[[own_start(path) for path in paths] for paths in curves] for curves in rows]
    rooms: list[SizeAt] = []
    for curves, shift in zip(rows, shifts, strict=True):
        share = _INNER_REACH if rooms else _REACH
        reaches = [
            share * abs(s - shifts[0][-1]) + p / 8 for s, p in zip(shift, pitches, strict=True)
        ]
        rooms.append(_room(curves, reaches, pitches))

    def most(spots: Points) -> Sizes:
        return np.asarray(np.max([room(spots) for room in rooms], axis=0), dtype=np.intp)

    outer = _sampled(rows[0][-1], pitches, most)
    fits, tracks = outer.sizes, list[Track]()
    for _ in range(_ROUNDS * len(pitches)):
        row = replace(outer, sizes=_alike(outer.paths, outer.places, fits, pitches))
        tracks, fits, before = [], fits.copy(), fits
        for depth, (curves, shift) in enumerate(zip(rows, shifts, strict=True)):
            if depth:
                row = _sampled(curves[-1], pitches, row.nearest())
            reach = max(float(pitches[0]), _REACH * max(abs(s - shift[-1]) for s in shift))
            found = [joined(*base, curves, pitches, reach) for base in row.each()]
            tracks += [Track(track.path, track.size_runs, 2 * depth) for track, _ in found]
            had = [
                np.where(sizes > own, sizes, 0)
                for (_, sizes), own in zip(found, row.sizes, strict=True)
            ]
            if any(size.any() for size in had):  # to do with a smaller size: then all rows do
                least = outer.map(replace(row, sizes=had).nearest())
                fits = [np.maximum(fit, size) for fit, size in zip(fits, least, strict=True)]
        if all((one == two).all() for one, two in zip(before, fits, strict=True)):
            break
    return tracks


@dataclass(frozen=True)
class _SampledRow:
    """Curves of one row, places (n,) in mm along each, and sizes (n,) there."""

    paths: list[Polyline]
    places: list[Points]
    sizes: list[Sizes]

    def each(self) -> Iterator[tuple[Polyline, Points, Sizes]]:
        return zip(self.paths, self.places, self.sizes, strict=True)

    def map(self, size_at: SizeAt) -> list[Sizes]:
        return [size_at(path.at(at)) for path, at, _ in self.each()]

    def nearest(self) -> SizeAt:
        """Return a function from points (n, 2) to the sizes (n,) at the nearest places."""
        from scipy.spatial import KDTree

        tree = KDTree(np.concatenate([path.at(at) for path, at, _ in self.each()]))
        known = np.concatenate(self.sizes)
        return lambda spots: known[tree.query(spots)[1]]


def _sampled(paths: Sequence[Polyline], pitches: Points, size_at: SizeAt) -> _SampledRow:
    """Return curves from their own start, with the sizes that fit there.

    Of several axes of a curve it starts on one that the sizes have too.
    """
    found = _SampledRow([], [], [])
    for path in paths:
        ways = []
        for base in own_starts(path):
            at = sample_places(base, pitches)
            ways.append((base, at, size_at(base.at(at))))
        base, at, size = next((w for w in ways if is_symmetric(w[2], w[0].closed)), ways[0])
        found.paths.append(base)
        found.places.append(at)
        found.sizes.append(size)
    return found


def _room(curves: Curves, reach: Sequence[float], pitches: Points) -> SizeAt:
    """Return a function from points (n, 2) to the largest sizes (n,) that have room there.

    A size has room on its own curves, which count within ``reach[i]`` mm of a point.
    """
    from scipy.spatial import KDTree

    kinds = len(pitches)
    nearest = []
    for paths, pitch in zip(curves, pitches.tolist(), strict=True):
        spots = [path.at(sample_places(path, np.array([pitch]))) for path in paths]
        flags = [room_to_opposite(path, paths, pitch) for path in paths]
        nearest.append((KDTree(np.concatenate(spots)), np.concatenate(flags)) if spots else None)

    def fit_of(spots: Points) -> Sizes:
        fit = np.full(len(spots), kinds - 1, dtype=np.intp)
        for i in range(kinds - 2, -1, -1):
            found = nearest[i]
            if found is None:
                break
            away, index = found[0].query(spots)
            fit[(away <= reach[i]) & found[1][index] & (fit == i + 1)] = i
        return fit

    return fit_of


def _alike(
    paths: list[Polyline], places: list[Points], fits: list[Sizes], pitches: Points
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
    facing = other | ((step > BESIDE * pitches[0]) & (apart < BENT * step))
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
