"""Path data (the ``d`` attribute): all commands, packed arc flags, broken data kept to its prefix.

Grammar and error handling: SVG 2, chapter "Paths": a path is drawn up to the first error.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import Final

import numpy as np

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import MOST_POINTS, Subpath

from .arcs import with_arcs

_NUMBER: Final = r"[-+]?+(?:\d++\.?+\d*+|\.\d++)(?:[eE][-+]?+\d++)?+"
_SPACE: Final = r"[ \t\r\n\f]*+"
_GAP: Final = rf"{_SPACE},?+{_SPACE}"


def _repeated(*arguments: str) -> str:
    once = _GAP.join(arguments)
    return rf"{_SPACE}{once}(?:{_GAP}{once})*+"


_ARC_ARGUMENTS: Final = (*[_NUMBER] * 3, "[01]", "[01]", *[_NUMBER] * 2)
_DRAWN: Final = "|".join(
    (
        f"[LlTt]{_repeated(_NUMBER, _NUMBER)}",
        f"[HhVv]{_repeated(_NUMBER)}",
        f"[Cc]{_repeated(*[_NUMBER] * 6)}",
        f"[SsQq]{_repeated(*[_NUMBER] * 4)}",
        f"[Aa]{_repeated(*_ARC_ARGUMENTS)}",
        "[Zz]",
    )
)
_MOVED: Final = f"[Mm]{_repeated(_NUMBER, _NUMBER)}"
#: The longest start of some text that is path data.
_PATH: Final = re.compile(
    rf"{_SPACE}(?:{_MOVED}{_SPACE}(?:(?:{_MOVED}|{_DRAWN}){_SPACE})*+)?+", re.ASCII
)
_NUMBERS: Final = re.compile(_NUMBER, re.ASCII)
_ARCS: Final = re.compile(_GAP.join(f"({part})" for part in _ARC_ARGUMENTS), re.ASCII)
_COMMANDS: Final = re.compile(r"([MmZzLlHhVvCcSsQqTtAa])")
_LETTERS: Final = "MmZzLlHhVvCcSsQqTtAa"
#: Runs of relative lines longer than this are added up with numpy.
_LONG: Final = 16
_NO_CONTROL: Final = ("", 0.0, 0.0)


@dataclass(frozen=True)
class PathData:
    """What was read: the subpaths, and what was wrong ("" when nothing was)."""

    subpaths: list[Subpath]
    problem: str = ""


def parse_path(d: str) -> PathData:
    """Read path data; what stands before the first error is kept.

    Raises ArtworkError for numbers that are not finite and for more than ``MOST_POINTS`` points.
    """
    if (
        d.count(" ") + d.count(",") + d.count("-") > 2 * MOST_POINTS
        or sum(map(d.count, _LETTERS)) > MOST_POINTS
    ):
        raise ArtworkError(f"a path of over {MOST_POINTS:,} points is too large")
    match = _PATH.match(d)
    good = match.group() if match else ""
    rest = " ".join(d[len(good) : len(good) + 1000].split())
    problem = ""
    if rest and not good.strip():
        problem = "path data must start with M"
    elif rest:
        problem = f'its path data are wrong from "{rest if len(rest) <= 20 else rest[:19] + "…"}"'
    builder = _PathBuilder()
    builder.draw(_COMMANDS.split(good))
    return PathData(builder.subpaths(), problem)


class _PathBuilder:
    """Follows the commands; ``flat`` and ``degrees`` hold all subpaths one after another."""

    def __init__(self) -> None:
        self.flat: list[float] = []  # x, y, x, y ...
        self.degrees: list[int] = []
        #: Where each subpath begins in ``flat`` and ``degrees``, and whether it is closed.
        self.begins: list[tuple[int, int]] = []
        self.closed: list[bool] = []
        self.drawing = False
        self.x = self.y = 0.0
        self.start = (0.0, 0.0)
        self.control: tuple[str, float, float] = _NO_CONTROL
        #: Each arc's place in ``degrees``, start, radii, rotation and flags; a line stands for it.
        self.arcs: list[tuple[float, ...]] = []

    def draw(self, pieces: list[str]) -> None:
        """Carry out all commands: letters at odd places, each with its arguments after it."""
        at, count = 1, len(pieces)
        numbers, arcs = _NUMBERS.findall, _ARCS.findall
        while at < count:
            command, text = pieces[at], pieces[at + 1]
            at += 2
            upper = command.upper()
            if upper == "Z":
                if self.drawing:
                    self._end(closed=True)
                self.x, self.y = self.start
                self.control = _NO_CONTROL
                continue
            if at < count and pieces[at] == command and upper != "M":
                first = at - 1
                while at < count and pieces[at] == command:
                    at += 2
                text = " ".join(pieces[first:at:2])
            parts = chain.from_iterable(arcs(text)) if upper == "A" else numbers(text)
            self._command(upper, list(map(float, parts)), relative=command != upper)
            if len(self.flat) > 2 * MOST_POINTS:
                raise ArtworkError(f"a path of over {MOST_POINTS:,} points is too large")
        if self.drawing:
            self._end(closed=False)

    def subpaths(self) -> list[Subpath]:
        """Return what was drawn. Raises ArtworkError for numbers that are not finite."""
        points = np.array(self.flat, dtype=np.float64).reshape(-1, 2)
        degrees = np.array(self.degrees, dtype=np.int8)
        if not np.isfinite(points).all():
            raise ArtworkError("a number in the path data is too large")
        begins = np.array([*self.begins, (len(self.flat), len(degrees))], dtype=np.int64)
        begins[:, 0] //= 2
        if self.arcs:
            points, degrees, begins = with_arcs(points, degrees, begins, np.array(self.arcs))
        return [
            Subpath(points[p:q], degrees[i:j], closed)
            for ((p, i), (q, j)), closed in zip(pairwise(begins.tolist()), self.closed, strict=True)
            if closed or j > i
        ]

    def _command(self, upper: str, values: list[float], *, relative: bool) -> None:
        if upper == "M":
            self._move(values[0], values[1], relative)
            values = values[2:]
            if not values:
                self.control = _NO_CONTROL
                return
            upper = "L"
        elif not self.drawing:
            self._begin()
        if upper in "LHVA":
            self.control = _NO_CONTROL
        if upper == "L":
            self._lines(values, relative)
        elif upper in "HV":
            self._straight(upper, values, relative)
        elif upper == "C":
            self._cubics(values, relative)
        elif upper == "Q":
            self._quadratics(values, relative)
        elif upper == "A":
            self._arcs(values, relative)
        else:
            self._smooth(upper, values, relative)

    def _begin(self) -> None:
        """Start a subpath at the current point."""
        self.start = (self.x, self.y)
        self.begins.append((len(self.flat), len(self.degrees)))
        self.flat += self.start
        self.drawing = True

    def _end(self, *, closed: bool) -> None:
        """Finish the subpath; a lone M without a close draws nothing."""
        self.drawing = False
        if not closed and len(self.degrees) == self.begins[-1][1]:
            del self.flat[self.begins.pop()[0] :]
        else:
            self.closed.append(closed)

    def _move(self, x: float, y: float, relative: bool) -> None:
        if self.drawing:
            self._end(closed=False)
        self.x, self.y = (self.x + x, self.y + y) if relative else (x, y)
        self._begin()

    def _lines(self, values: list[float], relative: bool) -> None:
        if relative and len(values) > _LONG:
            pairs = np.array(values).reshape(-1, 2)
            pairs[0] += (self.x, self.y)
            with np.errstate(all="ignore"):  # what is not finite is refused at the end
                values = np.cumsum(pairs, axis=0).ravel().tolist()
        elif relative:
            x, y = self.x, self.y
            for k in range(0, len(values), 2):
                values[k] = x = x + values[k]
                values[k + 1] = y = y + values[k + 1]
        self.flat += values
        self.degrees += [1] * (len(values) // 2)
        self.x, self.y = values[-2], values[-1]

    def _straight(self, upper: str, values: list[float], relative: bool) -> None:
        x, y = self.x, self.y
        for value in values:
            if upper == "H":
                x = x + value if relative else value
            else:
                y = y + value if relative else value
            self.flat += (x, y)
        self.degrees += [1] * len(values)
        self.x, self.y = x, y

    def _cubics(self, values: list[float], relative: bool) -> None:
        if relative:
            x, y = self.x, self.y
            for k in range(0, len(values), 6):
                ax, ay, bx, by, dx, dy = values[k : k + 6]
                values[k : k + 4] = x + ax, y + ay, x + bx, y + by
                values[k + 4] = x = x + dx
                values[k + 5] = y = y + dy
        self.flat += values
        self.degrees += [3] * (len(values) // 6)
        self.control = ("C", values[-4], values[-3])
        self.x, self.y = values[-2], values[-1]

    def _quadratics(self, values: list[float], relative: bool) -> None:
        if relative:
            x, y = self.x, self.y
            for k in range(0, len(values), 4):
                ax, ay, dx, dy = values[k : k + 4]
                values[k : k + 2] = x + ax, y + ay
                values[k + 2] = x = x + dx
                values[k + 3] = y = y + dy
        self.flat += values
        self.degrees += [2] * (len(values) // 4)
        self.control = ("Q", values[-4], values[-3])
        self.x, self.y = values[-2], values[-1]

    def _smooth(self, upper: str, values: list[float], relative: bool) -> None:
        """S and T: the first control point mirrors the last one of the curve before."""
        like, step = ("C", 4) if upper == "S" else ("Q", 2)
        x, y = self.x, self.y
        kind, cx, cy = self.control
        if kind != like:
            cx, cy = x, y
        for k in range(0, len(values), step):
            ox, oy = (x, y) if relative else (0.0, 0.0)
            ax, ay = 2.0 * x - cx, 2.0 * y - cy
            x, y = values[k + step - 2] + ox, values[k + step - 1] + oy
            if upper == "S":
                cx, cy = values[k] + ox, values[k + 1] + oy
                self.flat += (ax, ay, cx, cy, x, y)
            else:
                cx, cy = ax, ay
                self.flat += (ax, ay, x, y)
        self.degrees += [3 if upper == "S" else 2] * (len(values) // step)
        self.control = (like, cx, cy)
        self.x, self.y = x, y

    def _arcs(self, values: list[float], relative: bool) -> None:
        x, y = self.x, self.y
        place = len(self.degrees)
        for k in range(0, len(values), 7):
            rx, ry, rotation, large, sweep, ex, ey = values[k : k + 7]
            if relative:
                ex, ey = x + ex, y + ey
            self.arcs.append((place, x, y, rx, ry, rotation, large, sweep))
            self.flat += (ex, ey)
            x, y, place = ex, ey, place + 1
        self.degrees += [1] * (len(values) // 7)
        self.x, self.y = x, y
