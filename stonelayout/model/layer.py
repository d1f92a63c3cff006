"""The template as values: layers of holes, the page that they share, and its registration."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.geometry.points import Points
from stonelayout.units import number

from .layout import Kind

Place = tuple[float, float]

#: Files hold places to six decimals of a mm, so a distance read from one may be this much short.
FILE_ROUNDING_MM = 3e-6
#: How a cut file says in its own text what was done to it.
CORRECTED, MIRRORED = "Corrected by a test bar", "Mirrored"
_UNSAFE = re.compile(r"[^a-z0-9_.]+")


@dataclass(frozen=True, eq=False)
class Layer:
    """The holes of one size and colour, cut as one sheet.

    ``order`` counts from 1 in lifting order; ``centres`` has shape (n, 2), in mm of the layout's
    frame; ``hole`` is the hole's diameter in mm. A kind that one sheet cannot hold is divided:
    this is template ``template`` of ``templates``. ``reason`` says why it is lifted at its turn.
    ``tile`` names the part of a design that one sheet cannot hold, "" for a whole one.
    """

    order: int
    kind: Kind
    centres: Points
    hole: float
    template: int = 1
    templates: int = 1
    reason: str = ""
    tile: str = ""

    def __len__(self) -> int:
        return len(self.centres)

    @property
    def name(self) -> str:
        """Name of the layer and of its files: ``01-ss6-crystal``, ``tile-1of3-02-ss6-jet-1of2``."""
        kind = "-".join(_safe(word) for word in (self.kind.size, self.kind.colour))
        part = f"-{self.template}of{self.templates}" if self.templates > 1 else ""
        tile = f"{self.tile}-" if self.tile else ""
        return f"{tile}{self.order:02d}-{kind}{part}"


def _safe(word: str) -> str:
    """Return a word that can stand in a file name on any system."""
    return _UNSAFE.sub("_", word.lower()).strip("._") or "x"


@dataclass(frozen=True)
class Page:
    """The piece of sheet that every layer of a job is cut from, in mm.

    A place in the layout's frame stands on the page at place + ``offset`` (whole mm, so that no
    decimals change); ``mirrored`` flips left and right, for a sheet that is cut from the back;
    ``scale`` corrects a cutter whose test bar measures short or long, along x and y.
    """

    width: float
    height: float
    offset: Place = (0.0, 0.0)
    mirrored: bool = False
    scale: Place = (1.0, 1.0)

    @property
    def size(self) -> Place:
        """Width and height in mm as written to the file, the scale correction included."""
        return self.width * self.scale[0], self.height * self.scale[1]

    def place(self, points: npt.ArrayLike) -> Points:
        """Return places of the layout's frame, shape (n, 2), as they stand on the page."""
        moved = np.asarray(points, dtype=np.float64).reshape(-1, 2) + self.offset
        if self.mirrored:
            moved[:, 0] = self.width - moved[:, 0]
        return moved * self.scale

    @property
    def worked_on(self) -> str:
        """What was done to the places, in words for the file itself; "" for nothing."""
        words = []
        if self.scale != (1.0, 1.0):
            x, y = (number(factor, 4) for factor in self.scale)
            words.append(f"{CORRECTED} (x {x}, y {y}): do not correct it again.")
        if self.mirrored:
            words.append(f"{MIRRORED}, for sheet cut from the back: do not mirror it again.")
        return " ".join(words)

    def diameter(self, diameter: float) -> float:
        """Return the diameter to write for a hole: the mean of both scale corrections."""
        return diameter * float(np.sqrt(self.scale[0] * self.scale[1]))


@dataclass(frozen=True)
class Mark:
    """One registration mark: open lines in mm of the layout's frame, as a knife or pen runs."""

    name: str
    lines: tuple[tuple[Place, ...], ...]


@dataclass(frozen=True)
class Registration:
    """The page and the marks that stand at the same place on every layer.

    ``marks``: the register edge at the left, where the tape is laid on, a key that reads as an F
    only when the sheet lies the right way, and crosses. ``pins`` are the centres of pin holes of
    diameter ``pin`` mm; they stand in place of the crosses. ``drawn`` marks are for a pen, not the
    knife. ``outline``: cut the page's edge, after all else. All in mm of the layout's frame.
    """

    page: Page
    marks: tuple[Mark, ...]
    pins: tuple[Place, ...] = ()
    pin: float = 0.0
    drawn: bool = False
    outline: bool = False
