"""Discs of one size or several, largest first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points


@dataclass(frozen=True, eq=False)
class Mix:
    """Discs: ``centres`` (n, 2) in mm, ``size`` (n,), which of the sizes each has."""

    centres: Points
    size: npt.NDArray[np.intp]

    @classmethod
    def of(cls, centres: Points) -> Mix:
        """Return discs of the first size."""
        return cls(centres, np.zeros(len(centres), dtype=np.intp))

    def __len__(self) -> int:
        return len(self.size)

    def __getitem__(self, some: npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Mix:
        return Mix(self.centres[some], self.size[some])

    def moved(self, centres: Points) -> Mix:
        """Return the same discs at other places."""
        return Mix(centres, self.size)

    def with_more(self, centres: Points, size: int = 0) -> Mix:
        """Return the mix with more discs of one size."""
        added = np.full(len(centres), size, dtype=np.intp)
        return Mix(np.concatenate((self.centres, centres)), np.concatenate((self.size, added)))

    def everywhere(self, mirrors: Mirrors) -> Mix:
        """Return all discs with their images."""
        found = Mix.of(np.empty((0, 2)))
        for k in np.unique(self.size):
            found = found.with_more(mirrors.everywhere(self.centres[self.size == k]), int(k))
        return found
