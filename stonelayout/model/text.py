"""Text of a job: the words and how they are set, before any font is opened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Align = Literal["left", "middle", "right"]
ALIGNMENTS: tuple[Align, ...] = ("left", "middle", "right")
DEFAULT_FACE = "plain"
DEFAULT_HEIGHT_MM = 30.0
#: Distance of base lines, in capital heights.
DEFAULT_LINE_SPACING = 1.6


@dataclass(frozen=True)
class Text:
    """Words to be set. Lengths in mm.

    ``words`` may have several lines. ``face`` is a single-line face, a font file (from the job's
    folder) or an installed font; ``fallback`` draws what it lacks. ``height`` is that of a
    capital; ``width`` is what the words must fit: given alone they fill it, given with a height
    it is the most. ``tracking`` is added between letters (None: what the stones need).
    ``line_spacing`` is the distance of base lines in capital heights. ``at`` is the point where
    the first base line starts, has its middle or ends, by ``align``; None: the middle of the
    artwork. ``arc`` is the radius of the circle on which the base line runs: words on top of it,
    or, when negative, along its bottom. ``path`` is the id of a shape of the artwork along whose
    first subpath they run.
    """

    words: str
    id: str = "text"
    face: str = DEFAULT_FACE
    fallback: str | None = None
    height: float | None = None
    width: float | None = None
    tracking: float | None = None
    line_spacing: float = DEFAULT_LINE_SPACING
    align: Align = "middle"
    at: tuple[float, float] | None = None
    arc: float | None = None
    path: str | None = None
    colour: str = "#000000"


@dataclass(frozen=True)
class Setting:
    """The stones that will follow the letters: diameter and pitch in mm."""

    diameter: float
    pitch: float
