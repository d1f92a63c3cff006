"""HP-GL: 1 unit = 0.025 mm, y up from the page's lower left corner (HP-GL/2 Reference Guide)."""

from __future__ import annotations

import math

import numpy as np

from stonelayout.geometry.points import Points
from stonelayout.model.layer import Registration
from stonelayout.template.cut_path import Runs, mark_lines

UNITS_PER_MM = 40
#: Cutters that count in 16 bits stop here, in units: 819.175 mm.
MOST_UNITS = 32767
#: A circle drawn in short lines leaves the true one by this in mm at most: half a unit.
CHORD_MM = 0.0125
_KNIFE, _PEN = 1, 2


def layer_hpgl(
    round_holes: Runs,
    registration: Registration,
    *,
    arcs: bool = True,
    speed: int | None = None,
    force: int | None = None,
) -> str:
    """Return the layer as HP-GL text, one hole or mark a line.

    Every hole is a move to its start, and the knife round it: in one ``AA`` (arc about a centre,
    degrees, positive counter-clockwise) for each whole turn and one for the overcut, or, without
    ``arcs``, in ``PD`` short lines. ``speed`` (``VS``, cm/s) and ``force`` (``FS``, the cutter's
    own measure) are written only when given. Drawn marks use pen 2, the knife is pen 1. The page's
    edge, where it is cut, comes last.
    """
    height = registration.page.size[1]
    lines = ["IN;"]
    if registration.drawn and registration.marks:
        lines.append(f"SP{_PEN};")
        lines += [_polyline(line, height) for line in mark_lines(registration)]
    lines.append(f"SP{_KNIFE};")
    if speed is not None:
        lines.append(f"VS{speed};")
    if force is not None:
        lines.append(f"FS{force};")
    if not registration.drawn:
        lines += [_polyline(line, height) for line in mark_lines(registration)]
    lines += [_round(one, height, arcs=arcs) for one in _each(_pins(registration, round_holes))]
    lines += [_round(one, height, arcs=arcs) for one in _each(round_holes)]
    if registration.outline:
        width = registration.page.size[0]
        corners = [(0, height), (width, height), (width, 0), (0, 0), (0, height)]
        lines.append(_polyline(np.array(corners, dtype=np.float64), height))
    lines += ["PU0,0;SP0;", ""]
    return "\n".join(lines)


def beyond_16_bits(registration: Registration) -> bool:
    """Tell whether the page reaches beyond what a cutter counts in 16 bits."""
    return max(registration.page.size) * UNITS_PER_MM > MOST_UNITS


def _pins(registration: Registration, like: Runs) -> Runs:
    """Return runs round the pin holes, each begun at its right, with the holes' own turns."""
    page = registration.page
    centres = page.place(registration.pins)
    radius = page.diameter(registration.pin) / 2
    return Runs(centres, radius, np.zeros(len(centres)), like.sweep)


def _each(round_holes: Runs) -> list[tuple[float, float, float, float, float]]:
    return [
        (x, y, round_holes.radius, angle, round_holes.sweep)
        for (x, y), angle in zip(
            round_holes.centres.tolist(), round_holes.angle.tolist(), strict=True
        )
    ]


def _round(hole: tuple[float, float, float, float, float], height: float, *, arcs: bool) -> str:
    x, y, radius, angle, sweep = hole
    start = _units(x + radius * math.cos(angle), height - y - radius * math.sin(angle))
    turns = int(sweep / (2 * math.pi) + 1e-9)
    rest = sweep - 2 * math.pi * turns
    if arcs:
        # The sweep grows clockwise as seen, y being down; HP-GL counts counter-clockwise.
        centre = _units(x, height - y)
        around = f"AA{centre},-360;" * turns
        over = math.degrees(rest)
        around += f"AA{centre},{-over:.2f};" if over >= 0.01 else ""
        return f"PU{start};PD;{around}PU;"
    chord = 2 * math.acos(1 - min(CHORD_MM / radius, 1.0))
    steps = max(12, math.ceil(2 * math.pi / chord))
    total = math.ceil(steps * sweep / (2 * math.pi) - 1e-9)
    angles = angle + np.minimum(np.arange(1, total + 1) * (2 * math.pi / steps), sweep)
    path = ",".join(
        _units(x + radius * math.cos(a), height - y - radius * math.sin(a)) for a in angles
    )
    return f"PU{start};PD{path};PU;"


def _polyline(line: Points, height: float) -> str:
    first, *rest = (_units(x, height - y) for x, y in line.tolist())
    return f"PU{first};PD{','.join(rest)};PU;"


def _units(x: float, y: float) -> str:
    return f"{round(x * UNITS_PER_MM)},{round(y * UNITS_PER_MM)}"
