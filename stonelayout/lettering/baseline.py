"""Base lines: where a letter stands at a distance along a straight line, an arc or a path."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stonelayout.errors import InputError
from stonelayout.geometry.points import Points
from stonelayout.units import mm

from .glyph_drawing import Affine, turn_at


class Baseline(Protocol):
    """A line on which letters stand."""

    @property
    def length(self) -> float | None:
        """Its length in mm; None where it has no end."""
        ...

    def place(self, along: float, down: float) -> Affine:
        """Return the map that brings a letter, its middle at x = 0, to its place.

        ``along`` is the distance from the line's start in mm; ``down`` shifts it below the line.
        """
        ...


@dataclass(frozen=True)
class StraightBaseline:
    """A level line from a point."""

    x: float
    y: float
    length: float | None = None

    def place(self, along: float, down: float) -> Affine:
        """Shift."""
        return Affine(e=self.x + along, f=self.y + down)


@dataclass(frozen=True)
class ArcBaseline:
    """A circle through (x, y): its top when ``radius`` is positive, else its bottom.

    Distances run along the circle itself, from that point, clockwise on top and counterclockwise
    at the bottom: left to right.
    """

    x: float
    y: float
    radius: float
    length: float | None = None

    def place(self, along: float, down: float) -> Affine:
        """Turn with the circle."""
        angle = along / self.radius
        up = self.radius - down
        if up * self.radius <= 0:
            raise InputError(
                f"an arc of radius {mm(abs(self.radius))} has no room for so many lines"
            )
        x = self.x + up * math.sin(angle)
        y = self.y + self.radius - up * math.cos(angle)
        return turn_at(x, y, angle)


class PathBaseline:
    """A drawn line, shape (n, 2). A closed one is given with its first point repeated."""

    def __init__(self, points: Points, name: str) -> None:
        steps = np.hypot(*np.diff(points, axis=0).T)
        self._points = points
        self._along = np.concatenate(([0.0], np.cumsum(steps)))
        self.length: float | None = float(self._along[-1])
        self.name = name

    def point(self, along: float) -> tuple[float, float]:
        """Return the point at a distance; beyond the ends the line goes on straight."""
        k = int(np.clip(np.searchsorted(self._along, along) - 1, 0, len(self._points) - 2))
        a, b = self._points[k], self._points[k + 1]
        t = (along - self._along[k]) / (self._along[k + 1] - self._along[k])
        return float(a[0] + t * (b[0] - a[0])), float(a[1] + t * (b[1] - a[1]))

    def place(self, along: float, down: float) -> Affine:
        """Stand at right angles to the line."""
        return self.chord(along, 0.5, down)

    def chord(self, along: float, half: float, down: float) -> Affine:
        """Stand on the chord between the points ``half`` before and after ``along``."""
        x0, y0 = self.point(along - half)
        x1, y1 = self.point(along + half)
        angle = math.atan2(y1 - y0, x1 - x0)
        x, y = self.point(along)
        return turn_at(x - down * math.sin(angle), y + down * math.cos(angle), angle)
