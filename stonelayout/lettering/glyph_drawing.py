"""A drawing of one letter: path commands with their curves kept."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.units import number

#: A command of an SVG path: M, L, Q, C with absolute coordinates, or Z.
Command = tuple[str, tuple[float, ...]]
#: Straight pieces that one curve becomes when a drawing is measured (not when it is written).
PIECES = 12
_DIGITS = 4  # decimals of mm in a written path: 0.1 micrometre


@dataclass(frozen=True)
class Affine:
    """A map (x, y) -> (a x + c y + e, b x + d y + f), as in SVG's ``matrix()``."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Map one point."""
        return self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f

    def after(self, first: Affine) -> Affine:
        """Return the map that does ``first``, then this one."""
        e, f = self.point(first.e, first.f)
        return Affine(
            self.a * first.a + self.c * first.b,
            self.b * first.a + self.d * first.b,
            self.a * first.c + self.c * first.d,
            self.b * first.c + self.d * first.d,
            e,
            f,
        )


def move(x: float, y: float) -> Affine:
    """A shift."""
    return Affine(e=x, f=y)


def scale(factor: float) -> Affine:
    """An even scale about the origin."""
    return Affine(a=factor, d=factor)


def turn_at(x: float, y: float, angle: float) -> Affine:
    """Turn by ``angle`` radians (clockwise as seen, y down), then move the origin to (x, y)."""
    c, s = math.cos(angle), math.sin(angle)
    return Affine(c, s, -s, c, x, y)


@dataclass(frozen=True)
class Drawing:
    """Path commands, y down. ``stroked``: lines to follow; else regions to fill (nonzero rule)."""

    commands: tuple[Command, ...] = ()
    stroked: bool = False

    def __bool__(self) -> bool:
        return bool(self.commands)

    def mapped(self, by: Affine) -> Drawing:
        """Return the drawing with every point mapped."""
        commands = []
        for op, values in self.commands:
            pairs = (by.point(values[k], values[k + 1]) for k in range(0, len(values), 2))
            commands.append((op, tuple(v for pair in pairs for v in pair)))
        return Drawing(tuple(commands), self.stroked)

    def subpaths(self) -> list[tuple[Command, ...]]:
        """Return the commands of each subpath, M first."""
        found: list[list[Command]] = []
        for command in self.commands:
            if command[0] == "M":
                found.append([])
            found[-1].append(command)
        return [tuple(part) for part in found]

    def lines(self, pieces: int = PIECES) -> list[Points]:
        """Return each subpath flattened, shape (n, 2); a closed one repeats its first point."""
        return [_flat(part, pieces) for part in self.subpaths()]

    def bounds(self) -> tuple[float, float, float, float]:
        """Return the box (x0, y0, x1, y1) of what is drawn (curves measured, not controls)."""
        points = np.concatenate(self.lines())
        low, high = points.min(axis=0), points.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def svg(self) -> str:
        """Return the ``d`` of an SVG path; a dot is a line of no length, which round caps show."""
        words = []
        for part in self.subpaths():
            for op, values in part:
                words.append(op + " ".join(number(value, _DIGITS) for value in values))
            if len(part) == 1:
                words.append("h0")
        return " ".join(words)


def joined(drawings: Iterable[Drawing]) -> Drawing:
    """Return one drawing with the commands of all; they must be of one kind."""
    parts = list(drawings)
    commands = tuple(command for part in parts for command in part.commands)
    return Drawing(commands, parts[0].stroked if parts else False)


@lru_cache(maxsize=16)
def _bernstein(pieces: int, degree: int) -> Points:
    """Return the Bernstein polynomials at the ends of the pieces, shape (pieces, degree + 1)."""
    t = np.linspace(0, 1, pieces + 1)[1:, None]
    k = np.arange(degree + 1)
    choose = np.array([math.comb(degree, i) for i in range(degree + 1)])
    table: Points = choose * t**k * (1 - t) ** (degree - k)
    return table


def _flat(commands: Sequence[Command], pieces: int) -> Points:
    points: list[Sequence[float]] = []
    for op, v in commands:
        if op in "ML":
            points.append(v)
        elif op == "Z":
            points.append(points[0])
        else:
            controls = np.array((*points[-1], *v)).reshape(-1, 2)
            points += (_bernstein(pieces, len(controls) - 1) @ controls).tolist()
    return np.array(points)
