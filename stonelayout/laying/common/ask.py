"""What a pattern is asked, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from shapely.geometry.base import BaseGeometry

from stonelayout.findings import Finding
from stonelayout.geometry.neighbours import clear_of
from stonelayout.geometry.points import Points
from stonelayout.model.artwork import Line


@dataclass(frozen=True)
class Spec:
    """One stone size as a pattern sees it: diameter and least centre distance (pitch), in mm."""

    diameter: float
    pitch: float

    def inset(self, options: Mapping[str, Any]) -> float:
        """Return how far centres stay inside an outline, in mm: half a stone and the margin."""
        return self.diameter / 2 + float(options.get("margin", 0.0))


@dataclass(frozen=True, eq=False)
class Obstacles:
    """Stones laid by earlier rules, which this one gives way to.

    ``centres`` (m, 2) in mm; ``distance`` (m, k): least centre distance in mm between obstacle i
    and a stone of size k of this ask.
    """

    centres: Points
    distance: Points

    @classmethod
    def none(cls, sizes: int = 1) -> Obstacles:
        """No obstacles at all."""
        return cls(np.empty((0, 2)), np.empty((0, sizes)))

    def __len__(self) -> int:
        return len(self.centres)

    def near(self, bounds: tuple[float, float, float, float]) -> Obstacles:
        """Return those whose distance reaches the box ``bounds`` (x0, y0, x1, y1), in mm."""
        x, y = self.centres.T
        x0, y0, x1, y1 = bounds
        reach = self.distance.max(axis=1) if len(self) else np.empty(0)
        near = (x > x0 - reach) & (x < x1 + reach) & (y > y0 - reach) & (y < y1 + reach)
        return Obstacles(self.centres[near], self.distance[near])

    def clear(self, centres: Points, size: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
        """Tell which stones (n, 2) of sizes (n,) keep their distance from all, (n,). Exact."""
        return clear_of(centres, self.centres, self.distance, size)


@dataclass(frozen=True, eq=False)
class Ask:
    """What one rule asks of one shape.

    ``region`` holds the polygons to cover, in mm, with their holes: a stone of diameter D must
    have its centre at least D / 2 + margin inside (None for a shape that is only a line).
    ``lines`` are the shape's subpaths as drawn. ``sizes`` are the sizes allowed, largest first.
    ``options`` holds the pattern's own options, already checked; lengths in mm.
    """

    region: BaseGeometry | None
    lines: tuple[Line, ...]
    sizes: tuple[Spec, ...]
    options: Mapping[str, Any] = field(default_factory=dict)
    obstacles: Obstacles | None = None
    name: str = ""

    def pitch(self, first: int, second: int) -> float:
        """Least centre distance in mm between stones of two sizes (by index)."""
        return (self.sizes[first].pitch + self.sizes[second].pitch) / 2


@dataclass(frozen=True, eq=False)
class Laid:
    """What a pattern laid: ``centres`` (n, 2) in mm, ``size`` (n,) indexing ``Ask.sizes``.

    ``findings`` tells what could not be laid and why.
    """

    centres: Points
    size: npt.NDArray[np.intp]
    findings: tuple[Finding, ...] = ()

    @classmethod
    def of(cls, centres: npt.ArrayLike, **rest: Any) -> Laid:
        """Make an answer in which every stone has the first size."""
        table = np.asarray(centres, dtype=np.float64).reshape(-1, 2)
        return cls(table, np.zeros(len(table), dtype=np.intp), **rest)
