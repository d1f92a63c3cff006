"""Mirrors: lines of symmetry through a frame's origin, and the images that they make."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points

#: A disc stands on a mirror when it is this near to it, in mm.
ON_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Mirrors:
    """Mirrors by their unit normals (k, 2), k = 0, 1 or 2: a disc p has ``p @ normal >= 0``.

    ``group`` holds the matrices (2, 2) of all that reflecting can do, the identity first.
    """

    normals: Points
    group: tuple[Points, ...]

    @classmethod
    def at(cls, *angles: float) -> Mirrors:
        """Return the mirrors whose normals point at ``angles`` in radians."""
        normals = np.array([[math.cos(a), math.sin(a)] for a in angles]).reshape(-1, 2)
        normals[np.abs(normals) < 1e-15] = 0.0
        flips = [np.eye(2) - 2 * np.outer(n, n) for n in normals]
        found = [np.eye(2)]
        for element in found:  # the list grows until it is closed
            for flip in flips:
                new = element @ flip
                if all(np.abs(new - old).max() > 1e-9 for old in found):
                    found.append(new)
        return cls(normals, tuple(found))

    def __len__(self) -> int:
        return len(self.normals)

    @cached_property
    def lines(self) -> Points:
        """Unit normals (m, 2) of all mirrors and their images."""
        found = [(np.eye(2) - element) / 2 for element in self.group if np.linalg.det(element) < 0]
        # n n^T of a unit normal n
        normals = [
            square[k] / math.sqrt(square[k, k])
            for square in found
            for k in [int(square[1, 1] > square[0, 0])]
        ]
        return np.array(normals).reshape(-1, 2)

    @property
    def axes(self) -> tuple[bool, bool]:
        """Tell whether x = 0 and y = 0 are among the mirrors and their images."""
        flips = np.eye(2) * [[[-1], [1]], [[1], [-1]]]
        found = [any(np.abs(g - flip).max() < 1e-9 for g in self.group) for flip in flips]
        return found[0], found[1]

    def on(self, centres: Points) -> npt.NDArray[np.bool_]:
        """Tell which discs stand on which mirror, shape (n, k)."""
        return np.asarray(np.abs(centres @ self.normals.T) <= ON_MM)

    def shaken(self, centres: Points, by: float, rng: np.random.Generator) -> Points:
        """Return discs moved at random, normally by ``by`` mm along each axis.

        Those on a mirror move along it only, those on two not at all.
        """
        on, moves = self.on(centres), by * rng.standard_normal(centres.shape)
        for k, normal in enumerate(self.normals):
            moves -= np.where(on[:, k], moves @ normal, 0.0)[:, None] * normal
        moves[on.sum(axis=1) > 1] = 0.0
        found: Points = centres + moves
        return found

    def onto(self, places: Points, reach: float) -> tuple[Points, npt.NDArray[np.bool_]]:
        """Return places (n, 2), those within ``reach`` mm of a mirror on it, and which to keep.

        Those beyond a mirror are images of others: they are not to be kept.
        """
        between = np.ones(len(places), dtype=np.bool_)
        for normal in self.normals:
            height = places @ normal
            between &= height > -ON_MM
            near = np.where(height < reach, height, 0.0)
            places = places - near[:, None] * normal
        return places, between

    def between(self, centres: Points, reach: float) -> Points:
        """Return the discs between the mirrors; those within ``reach`` mm of one go onto it."""
        for normal in self.normals:
            height = centres @ normal
            near = np.abs(height) < reach
            moved = centres - np.where(near, height, 0.0)[:, None] * normal
            centres = moved[near | (height > 0)]
        return centres

    def folded(self, centres: Points) -> Points:
        """Return discs reflected until they lie between the mirrors."""
        for _ in self.group:
            for normal in self.normals:
                height = centres @ normal
                centres = centres - 2 * np.minimum(height, 0.0)[:, None] * normal
        return centres

    def keep(self, centres: Points) -> bool:
        """Tell whether discs are their own images, to a millionth of a mm."""
        from scipy.spatial import KDTree

        tree = KDTree(centres) if len(centres) else None
        return tree is None or all(
            bool(np.max(tree.query(centres @ element.T)[0]) < 1e3 * ON_MM) for element in self.group
        )

    def copies(self, centres: Points) -> npt.NDArray[np.intp]:
        """Return how many discs each stands for, itself included, shape (n,)."""
        size = len(self.group)
        found: npt.NDArray[np.intp] = np.array([size, size // 2, 1], dtype=np.intp)[
            self.on(centres).sum(axis=1)
        ]
        return found

    def everywhere(self, centres: Points) -> Points:
        """Return discs with all their images; what stands on a mirror has no image there."""
        parts = [centres]
        for k, element in enumerate(self.group[1:], start=1):
            image = centres @ element.T
            fresh = np.ones(len(centres), dtype=np.bool_)
            for other in self.group[:k]:
                fresh &= np.abs(image - centres @ other.T).max(axis=1) > 1e3 * ON_MM
            parts.append(image[fresh])
        return np.concatenate(parts)


NONE = Mirrors.at()
