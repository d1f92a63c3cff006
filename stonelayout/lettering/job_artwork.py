"""A job's drawing: its artwork file, its texts, or both, as one Artwork."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from stonelayout.errors import StoneLayoutError
from stonelayout.geometry.points import Points
from stonelayout.model.artwork import Artwork
from stonelayout.model.job import Job, Rule
from stonelayout.model.text import Setting, Text
from stonelayout.svg import read_svg
from stonelayout.units import mm

from .compose import Lettering, set_text
from .fit import LEAST_HEIGHT_MM
from .legibility import LEAST_ROWS, ROWS, rows_high
from .letters_svg import letters_box, letters_svg

#: Width in mm with which single lines are shown where no rule lays stones on them.
PLAIN_STROKE_MM = 2.0


def with_texts(job: Job, artwork: Artwork | None, folder: Path) -> Artwork:
    """Return the artwork with the job's texts set on it; alone, they make their own page.

    ``folder`` is the job file's: font files and paths start there. Raises InputError when a text
    cannot be set, with its id.
    """
    if not job.texts:
        if artwork is None:
            raise StoneLayoutError("the job has neither artwork nor text")
        return artwork
    shapes = list(artwork.shapes) if artwork else []
    taken = {shape.id for shape in shapes}
    notes = list(artwork.notes) if artwork else []
    letterings = []
    for text in job.texts:
        stones = stones_of(text, job.rules)
        lettering = _set(text, folder, stones, artwork)
        letterings.append(lettering)
        notes += lettering.notes
        if stones is not None and lettering.capital < rows_high(ROWS, stones) - 1e-6:
            notes.append(
                f'"{text.words}": capitals of {mm(lettering.capital, 1)} are less than '
                f"{ROWS} stones high and hard to read: at least {mm(rows_high(ROWS, stones), 1)}"
            )
    if artwork is None:
        box = _page(letterings)
        size, size_from = (box[2] - box[0], box[3] - box[1]), "the words"
    else:
        box = (0.0, 0.0, *artwork.size)
        size, size_from = artwork.size, artwork.size_from
    for lettering in letterings:
        stones = stones_of(lettering.text, job.rules)
        stroke = stones.diameter if stones else PLAIN_STROKE_MM
        drawn = read_svg(letters_svg([lettering], box, stroke).encode(), name=lettering.text.id)
        for shape in drawn.shapes:
            name = shape.id
            while name in taken:
                name += "-"
            taken.add(name)
            shapes.append(replace(shape, id=name, line=None))
    return Artwork(
        shapes=tuple(shapes),
        size=size,
        size_from=size_from,
        skipped=artwork.skipped if artwork else (),
        notes=tuple(notes),
        file=artwork.file if artwork else job.file,
    )


def stones_of(text: Text, rules: Sequence[Rule]) -> Setting | None:
    """Return the largest stones of the first rule that picks a text's letters."""
    for rule in rules:
        pick = rule.pick
        by_colour = pick.fill == text.colour or pick.stroke == text.colour
        if pick.all or pick.layer == text.id or (pick.layer is None and by_colour):
            return Setting(rule.stones[0].diameter, rule.pitches[0])
    return None


def _set(text: Text, folder: Path, stones: Setting | None, artwork: Artwork | None) -> Lettering:
    path: Points | None = None
    if text.path is not None and artwork is not None:
        lines = [s.outline for s in artwork.shapes if s.id == text.path and s.outline]
        if lines:
            line = lines[0][0]
            path = line.points
            if line.closed:
                path = np.concatenate((path, path[:1]))
            path = path if len(path) > 1 else None
    least = rows_high(LEAST_ROWS, stones) if stones else LEAST_HEIGHT_MM
    try:
        return set_text(text, folder, stones, path, artwork.size if artwork else None, least)
    except StoneLayoutError as error:
        error.element = error.element or f"text {text.id}"
        raise


def _page(letterings: Sequence[Lettering]) -> tuple[float, float, float, float]:
    """Return the page of texts without artwork, in whole hundredths of a mm."""
    x0, y0, x1, y1 = letters_box(letterings)
    return round(x0, 2), round(y0, 2), round(x1, 2), round(y1, 2)
