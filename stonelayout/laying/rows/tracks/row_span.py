"""A span of a row: the stretch between two pinned stones, and its splits into equal chords."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stonelayout.geometry.equal_chords import NONE, SHORT, equal_chords, most_equal, split
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.rows.tracks.size_runs import SizeRuns, Sizes

#: Times that sizes are looked up again at the places that were found, and as often to smaller.
_ROUNDS = 5
#: Counts below the largest that could fit that are tried where chords are not all alike.
_FEWER = 12


@dataclass
class RowSpan:
    """A stretch between pinned places: arc lengths, and for each count its split.

    ``first`` and ``last`` are what the chords at its ends are multiplied by; chords are given
    for a stone of the first size. ``sizes`` holds the sizes of the stones of each split, where
    the row has several; ``ends`` those of the pinned stones.
    """

    start: float
    stop: float
    part: Polyline
    first: float
    last: float
    size_runs: SizeRuns | None
    ends: tuple[int, int]
    splits: dict[int, tuple[Points, float]]
    sizes: dict[int, Sizes]
    most: int

    @classmethod
    def of(
        cls,
        path: Polyline,
        start: float,
        stop: float,
        tips: tuple[float, float],
        pitch: float,
        size_runs: SizeRuns | None = None,
        ends: tuple[int, int] = (0, 0),
    ) -> RowSpan:
        """Make the span from start to stop of a path, with the most chords it takes."""
        span = cls(start, stop, path.between(start, stop), *tips, size_runs, ends, {}, {}, 0)
        if max(tips) > 1.0 or span.mixed:
            span.most = span._most_unlike(pitch)
        if not span.most:
            span.first = span.last = 1.0
            if span.mixed:
                span.most = span._most_unlike(pitch)
            else:
                places, chord = most_equal(span.part, pitch)
                span.most = max(len(places) - 1, 0)
                if span.most:
                    span.splits[span.most] = places, chord
        return span

    @property
    def mixed(self) -> bool:
        """Whether there are stones of other sizes than the first."""
        return self.size_runs is not None and (
            max(self.ends) > 0 or bool(self.size_runs.spread(self.start, self.stop, 64).any())
        )

    def _solve(self, count: int, pitch: float) -> tuple[Points, float]:
        ratio = np.ones(count)
        ratio[0] = self.first
        ratio[-1] = max(ratio[-1], self.last)
        if not self.mixed or self.size_runs is None:
            return equal_chords(self.part, count, ratio)
        sizes = self.size_runs.spread(self.start, self.stop, count)
        sizes[[0, -1]] = self.ends
        found = NONE
        for turn in range(2 * _ROUNDS):
            own = self.size_runs.pitches[sizes]
            found = equal_chords(self.part, count, ratio * (own[1:] + own[:-1]) / 2 / pitch)
            if not len(found[0]):
                return NONE
            fresh = self.size_runs.at(self.start + found[0])
            if turn >= _ROUNDS:  # it goes round and round: only smaller from here on
                fresh = np.maximum(sizes, fresh)
            fresh[[0, -1]] = self.ends
            if (fresh == sizes).all():
                self.sizes[count] = sizes
                return found
            sizes = fresh
        return NONE

    def _most_unlike(self, pitch: float) -> int:
        size = self.part.length / pitch
        if self.mixed and self.size_runs is not None:
            size = self.size_runs.stones(self.start, self.stop) + 1
        count = int(size * (1 + 1e-9) - (self.first + self.last - 2))
        for tried in range(count, max(count - _FEWER, 0), -1):
            found = self._solve(tried, pitch)
            if len(found[0]) and found[1] >= pitch * (1 - SHORT):
                self.splits[tried] = found
                return tried
        return 0

    def split(self, count: int, pitch: float) -> tuple[Points, float]:
        """Return the split into so many chords (empty, nan when there is none)."""
        if count not in self.splits:
            if max(self.first, self.last) > 1.0 or self.mixed:
                self.splits[count] = self._solve(count, pitch)
            else:
                self.splits[count] = split(self.part, count, pitch)
        return self.splits[count]

    def sizes_of(self, count: int) -> Sizes:
        """Return the sizes (count + 1,) of the stones of a split."""
        if count in self.sizes:
            return self.sizes[count]
        return np.zeros(count + 1, dtype=np.intp)

    def chord(self, count: int) -> float:
        """Return about the chord of a split into so many."""
        if count in self.splits:
            return self.splits[count][1]
        return self.splits[self.most][1] * self.most / count
