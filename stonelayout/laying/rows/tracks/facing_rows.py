"""Rows opposite each other: where one has room beside another, or beside itself."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.rows.tracks.row import row_corners
from stonelayout.laying.rows.tracks.size_runs import sample_places

#: Stones of one row nearer along it than this, in pitches, are beside each other, not opposite;
#: nor are those farther apart than this share of the way along it.
BESIDE, BENT = 1.5, 0.45
#: Lines meet where they come nearer than this, in pitches; so far from there, in pitches along a
#: line, the other is no row opposite.
_MEET, _PARTED = 0.25, 4.0
#: The sides of a corner are no opposite rows up to so many pitches along the line, and along an
#: edge row, where sharper corners (26 degrees) are tips for smaller stones.
_FOLD, _TIP = 8.0, 4.5
#: A corner of which this holds turns by more than this, in degrees: less is the end of a bar.
_TURN = 100.0
#: Room for no more than so many pitches between places without is the end of a bar, and none.
_END = 2.5
#: Parallel rows have room when so much of the one farthest in has.
_NEARLY_ALL = 0.9


def has_room(paths: Sequence[Polyline], pitch: float) -> bool:
    """Tell whether rows on these curves keep clear of each other along (nearly) all of them."""
    if not paths:
        return False
    clear = np.concatenate([room_to_opposite(path, paths, pitch) for path in paths])
    return float(clear.mean()) >= _NEARLY_ALL


def room_to_opposite(
    path: Polyline, others: Sequence[Polyline], pitch: float
) -> npt.NDArray[np.bool_]:
    """Tell at which samples of a path (``sample_places``) no row opposite is within a pitch.

    ``others`` are all curves of the same rows, the path among them. The sides of a corner are
    not opposite each other, unless it is a long tip.
    """
    places = sample_places(path, np.array([pitch]))
    clear = np.ones(len(places), dtype=np.bool_)
    for other in others:
        mine, step, _ = _opposite(path, places, other, pitch)
        clear[mine[~_folds(path, other, places[mine], step, pitch, _TIP)]] = False
    bad = np.flatnonzero(~clear)
    for start, stop in itertools.pairwise(bad):
        if places[stop] - places[start] < _END * pitch:
            clear[start:stop] = False
    round_ = places[bad[0]] + path.length - places[bad[-1]] if len(bad) and path.closed else np.inf
    if round_ < _END * pitch:
        clear[bad[-1] :], clear[: bad[0]] = False, False
    return clear


def room_on_line(
    path: Polyline, others: Sequence[Polyline], pitch: float, places: Points
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
    path: Polyline, places: Points, other: Polyline, pitch: float
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
        beyond = (np.abs(step) > BESIDE * pitch) & (near["v"] < BENT * np.abs(step))
        near, step = near[beyond], step[beyond]
    return near["i"], step, near["v"]


def _folds(
    path: Polyline, other: Polyline, places: Points, step: Points, pitch: float, most: float
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


def _away(places: Points, spots: Points, path: Polyline) -> Points:
    """Return how far places (n,) of a path are along it from the nearest of its spots."""
    if not len(spots):
        return np.full(len(places), np.inf)
    turns = path.length * np.arange(-1.0, 2.0) if path.closed else np.zeros(1)
    around = np.sort((spots + turns[:, None]).ravel())
    after = np.minimum(np.searchsorted(around, places), len(around) - 1)
    steps = np.abs(around[[np.maximum(after - 1, 0), after]] - places)
    return np.asarray(steps.min(axis=0), dtype=np.float64)
