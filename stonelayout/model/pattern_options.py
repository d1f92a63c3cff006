"""The patterns by name and the options that each takes, as data: for job files, shell and docs.

It stands apart from the engine, so that a job can be checked and help shown without numpy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from stonelayout.errors import InputError
from stonelayout.toml.values import (
    Reader,
    length_value,
    number_between,
    one_of,
    whole_number,
    yes_no_value,
)

OptionKind = Literal["length", "angle", "count", "yes-no", "choice"]

#: What a width or height may measure: the drawing's page, or the design on it.
SIZES_OF = ("page", "design")
#: How a rule may take the strokes of a drawing: as the lines they are drawn on, or as areas.
STROKES = ("line", "area")


def strokes_value(value: Any, pattern: str) -> str:
    """Read how a rule takes strokes; InputError where it is neither, or the pattern fills areas."""
    strokes = one_of(STROKES)(value)
    if strokes == "line" and pattern not in ROWS:
        raise InputError(f"{pattern} fills areas; lines go with: {', '.join(ROWS)}")
    return strokes


_READERS: Mapping[str, Reader] = {
    "length": length_value,
    "angle": number_between(-math.inf, math.inf, "an angle in degrees"),
    "count": whole_number(1, 100),
    "yes-no": yes_no_value,
}


@dataclass(frozen=True)
class Option:
    """One option of a pattern: its name, how it is read, its default, one line of help."""

    name: str
    reader: OptionKind
    default: Any
    help: str
    choices: tuple[str, ...] = ()

    def read(self, value: Any) -> Any:
        """Return the checked value (lengths in mm, angles in degrees); InputError if wrong."""
        if self.reader == "choice":
            return one_of(self.choices)(value)
        return _READERS[self.reader](value)


@dataclass(frozen=True)
class Pattern:
    """A pattern as users see it.

    ``several`` tells whether it takes a list of sizes, ``rows`` whether it is rows along lines
    rather than a fill of areas.
    """

    summary: str
    options: tuple[Option, ...] = ()
    several: bool = False
    rows: bool = False

    def defaults(self) -> dict[str, Any]:
        """Return the options that are not asked for."""
        return {option.name: option.default for option in self.options}


EDGE_ROW = Option("edge_row", "yes-no", False, "a row along the outline first, the rest behind it")
QUALITY = Option(
    "quality",
    "choice",
    "good",
    "how long to look: draft is quick, best tries hardest",
    ("draft", "good", "best"),
)
SYMMETRIC = Option("symmetric", "yes-no", True, "a symmetric shape gets a symmetric fill")
MARGIN = Option("margin", "length", 0.0, "extra distance from the stone's rim to the outline")

PATTERNS: Mapping[str, Pattern] = {
    "edge": Pattern(
        "rows along the outline",
        (
            Option(
                "where",
                "choice",
                "auto",
                "where the row runs: inside a filled shape and on a drawn line unless said",
                ("auto", "on", "inside", "outside"),
            ),
            Option("rows", "count", 1, "how many parallel rows"),
            Option(
                "corners",
                "choice",
                "pinned",
                "pinned: a stone on each corner; free: even spacing goes before corners",
                ("pinned", "free"),
            ),
            MARGIN,
        ),
        several=True,
        rows=True,
    ),
    "spine": Pattern(
        "one row along the centre line of slender shapes",
        (
            Option(
                "overhang",
                "length",
                0.0,
                "how far stones may hang over a stroke that is too narrow for them",
            ),
            MARGIN,
        ),
        several=True,
        rows=True,
    ),
    "lattice": Pattern(
        "a regular grid, at the angle and offset that place the most stones",
        (
            Option("grid", "choice", "hex", "hex: rows staggered at 60 degrees", ("hex", "square")),
            Option("angle", "angle", None, "direction of the rows; the best unless said"),
            EDGE_ROW,
            MARGIN,
        ),
    ),
    "even": Pattern(
        "as many stones as fit at the pitch, evenly spread, the edge crisp",
        (
            QUALITY,
            SYMMETRIC,
            EDGE_ROW,
            MARGIN,
        ),
    ),
    "graded": Pattern(
        "the largest size evenly, smaller ones where it leaves room: edges, tips, narrow parts",
        (
            QUALITY,
            SYMMETRIC,
            EDGE_ROW,
            MARGIN,
            Option(
                "fewest",
                "count",
                10,
                "a size that the rule would use for fewer stones than this is left out: it would "
                "cost a template of its own; 1 uses every size",
            ),
        ),
        several=True,
    ),
    "courses": Pattern(
        "rows parallel to the outline that fit the local width",
        (MARGIN,),
    ),
}

#: Patterns that are rows along lines.
ROWS = tuple(name for name, pattern in PATTERNS.items() if pattern.rows)
