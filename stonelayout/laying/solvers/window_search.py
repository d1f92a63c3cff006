"""Search in windows: a change at one place, for which the discs around it make room.

Discs within a window move, those in a rim about it hold still. Many windows are relaxed at once,
each as a trial of its own; a change is made where its trial is solved and nothing else has moved
in its window (after the vacancy-based insertion of arXiv 2405.16618, made local).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points

from .mix import Mix
from .relaxation import Trial

#: Discs within this many pitches beyond a window hold still around it: more than one pitch, so that
#: what moves a little beyond the window still keeps its distance.
RIM = 1.2
#: A void within this many pitches of a mirror takes a disc on it: nearer than half a pitch no disc
#: and its image have room.
ON_MIRROR = 0.3
#: Windows relaxed together.
TOGETHER = 48
#: Places are told apart by cells of this size, in pitches, and by the discs within AROUND pitches.
CELL, AROUND = 0.25, 2.0

Key = tuple[int, ...]
Result = tuple[Points, float]


@dataclass(frozen=True, eq=False)
class Change:
    """What is tried at a ``place`` (2,): a disc more, or other sizes for those that stand.

    ``added``: the size of the new disc, None for no disc; ``resized``: discs by number, with the
    size of each and the one it takes; ``turn``: how often this failed before.
    """

    place: Points
    added: int | None = 0
    resized: tuple[tuple[int, int, int], ...] = ()
    turn: int = 0

    def holds(self, mix: Mix) -> bool:
        """Tell whether the discs still have the sizes that they are to lose."""
        return all(mix.size[disc] == was for disc, was, _ in self.resized)


@dataclass(frozen=True, eq=False)
class Window:
    """A change, the numbers of the discs that its trial holds, a new one last, and the trial."""

    change: Change
    mine: npt.NDArray[np.intp]
    trial: Trial


class Failures:
    """Remembers how often each change failed at a place.

    A place is another one when discs within ``around`` pitches of it have moved.
    """

    def __init__(self, pitch: float, around: float = AROUND) -> None:
        self.pitch, self.around = pitch, around
        self._turns: dict[Key, int] = {}

    def _key(self, mix: Mix, change: Change) -> Key:
        near = np.hypot(*(mix.centres - change.place).T) < self.around * self.pitch
        mark = float(mix.centres[near].sum()) / self.pitch + float(mix.size[near].sum())
        # cells as those of voids.widest, which leaves one place in each; without a mark a place
        # on a mirror keeps its cell whatever its last digit
        cell = np.floor(change.place / (CELL * self.pitch) + 0.5 * (not self.around)).astype(int)
        size = change.resized[0][2] if change.added is None and change.resized else change.added
        return int(cell[0]), int(cell[1]), round(mark * 20), -1 if size is None else size

    def turn(self, mix: Mix, change: Change) -> int:
        """Return how often a change failed."""
        return self._turns.get(self._key(mix, change), 0)

    def note(self, mix: Mix, change: Change) -> None:
        """Remember that a change failed in its turn."""
        self._turns[self._key(mix, change)] = change.turn + 1


def cut_window(
    mix: Mix,
    change: Change,
    radius: float,
    rim: float,
    mirrors: Mirrors,
    may_move: Callable[[npt.NDArray[np.intp], Points], npt.NDArray[np.bool_]] | None = None,
) -> Window:
    """Return the window of a change, with the discs within ``radius + rim`` mm of its place.

    Those within ``radius`` may move, or those that ``may_move`` tells by number and distance in mm.
    """
    away = np.hypot(*(mix.centres - change.place).T)
    mine = np.flatnonzero(away < radius + rim)
    free = may_move(mine, away[mine]) if may_move else away[mine] < radius
    inside = mix[mine]
    if change.resized:
        size = inside.size.copy()
        for disc, _, takes in change.resized:
            size[mine == disc] = takes
        inside = Mix(inside.centres, size)
    if change.added is not None:
        inside = inside.with_more(change.place[None], change.added)
        free = np.append(free, True)
    return Window(change, mine, Trial(inside.centres, free, mirrors, size=inside.size))


def search(
    mix: Mix,
    changes: Sequence[Change],
    cut: Callable[[Mix, Change], Window],
    solve: Callable[[list[Trial]], list[Result]],
    *,
    suits: Callable[[Window, Points], bool] | None = None,
    failures: Failures | None = None,
) -> tuple[Mix, int]:
    """Try changes in windows that ``cut`` returns; return the discs, and how many were made.

    ``solve`` relaxes trials; what it solved must ``suit`` too. Of changes in one another's way the
    first is made.
    """
    done = 0
    for begin in range(0, len(changes), TOGETHER):
        windows = [cut(mix, one) for one in changes[begin : begin + TOGETHER] if one.holds(mix)]
        results = solve([window.trial for window in windows])
        touched = np.zeros(len(mix), dtype=np.bool_)
        before, mix = mix, Mix(mix.centres.copy(), mix.size.copy())
        added: list[tuple[Points, int]] = []
        for window, (found, rest) in zip(windows, results, strict=True):
            mine, change = window.mine, window.change
            if rest > 0 or (suits and not suits(window, found)):
                if failures:
                    failures.note(before, change)
            elif not touched[mine].any():
                touched[mine] = True
                done += 1
                mix.centres[mine] = found[: len(mine)]
                for disc, _, takes in change.resized:
                    mix.size[disc] = takes
                if change.added is not None:
                    added.append((found[-1], change.added))
        for place, size in added:
            mix = mix.with_more(place[None], size)
    return mix, done
