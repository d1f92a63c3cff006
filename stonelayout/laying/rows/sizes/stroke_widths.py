"""Strokes as local widths: which sizes of a list fit a drawn line, and which lines only guide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from stonelayout.findings import Finding
from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask
from stonelayout.laying.common.tolerances import EXACT_MM
from stonelayout.laying.rows.tracks.facing_rows import room_on_line
from stonelayout.laying.rows.tracks.row_curves import own_start
from stonelayout.laying.rows.tracks.size_runs import (
    Sizes,
    Track,
    choose_sizes,
    sample_places,
    size_runs_of,
)
from stonelayout.model.artwork import Line
from stonelayout.units import mm

#: When no stroke is as wide as this share of the smallest stone, the lines were drawn to show a
#: course, not a width.
_GUIDE = 0.5


def line_tracks(ask: Ask, needs: Points, beside: Sequence[Line] = ()) -> list[Track]:
    """Return the drawn lines of an ask as tracks, with sizes along them.

    A stroke gets the largest size that fits in it, ``needs`` (sizes,) being the width in mm that
    each takes, falling. A line that only guides gets the largest for which rows that do not meet
    keep a pitch, its own and those on the lines ``beside``.
    """
    pitches = np.array([size.pitch for size in ask.sizes])
    paths = [Polyline.of(line.points, line.closed) for line in ask.lines]
    if len(pitches) == 1:
        return [Track(path) for path in paths]
    paths = [own_start(path) for path in paths]
    others = [*paths, *(Polyline.of(line.points, line.closed) for line in beside)]
    tracks = []
    for line, path in zip(ask.lines, paths, strict=True):
        places = sample_places(path, pitches)
        if line.pen is not None:
            fit = _fit_of_stroke(line, line.pen, path, places, needs)
        else:
            fit = np.full(len(places), len(pitches) - 1, dtype=np.intp)
            for size in range(len(pitches) - 2, -1, -1):
                fit[room_on_line(path, others, float(pitches[size]), places)] = size
        sizes = choose_sizes(fit, float(places[1]), pitches, np.zeros(len(places)), path.closed)
        tracks.append(Track(path, size_runs_of(places, sizes, pitches)))
    return tracks


def _fit_of_stroke(line: Line, pen: Points, path: Polyline, places: Points, needs: Points) -> Sizes:
    """Return the largest size (n,) that fits a stroke at places (n,); the last where none does."""
    if path.length > 0:
        wide = line.widths(path.at_with_direction(places)[1])
    else:
        wide = np.full(len(places), float(np.linalg.norm(pen, -2)))
    return np.asarray((wide[:, None] + EXACT_MM < needs[None, :-1]).sum(axis=1), dtype=np.intp)


def size_of_stroke(line: Line, needs: Points) -> int:
    """Return the largest size that fits a stroke all along, the last where none does."""
    if line.pen is None:
        return 0
    path = Polyline.of(line.points, line.closed)
    places = (path.along[1:] + path.along[:-1]) / 2 if path.length > 0 else np.zeros(1)
    return int(_fit_of_stroke(line, line.pen, path, places, needs).max())


def without_guides(asks: Sequence[Ask]) -> tuple[list[Ask], list[Finding]]:
    """Take the pens off lines that only guide; say so, and which strokes no size fits.

    It counts for all asks of a rule together: where some strokes are as wide as stones the
    drawing means its widths, and a hairline among them gets the smallest size.
    """
    drawn = [k for k, ask in enumerate(asks) if len(ask.sizes) > 1 and on_line(ask)]
    wide = {k: max(map(widest, asks[k].lines), default=0.0) for k in drawn}
    wide = {k: width for k, width in wide.items() if width > 0}
    found = list(asks)
    if not wide:
        return found, []
    first, least = next(iter(wide)), asks[0].sizes[-1].diameter
    most = max(wide.values())
    if most < _GUIDE * least:
        for k in wide:
            lines = tuple(replace(line, pen=None) for line in asks[k].lines)
            found[k] = replace(asks[k], lines=lines)
        words = (
            f"no stroke is wider than {mm(most)} here, so the lines only guide: their rows take "
            "the largest size of the list, smaller ones where rows run too near each other; "
            "draw strokes as wide as the stones to choose sizes by their width"
        )
        note = Finding("line-as-guide", "note", words, layer=asks[first].name, count=len(wide))
        return found, [note]
    narrow = [k for k, width in wide.items() if width + EXACT_MM < least]
    if not narrow:
        return found, []
    worst = min(narrow, key=lambda k: wide[k])
    words = (
        f"the stroke is {mm(wide[worst])} wide, narrower than the smallest size of the list, "
        f"which stands over it by {mm((least - wide[worst]) / 2)} on both sides"
    )
    note = Finding("stroke-under-stone", "note", words, layer=asks[worst].name, count=len(narrow))
    return found, [note]


def lines_beside(asks: Sequence[Ask]) -> list[list[Line]]:
    """Return, for each ask, the drawn lines of the others that come within a pitch of its box."""
    drawn = [
        (k, line)
        for k, ask in enumerate(asks)
        if len(ask.sizes) > 1 and on_line(ask)
        for line in ask.lines
    ]
    found: list[list[Line]] = [[] for _ in asks]
    if len(drawn) < 2:
        return found
    reach = asks[0].sizes[0].pitch
    boxes = np.array([[*line.points.min(axis=0), *line.points.max(axis=0)] for _, line in drawn])
    wide = shapely.box(*(boxes + [-reach, -reach, reach, reach]).T)
    first, second = shapely.STRtree(shapely.box(*boxes.T)).query(wide)
    pairs = {(drawn[i][0], j) for i, j in zip(first.tolist(), second.tolist(), strict=True)}
    for k, j in sorted(pairs):
        if drawn[j][0] != k:
            found[k].append(drawn[j][1])
    return found


def on_line(ask: Ask) -> bool:
    """Tell whether the rows of an ask stand on drawn lines."""
    return ask.region is None and ask.options.get("where", "auto") in ("auto", "on")


def widest(line: Line) -> float:
    """Return the largest width in mm that a line's stroke has anywhere; 0 without one."""
    ways = np.diff(Polyline.of(line.points, line.closed).points, axis=0)
    if line.pen is None or not len(ways):
        return 0.0 if line.pen is None else float(np.linalg.norm(line.pen, 2))
    return float(line.widths(ways / np.hypot(*ways.T)[:, None]).max())
