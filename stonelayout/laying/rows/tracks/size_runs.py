"""Which size a row has where: the largest that fits, changes few and orderly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline

Sizes = npt.NDArray[np.intp]

#: A run of one size has so many stones at least, and so many at the ends of an open line.
LEAST_RUN, LEAST_END_RUN = 5.0, 4.0
#: What one change of size is worth, in stones that are a size too small.
_CHANGE = 2.5
#: What a stone is worth that is left out at the end of a line, where its size does not fit.
_LEFT_OUT = 1.5
#: What a sample costs where its size does not fit: more than any row.
_MISFIT = 1e6
#: What a stone costs for each size that it is unlike the one it faces: more than it gains.
_UNLIKE = 1.5
#: A run is centred where it is needed by this share of a stone for each pitch it is off.
_CENTRED = 1e-3
#: Samples a pitch of the smallest size, and what their number on a closed path is a multiple of.
SAMPLES, _ALIKE = 8, 120
#: Within this, in mm, of a change of size it is the smaller one's.
_AT_CHANGE = 1e-6


@dataclass(frozen=True, eq=False)
class SizeRuns:
    """Sizes along a path: size ``size[k]`` from arc length ``start[k]`` mm to the next start.

    ``pitches`` (sizes,) in mm, the largest first. ``length`` is the path's.
    """

    start: Points
    size: Sizes
    length: float
    pitches: Points

    def at(self, s: npt.ArrayLike) -> Sizes:
        """Return the sizes (k,) at arc lengths s (k,); past the end it goes round.

        At a change the smaller one's, whichever way the path runs.
        """
        s = np.asarray(s, dtype=np.float64).reshape(-1)
        s = np.where(s > self.length, s - self.length, s)
        before, after = (
            self.size[np.maximum(np.searchsorted(self.start, s + step, side="right") - 1, 0)]
            for step in (-_AT_CHANGE, _AT_CHANGE)
        )
        return np.maximum(before, after)

    def stones(self, start: float, stop: float) -> float:
        """Return how many pitches there are from start to stop (up to one length past it)."""
        knots, total = self._knots(start, stop)
        return float(total[-1]) if len(knots) > 1 else 0.0

    def only(self, size: int) -> SizeRuns:
        """Return the gauge with one size all along."""
        return SizeRuns(np.zeros(1), np.array([size], dtype=np.intp), self.length, self.pitches)

    def spread(self, start: float, stop: float, count: int) -> Sizes:
        """Return the sizes (count + 1,) of stones that split a stretch into so many steps."""
        knots, total = self._knots(start, stop)
        places = np.interp(np.linspace(0.0, float(total[-1]), count + 1), total, knots)
        return self.at(places)

    def _knots(self, start: float, stop: float) -> tuple[Points, Points]:
        cuts = np.concatenate((self.start, self.start + self.length))
        inner = cuts[(cuts > start) & (cuts < stop)]
        knots = np.concatenate(([start], inner, [stop]))
        sizes = self.at((knots[1:] + knots[:-1]) / 2)
        steps = np.diff(knots) / self.pitches[sizes]
        return knots, np.concatenate(([0.0], np.cumsum(steps)))


@dataclass(frozen=True, eq=False)
class Track:
    """A curve that a row runs on, with the sizes along it (None: the first everywhere).

    ``depth`` is twice the number of rows between it and the outline, and one more beside holes:
    where rows meet, the outer ones stay.
    """

    path: Polyline
    size_runs: SizeRuns | None = None
    depth: int = 0


def sample_places(path: Polyline, pitches: Points) -> Points:
    """Return rising arc lengths (n,) at which the room along a path is looked at.

    Their number is such that mirror images of the path's parts have theirs at like places.
    """
    count = max(int(np.ceil(path.length / float(pitches.min()) * SAMPLES)), 4)
    alike = _ALIKE if path.closed else 2
    return np.linspace(0.0, path.length, -(-count // alike) * alike + 1)


def choose_sizes(
    fit: Sizes,
    step: float,
    pitches: Points,
    loose: Points,
    closed: bool,
    facing: Sizes | None = None,
) -> Sizes:
    """Choose a size for each sample of a row: the largest that fits, in few and long runs.

    ``fit`` (n,) is the largest size that fits at each sample (the number of sizes where none
    does), ``step`` mm apart, the first and the last on one place where ``closed``; ``loose`` (n,)
    tells where a stone that does not fit may be left out later; ``facing`` (n,) is the size that
    faces each sample across a stroke, -1 where none does. Exact by dynamic programming over
    runs: neighbours in the list follow each other, a run has at least LEAST_RUN stones,
    LEAST_END_RUN at the ends of an open row. What is mirror-symmetric gets symmetric sizes, and
    what runs the other way the same sizes that way.
    """
    kinds, count = len(pitches), len(fit)
    fit = _grown(np.minimum(fit, kinds - 1), closed)
    if not fit.any() or step <= 0:
        return np.full(count, fit.max(), dtype=np.intp)
    facing = np.full(count, -1, dtype=np.intp) if facing is None else facing
    if is_symmetric(fit, closed) and (loose == loose[::-1]).all():
        fit = np.maximum(fit, fit[::-1])
        turns = _turns(fit) if closed else 1
        for turn in range(turns):
            shift = turn * (count - 1) // turns
            fit = np.maximum(fit, np.append(np.roll(fit[:-1], shift), fit[-1 - shift]))
        domain = (count - 1) // (2 * turns if closed else 2) + 1
        costs = _costs(fit, step, pitches, loose, facing)[:, : domain + 1]
        ends = ((LEAST_RUN / 2) if closed else LEAST_END_RUN, LEAST_RUN / 2)
        half = _runs(costs, *_samples(ends, pitches, step), None)[1]
        turned = np.concatenate((half, half[-2::-1]))
        return np.concatenate([turned[:1], *([turned[1:]] * (turns if closed else 1))])
    back = (fit[::-1].tolist(), loose[::-1].tolist()) < (fit.tolist(), loose.tolist())
    if back:
        fit, loose, facing = fit[::-1], loose[::-1], facing[::-1]
    costs = _costs(fit, step, pitches, loose, facing)
    ends = (LEAST_RUN / 2, LEAST_RUN / 2) if closed else (LEAST_END_RUN, LEAST_END_RUN)
    best: tuple[float, Sizes] | None = None
    for first in range(kinds) if closed else (None,):
        found = _runs(costs, *_samples(ends, pitches, step), first)
        if best is None or found[0] < best[0] - 1e-9:
            best = found
    sizes = best[1] if best else fit
    return sizes[::-1] if back else sizes


def _grown(fit: Sizes, closed: bool) -> Sizes:
    """Return the smallest of the sizes that fit at each sample and beside it."""
    wide = np.concatenate((fit[-2:-1], fit, fit[1:2])) if closed else np.pad(fit, 1, mode="edge")
    return np.maximum(np.maximum(wide[:-2], wide[1:-1]), wide[2:])


def is_symmetric(fit: Sizes, closed: bool) -> bool:
    """Tell whether a row has room for the same sizes when it is run the other way, to a sample."""
    return _like(fit, fit[::-1], closed)


def _like(fit: Sizes, other: Sizes, closed: bool) -> bool:
    """Tell whether two rows have room for the same sizes, to a sample."""
    return bool((other <= _grown(fit, closed)).all() and (fit <= _grown(other, closed)).all())


def _turns(fit: Sizes) -> int:
    """Return how many times a closed row looks the same in one turn."""
    ring = fit[:-1]
    for turns in range(12, 1, -1):
        if _ALIKE % (2 * turns) == 0:
            turned = np.roll(ring, len(ring) // turns)
            if _like(fit, np.append(turned, turned[0]), closed=True):
                return turns
    return 1


def _costs(fit: Sizes, step: float, pitches: Points, loose: Points, facing: Sizes) -> Points:
    """Return what the first k samples cost (sizes, n + 1) when all have one size.

    A sample costs what it holds of a stone for each size that it is too small, and more for each
    that it is unlike the one it faces. The farther it is from where its size is needed the more,
    by so little that it only centres runs.
    """
    kinds, count = len(pitches), len(fit)
    rank = np.arange(kinds)[:, None]
    small = np.concatenate(([0.0], np.cumsum(step / pitches[:-1])))[:, None]
    misfit = np.where(loose > 0, _LEFT_OUT * step / float(pitches.min()), _MISFIT)
    index = np.arange(count)
    away = np.zeros((kinds, count))
    for size in range(1, kinds):
        needed = np.flatnonzero(fit >= size)
        if len(needed):
            after = np.minimum(np.searchsorted(needed, index), len(needed) - 1)
            around = needed[[np.maximum(after - 1, 0), after]]
            away[size] = np.abs(around - index).min(axis=0) * step / pitches[size]
    unlike = np.where(facing >= 0, np.abs(rank - facing), 0) * step / pitches[:, None]
    cost = small * (1 + _CENTRED * away) + _UNLIKE * unlike + np.where(rank < fit, misfit, 0.0)
    return np.concatenate((np.zeros((kinds, 1)), np.cumsum(cost, axis=1)), axis=1)


def _samples(ends: tuple[float, float], pitches: Points, step: float) -> tuple[Sizes, Sizes, Sizes]:
    """Return how many samples a run has at least: between others, at the start, at the end."""
    run, start, stop = (
        np.ceil(stones * pitches / step - 1e-9).astype(np.intp) for stones in (LEAST_RUN, *ends)
    )
    return run, start, stop


def _runs(
    total: Points, run: Sizes, start: Sizes, end: Sizes, first: int | None
) -> tuple[float, Sizes]:
    """Return the cheapest runs; with ``first`` given the row starts and ends with that size."""
    kinds, count = total.shape[0], total.shape[1] - 1
    ripe = np.full((kinds, count + 1), np.inf)  #: cost of k samples, the last run long enough
    source: dict[tuple[int, int], tuple[int, int]] = {}
    for k in range(1, count + 1):
        for i in range(kinds):
            value, came = np.inf, (i, k - 1)
            if first in (None, i) and k >= min(start[i], count):
                value, came = float(total[i, k]), (i, 0)
            if ripe[i, k - 1] + total[i, k] - total[i, k - 1] < value:
                value, came = float(ripe[i, k - 1] + total[i, k] - total[i, k - 1]), (i, k - 1)
            back = k - int(end[i] if k == count else run[i])
            for j in (i - 1, i + 1):
                if back > 0 and 0 <= j < kinds:
                    price = float(ripe[j, back] + _CHANGE + total[i, k] - total[i, back])
                    if price < value - 1e-9:
                        value, came = price, (j, back)
            ripe[i, k] = value
            source[i, k] = came
    last = int(np.argmin(ripe[:, count])) if first is None else first
    sizes = np.zeros(count, dtype=np.intp)
    i, k = last, count
    while k > 0:
        j, back = source[i, k]
        sizes[back:k] = i
        i, k = j, back
    return float(ripe[last, count]), sizes


def size_runs_of(places: Points, sizes: Sizes, pitches: Points) -> SizeRuns:
    """Return the gauge of samples ``places`` (n,) with sizes (n,); changes lie half-way."""
    change = np.flatnonzero(np.diff(sizes)) + 1
    start = np.concatenate(([0.0], (places[change] + places[change - 1]) / 2))
    size = sizes[np.concatenate(([0], change))]
    return SizeRuns(start, size, float(places[-1]), pitches)
