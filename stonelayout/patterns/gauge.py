"""Which size a row has where: the largest that fits, changes few and orderly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.polylines import Path, Points

Sizes = npt.NDArray[np.intp]

#: A run of one size has so many stones at least, and so many at the ends of an open line.
LEAST_RUN, LEAST_END_RUN = 5.0, 4.0
#: What one change of size is worth, in stones that are a size too small.
_CHANGE = 2.5
#: What a stone is worth that is left out at the end of a line, where its size does not fit.
_LEFT_OUT = 1.5
#: What a sample costs where its size does not fit: more than any row.
_MISFIT = 1e6
#: Samples a pitch of the smallest size.
SAMPLES = 8


@dataclass(frozen=True, eq=False)
class Gauge:
    """Sizes along a path: size ``size[k]`` from arc length ``start[k]`` mm to the next start.

    ``pitches`` (sizes,) in mm, the largest first. ``length`` is the path's.
    """

    start: Points
    size: Sizes
    length: float
    pitches: Points

    def at(self, s: npt.ArrayLike) -> Sizes:
        """Return the sizes (k,) at arc lengths s (k,); past the end it goes round."""
        s = np.asarray(s, dtype=np.float64).reshape(-1)
        s = np.where(s > self.length, s - self.length, s)
        return self.size[np.maximum(np.searchsorted(self.start, s, side="right") - 1, 0)]

    def stones(self, start: float, stop: float) -> float:
        """Return how many pitches there are from start to stop (up to one length past it)."""
        knots, total = self._knots(start, stop)
        return float(total[-1]) if len(knots) > 1 else 0.0

    def only(self, size: int) -> Gauge:
        """Return the gauge with one size all along."""
        return Gauge(np.zeros(1), np.array([size], dtype=np.intp), self.length, self.pitches)

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

    path: Path
    gauge: Gauge | None = None
    depth: int = 0


def sample_places(path: Path, pitches: Points) -> Points:
    """Return rising arc lengths (n,) at which the room along a path is looked at."""
    count = max(int(np.ceil(path.length / float(pitches.min()) * SAMPLES)), 4)
    return np.linspace(0.0, path.length, count + 1)


def choose_sizes(fit: Sizes, step: float, pitches: Points, loose: Points, closed: bool) -> Sizes:
    """Choose a size for each sample of a row: the largest that fits, in few and long runs.

    ``fit`` (n,) is the largest size that fits at each sample (the number of sizes where none
    does), ``step`` mm apart; ``loose`` (n,) tells where a stone that does not fit may be left
    out later. Exact by dynamic programming over runs: neighbours in the list follow each other,
    a run has at least LEAST_RUN stones, LEAST_END_RUN at the ends of an open row.
    """
    kinds, count = len(pitches), len(fit)
    fit = np.minimum(fit, kinds - 1)
    wide = np.concatenate((fit[-1:], fit, fit[:1])) if closed else np.pad(fit, 1, mode="edge")
    fit = np.maximum(np.maximum(wide[:-2], wide[1:-1]), wide[2:])
    if not fit.any() or step <= 0:
        return np.full(count, fit.max(), dtype=np.intp)
    rank = np.arange(kinds)[:, None]
    misfit = np.where(loose > 0, _LEFT_OUT * step / float(pitches.min()), _MISFIT)
    small = np.concatenate(([0.0], np.cumsum(step / pitches[:-1])))[:, None]
    cost = small + np.where(rank < fit, misfit, 0.0)
    total = np.concatenate((np.zeros((kinds, 1)), np.cumsum(cost, axis=1)), axis=1)
    run = np.ceil(LEAST_RUN * pitches / step).astype(int)
    end = np.ceil((LEAST_RUN / 2 if closed else LEAST_END_RUN) * pitches / step).astype(int)
    best: tuple[float, Sizes] | None = None
    for first in range(kinds) if closed else (None,):
        found = _runs(total, run, end, first)
        if best is None or found[0] < best[0] - 1e-9:
            best = found
    return best[1] if best else fit


def _runs(total: Points, run: Sizes, end: Sizes, first: int | None) -> tuple[float, Sizes]:
    """Return the cheapest runs; with ``first`` given the row starts and ends with that size."""
    kinds, count = total.shape[0], total.shape[1] - 1
    ripe = np.full((kinds, count + 1), np.inf)  #: cost of k samples, the last run long enough
    source: dict[tuple[int, int], tuple[int, int]] = {}
    for k in range(1, count + 1):
        for i in range(kinds):
            value, came = np.inf, (i, k - 1)
            if first in (None, i) and k >= min(end[i], count):
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


def gauge_of(places: Points, sizes: Sizes, pitches: Points) -> Gauge:
    """Return the gauge of samples ``places`` (n,) with sizes (n,); changes lie half-way."""
    change = np.flatnonzero(np.diff(sizes)) + 1
    start = np.concatenate(([0.0], (places[change] + places[change - 1]) / 2))
    size = sizes[np.concatenate(([0], change))]
    return Gauge(start, size, float(places[-1]), pitches)
