"""Path data (the ``d`` attribute): all commands, packed arc flags, broken data kept to its prefix.

Grammar and error handling: SVG 2, chapter "Paths": a path is drawn up to the first error.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import chain
from typing import Final

import numpy as np

from stonelayout.curves import MOST_POINTS, Subpath, arc_cubics
from stonelayout.errors import ArtworkError

_NUMBER: Final = r"[-+]?+(?:\d++\.?+\d*+|\.\d++)(?:[eE][-+]?+\d++)?+"
_GAP: Final = r"[ \t\r\n\f]*+,?+[ \t\r\n\f]*+"
_NUMBERS: Final = re.compile(_NUMBER, re.ASCII)
_LIST: Final = re.compile(
    rf"[ \t\r\n\f]*+(?:{_NUMBER}(?:{_GAP}{_NUMBER})*+)?+[ \t\r\n\f]*+", re.ASCII
)
_ARC: Final = re.compile(
    rf"({_NUMBER}){_GAP}({_NUMBER}){_GAP}({_NUMBER}){_GAP}([01]){_GAP}([01]){_GAP}"
    rf"({_NUMBER}){_GAP}({_NUMBER})",
    re.ASCII,
)
_SPACE: Final = re.compile(r"[ \t\r\n\f]*+")
_SEPARATOR: Final = re.compile(_GAP)
_COMMANDS: Final = re.compile(r"([MmZzLlHhVvCcSsQqTtAa])")
_ARITY: Final = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7}


@dataclass(frozen=True)
class PathData:
    """What was read: the subpaths, and what was wrong ("" when nothing was)."""

    subpaths: list[Subpath]
    problem: str = ""


def parse_path(d: str) -> PathData:
    """Read path data; what stands before the first error is kept.

    Raises ArtworkError for numbers that are not finite and for more than ``MOST_POINTS`` points.
    """
    if d.count(" ") + d.count(",") + d.count("-") > 2 * MOST_POINTS:
        raise ArtworkError(f"a path of over {MOST_POINTS:,} points is too large")
    pen = _Pen()
    pieces = _COMMANDS.split(d)
    problem = "" if not pieces[0].strip() else "path data must start with M"
    for k in range(1, len(pieces), 2):
        if problem:
            break
        command, text = pieces[k], pieces[k + 1]
        if k == 1 and command not in "Mm":
            problem = "path data must start with M"
            break
        values, problem = _arguments(command, text)
        pen.draw(command, values)
    pen.end(closed=False)
    return PathData(pen.subpaths, problem)


def _arguments(command: str, text: str) -> tuple[list[float], str]:
    upper = command.upper()
    if upper == "Z":
        return [], "" if not text.strip() else f'"{_short(text)}" after {command}'
    if upper == "A":
        values, problem = _arc_arguments(text)
    else:
        match = _LIST.match(text)
        good = match.group() if match else ""
        values = list(map(float, _NUMBERS.findall(good)))
        problem = "" if len(good) == len(text) else f'"{_short(text[len(good) :])}" in {command}'
        extra = len(values) % _ARITY[upper]
        if extra or not values:
            problem = problem or f"{command} has {len(values)} numbers"
            values = values[: len(values) - extra]
    if values and not (max(values) < float("inf") and min(values) > float("-inf")):
        raise ArtworkError("a number in the path data is too large")
    return values, problem


def _arc_arguments(text: str) -> tuple[list[float], str]:
    values: list[float] = []
    at = _SPACE.match(text).end()  # type: ignore[union-attr]  # it matches the empty string
    while match := _ARC.match(text, at):
        values += map(float, match.groups())
        at = match.end()
        after = _SEPARATOR.match(text, at).end()  # type: ignore[union-attr]  # as above
        if after == len(text):
            break
        at = after
    rest = text[at:].strip()
    return values, f'"{_short(rest)}" in an arc' if rest or not values else ""


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 20 else text[:19] + "…"


class _Pen:
    """Follows the commands and collects subpaths."""

    def __init__(self) -> None:
        self.subpaths: list[Subpath] = []
        self.flat: list[float] = []  # x, y, x, y ... of the subpath being drawn
        self.degrees: list[int] = []
        self.x = self.y = 0.0
        self.start = (0.0, 0.0)
        self.control: tuple[str, float, float] = ("", 0.0, 0.0)
        self.total = 0

    def draw(self, command: str, values: list[float]) -> None:
        """Carry out one command with all its arguments."""
        upper = command.upper()
        relative = command != upper
        if upper == "Z":
            self.end(closed=True)
            self.x, self.y = self.start
        elif upper == "M":
            if values:
                self._move(values[0], values[1], relative)
                self._lines(values[2:], relative)
        elif upper == "L":
            self._lines(values, relative)
        elif upper in "HV":
            self._straight(upper, values, relative)
        elif upper in "CS":
            self._cubics(upper, values, relative)
        elif upper in "QT":
            self._quadratics(upper, values, relative)
        else:
            self._arcs(values, relative)
        if upper not in "CSQT":
            self.control = ("", 0.0, 0.0)
        self.total += len(values) // 2
        if self.total > MOST_POINTS:
            raise ArtworkError(f"a path of over {MOST_POINTS:,} points is too large")

    def end(self, *, closed: bool) -> None:
        """Finish the subpath; a lone M without a close draws nothing."""
        if self.flat and (self.degrees or closed):
            points = np.array(self.flat, dtype=np.float64).reshape(-1, 2)
            degrees = np.array(self.degrees, dtype=np.int8)
            self.subpaths.append(Subpath(points, degrees, closed))
        self.flat, self.degrees = [], []

    def _begin(self) -> None:
        """Start a subpath at the current point where none is being drawn (after Z)."""
        if not self.flat:
            self.start = (self.x, self.y)
            self.flat = [self.x, self.y]

    def _move(self, x: float, y: float, relative: bool) -> None:
        self.end(closed=False)
        if relative:
            x, y = self.x + x, self.y + y
        self.x, self.y = x, y
        self._begin()

    def _lines(self, values: list[float], relative: bool) -> None:
        if not values:
            return
        self._begin()
        if relative:
            pairs = np.array(values).reshape(-1, 2)
            pairs[0] += (self.x, self.y)
            values = np.cumsum(pairs, axis=0).ravel().tolist()
        self.flat += values
        self.degrees += [1] * (len(values) // 2)
        self.x, self.y = values[-2], values[-1]

    def _straight(self, upper: str, values: list[float], relative: bool) -> None:
        points: list[float] = []
        x, y = self.x, self.y
        for value in values:
            if upper == "H":
                x = x + value if relative else value
            else:
                y = y + value if relative else value
            points += (x, y)
        self._lines(points, relative=False)

    def _cubics(self, upper: str, values: list[float], relative: bool) -> None:
        if not values:
            return
        self._begin()
        x, y = self.x, self.y
        kind, cx, cy = self.control
        if kind != "cubic":
            cx, cy = x, y
        step = _ARITY[upper]
        out = self.flat
        for k in range(0, len(values), step):
            ox, oy = (x, y) if relative else (0.0, 0.0)
            if upper == "C":
                ax, ay = values[k] + ox, values[k + 1] + oy
            else:
                ax, ay = 2.0 * x - cx, 2.0 * y - cy
            cx, cy = values[k + step - 4] + ox, values[k + step - 3] + oy
            x, y = values[k + step - 2] + ox, values[k + step - 1] + oy
            out += (ax, ay, cx, cy, x, y)
        self.degrees += [3] * (len(values) // step)
        self.x, self.y = x, y
        self.control = ("cubic", cx, cy)

    def _quadratics(self, upper: str, values: list[float], relative: bool) -> None:
        if not values:
            return
        self._begin()
        x, y = self.x, self.y
        kind, cx, cy = self.control
        if kind != "quadratic":
            cx, cy = x, y
        step = _ARITY[upper]
        for k in range(0, len(values), step):
            ox, oy = (x, y) if relative else (0.0, 0.0)
            if upper == "Q":
                cx, cy = values[k] + ox, values[k + 1] + oy
            else:
                cx, cy = 2.0 * x - cx, 2.0 * y - cy
            x, y = values[k + step - 2] + ox, values[k + step - 1] + oy
            self.flat += (cx, cy, x, y)
        self.degrees += [2] * (len(values) // step)
        self.x, self.y = x, y
        self.control = ("quadratic", cx, cy)

    def _arcs(self, values: list[float], relative: bool) -> None:
        if not values:
            return
        self._begin()
        for k in range(0, len(values), 7):
            rx, ry, rotation, large, sweep, x, y = values[k : k + 7]
            if relative:
                x, y = self.x + x, self.y + y
            here = (self.x, self.y)
            if rx == 0.0 or ry == 0.0:
                self.flat += (x, y)
                self.degrees.append(1)
            else:
                points = arc_cubics(here, (rx, ry), rotation, large > 0, sweep > 0, (x, y))
                self.flat += chain.from_iterable(points)
                self.degrees += [3] * (len(points) // 3)
            self.x, self.y = x, y
