"""Local insertion: make room for one more disc by moving those around a vacancy.

Many windows are relaxed at once, each as a trial of its own; of those solved, the ones that do
not overlap are taken (after the vacancy-based insertion of arXiv 2405.16618, made local).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points
from stonelayout.laying.solvers.relaxation import Trial, relax
from stonelayout.laying.solvers.room_distance import Wall
from stonelayout.laying.solvers.voids import Vacancies

#: Radius of a window in pitches at the first, second, third try of a place.
WINDOWS = (4.0, 5.0, 7.0)
#: Discs within this many pitches beyond a window hold still around it.
RIM = 1.2
#: Windows relaxed together.
TOGETHER = 48
#: A vacancy within this many pitches of a mirror takes a disc on it.
ON_MIRROR = 0.3


class Inserter:
    """Inserts discs, one sweep after another, and remembers where it failed.

    Vacancies narrower than ``narrowest`` pitches are not tried; the holes of a perfect 60 degree
    grid have 0.577.
    """

    def __init__(
        self,
        wall: Wall,
        vacancies: Vacancies,
        pitch: float,
        mirrors: Mirrors,
        *,
        steps: int,
        narrowest: float,
    ) -> None:
        self.wall, self.vacancies, self.pitch = wall, vacancies, pitch
        self.mirrors, self.steps, self.narrowest = mirrors, steps, narrowest * pitch
        self.rng = np.random.default_rng(0)
        self.failed: dict[tuple[int, int, int], int] = {}

    def sweep(self, centres: Points, tries: int) -> tuple[Points, int]:
        """Try the vacancies once; return the discs, and how many places were tried."""
        everything = self.mirrors.everywhere(centres)
        places, clearance = self.vacancies.find(everything, self.narrowest)
        places, ours = self.mirrors.onto(places, ON_MIRROR * self.pitch)
        places, clearance = places[ours], clearance[ours]
        fails = np.array([self._fails(place, centres) for place in places], dtype=int)
        order = np.argsort(-(clearance * 0.9**fails), kind="stable")
        order = order[fails[order] < tries]
        tried = 0
        for begin in range(0, len(order), TOGETHER):
            some = order[begin : begin + TOGETHER]
            tried += len(some)
            centres = self._attempt(centres, places[some], fails[some])
        return centres, tried

    def _key(self, place: Points, centres: Points) -> tuple[int, int, int]:
        # a place is another one when the discs around it have moved
        near = np.hypot(*(centres - place).T) < 2 * self.pitch
        mark = round(float(centres[near].sum()) / self.pitch * 20)
        cell = np.floor(place / (self.pitch / 4)).astype(int)
        return int(cell[0]), int(cell[1]), mark

    def _fails(self, place: Points, centres: Points) -> int:
        return self.failed.get(self._key(place, centres), 0)

    def _attempt(
        self,
        centres: Points,
        places: Points,
        fails: npt.NDArray[np.intp],
    ) -> Points:
        trials, moved = [], []
        for place, failed in zip(places, fails, strict=True):
            away = np.hypot(*(centres - place).T)
            radius = WINDOWS[min(failed, len(WINDOWS) - 1)] * self.pitch
            mine = np.flatnonzero(away < radius + RIM * self.pitch)
            loose = away[mine] < radius
            start = np.concatenate((centres[mine], [place]))
            free = np.append(loose, True)
            if failed:
                shaken = self.mirrors.shaken(start, 0.06 * self.pitch, self.rng)
                start = np.where(free[:, None], shaken, start)
            trials.append(Trial(start, free, self.mirrors))
            moved.append(mine)
        touched = np.zeros(len(centres), dtype=np.bool_)
        added: list[Points] = []
        centres = centres.copy()
        results = relax(trials, self.wall, self.steps, hasty=True)
        for place, mine, (found, rest) in zip(places, moved, results, strict=True):
            if rest > 0:
                key = self._key(place, centres)
                self.failed[key] = self.failed.get(key, 0) + 1
            elif not touched[mine].any():
                centres[mine] = found[:-1]
                touched[mine] = True
                added.append(found[-1])
        if added:
            centres = np.concatenate((centres, np.array(added)))
        return centres
