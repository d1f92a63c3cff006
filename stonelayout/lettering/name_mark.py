"""The name of a transfer as a mark on its templates, outside the holes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.model.layer import Mark, Registration
from stonelayout.model.text import Text

from .compose import set_text
from .single_line_face import single_line_face

#: Height in mm of the name's capitals, where there is room.
NAME_MM = 4.0
#: Free room in mm between the name and other marks.
ROOM_MM = 2.0
#: Pieces of each curve: a knife or pen follows them at this size without a visible facet.
PIECES = 6
#: Length in mm of the dash that a dot becomes: a knife cannot cut a point. Least size of a name.
DASH_MM = 0.5


def named(registration: Registration, label: str, line: int) -> Registration:
    """Return the registration with the name between the key and the first cross.

    The name stands in the band that the marks keep free of holes, as small as it must. Where the
    plain face lacks letters of it, the line's number in the list stands with the rest.
    """
    key = next(mark for mark in registration.marks if mark.name == "key")
    xs, ys = zip(*(point for line in key.lines for point in line), strict=True)
    crosses = [m.lines for m in registration.marks if m.name == "cross-1"]
    if crosses:
        right = min(x for line in crosses[0] for x, _ in line)
    else:
        right = max(x for x, _ in registration.pins) - registration.pin
    face = single_line_face("plain")
    lacking = face.lacks(label)
    words = label
    for cluster in lacking:
        words = words.replace(cluster, "")
    if lacking:
        words = f"{' '.join(words.split())} no {line}".strip()
    left, middle, band = max(xs) + ROOM_MM, (min(ys) + max(ys)) / 2, max(ys) - min(ys)
    lettering = set_text(Text(words, height=NAME_MM, align="left"))
    x0, y0, x1, y1 = lettering.bounds
    wide, high = max(x1 - x0, DASH_MM), max(y1 - y0, DASH_MM)
    factor = min(1.0, (right - ROOM_MM - left) / wide, band / high)
    if factor <= 0:
        return registration
    lines = tuple(
        tuple(
            (left + (x - x0) * factor, middle + (y - (y0 + y1) / 2) * factor)
            for x, y in line.tolist()
        )
        for letter in lettering.letters
        for line in map(_dash, letter.drawing.lines(PIECES))
    )
    return replace(registration, marks=(*registration.marks, Mark("name", lines)))


def _dash(line: Points) -> Points:
    """Return a line; a dot as a short upright dash."""
    if len(line) > 1:
        return line
    (x, y) = line[0].tolist()
    return np.array([[x, y - DASH_MM / 2], [x, y + DASH_MM / 2]])
