"""Fitting words: the tracking that stones need, the height of capitals that fits a width."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from stonelayout.errors import InputError
from stonelayout.model.text import DEFAULT_HEIGHT_MM, Setting, Text
from stonelayout.units import mm

from .face import Glyph
from .glyph_drawing import move, scale
from .legibility import LEAST_ROWS, rows_high

#: Two letters' rows (or outlines) keep at least this many gaps' room: pitches between rows of
#: single strokes, stone diameters between outlines. Common practice, no source.
ROW_ROOM, OUTLINE_ROOM = 1.6, 0.5
#: Steps of the search for the height that fits a width, what it may miss it by, and the least
#: height that counts as one, in mm.
FIT_STEPS, FIT_ERROR_MM, LEAST_HEIGHT_MM = 40, 1e-4, 0.5
#: Steps of the search for the tracking, and the shortfall in mm that is let pass.
TRACKING_STEPS, TRACKING_ERROR_MM = 20, 1e-4


def spread(row: Sequence[Glyph], height: float, tracking: float) -> list[tuple[float, Glyph]]:
    """Return (x, letter) in mm along the base line, letters scaled, from x = 0."""
    found, x = [], 0.0
    for glyph in row:
        found.append((x, replace(glyph, drawing=glyph.drawing.mapped(scale(height)))))
        x += glyph.advance * height + (0.0 if glyph.joins and not stroked(glyph) else tracking)
    return found


def stroked(glyph: Glyph) -> bool:
    """Tell whether a letter is single lines."""
    return glyph.drawing.stroked


def extent(
    row: Sequence[Glyph], height: float, tracking: float, stone: float = 0.0
) -> tuple[float, float]:
    """Return the first and last x of what is drawn, in mm along the base line.

    ``stone`` is the diameter of stones that stand on single lines, so hang over by half.
    """
    ends = []
    for x, glyph in spread(row, height, tracking):
        if glyph.drawing:
            x0, _, x1, _ = glyph.drawing.bounds()
            over = stone / 2 if glyph.drawing.stroked else 0.0
            ends += [x + x0 - over, x + x1 + over]
    return (min(ends), max(ends)) if ends else (0.0, 0.0)


def tracking_of(
    text: Text, rows: Sequence[Sequence[Glyph]], height: float, stones: Setting | None
) -> float:
    """Return the tracking asked for, or what keeps every two letters apart for the stones."""
    if text.tracking is not None or stones is None:
        return text.tracking or 0.0
    pairs = [pair for row in rows for pair in _pairs(row)]
    return least_tracking(pairs, height, stones)


def _pairs(row: Sequence[Glyph]) -> list[tuple[Any, Any, bool]]:
    """Return neighbours that must keep apart, as lines in capital heights, and if stroked."""
    import shapely

    found = []
    for first, second in pairwise(row):
        if first.joins or second.joins:
            continue
        shapes = [
            shapely.MultiLineString(
                [line for line in glyph.drawing.mapped(move(glyph.x, 0)).lines() if len(line) > 1]
            )
            for glyph in (first, second)
        ]
        if not any(shape.is_empty for shape in shapes):
            found.append((shapes[0], shapes[1], first.drawing.stroked))
    return found


def least_tracking(pairs: Sequence[tuple[Any, Any, bool]], height: float, stones: Setting) -> float:
    """Return the tracking in mm that gives every pair its room at this height."""
    import shapely

    room = {True: ROW_ROOM * stones.pitch, False: OUTLINE_ROOM * stones.diameter}
    tracking = 0.0
    for _ in range(TRACKING_STEPS):  # letters that are nearest aslant take more than one step
        shift = np.array([tracking / height, 0.0])
        short = 0.0
        for first, second, is_stroked in pairs:
            moved = shapely.transform(second, shift.__add__)
            short = max(short, room[is_stroked] - height * float(shapely.distance(first, moved)))
        if short <= TRACKING_ERROR_MM:
            break
        tracking += short
    return tracking


def height_to_fit(
    text: Text,
    rows: Sequence[Sequence[Glyph]],
    stones: Setting | None,
    width: float,
    least: float = LEAST_HEIGHT_MM,
) -> float:
    """Return the height at which the longest line, with its stones, is as wide as ``width``.

    Raises InputError, saying what the words need, when that is less than ``least`` mm.
    """
    high = _width(text, rows, stones, 1.0, tight=True)
    if high <= 0:  # dots alone, one above the other
        return text.height or DEFAULT_HEIGHT_MM
    high = width / high
    if _width(text, rows, stones, high) - width <= FIT_ERROR_MM:
        found = high
    else:
        found = 0.0
        for _ in range(FIT_STEPS):
            middle = (found + high) / 2
            fits = _width(text, rows, stones, middle) <= width
            found, high = (middle, high) if fits else (found, middle)
            if high - found < FIT_ERROR_MM * high / width:
                break
    if found < min(least, text.height or math.inf):
        raise InputError(_needs(text, rows, stones, width))
    return found


def _width(
    text: Text,
    rows: Sequence[Sequence[Glyph]],
    stones: Setting | None,
    height: float,
    tight: bool = False,
) -> float:
    """Return the width of the longest line at a height; ``tight``: without tracking and stones."""
    tracking = 0.0 if tight else tracking_of(text, rows, height, stones)
    stone = stones.diameter if stones is not None and not tight else 0.0
    ends = (extent(row, height, tracking, stone) for row in rows)
    return max(last - first for first, last in ends)


def _needs(
    text: Text, rows: Sequence[Sequence[Glyph]], stones: Setting | None, width: float
) -> str:
    """Say why words do not fit a width, and what they need."""
    words = f'"{" ".join(text.words.split())}" does not fit {mm(width, 1)}'
    if stones is None or text.tracking is not None:
        return f"{words}: its tracking alone is wider; give less tracking or more width"
    height = rows_high(LEAST_ROWS, stones)
    need = _width(text, rows, stones, height)
    found = (
        f"{words}: in stones of {mm(stones.diameter, 1)} its capitals must be {mm(height, 1)} high "
        f"to be read, and it needs at least {math.ceil(need)} mm"
    )
    halves = [
        _width(text, (rows[0][:k], rows[0][k + 1 :]), stones, height)
        for k, glyph in enumerate(rows[0])
        if len(rows) == 1 and not glyph.drawing
    ]
    if halves:
        found += f", {math.ceil(min(halves))} mm in two lines (\\n between them)"
    return f"{found}, or a smaller stone"
