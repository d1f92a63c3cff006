"""Splitting: a layer that one sheet cannot hold, divided into templates that can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stonelayout.errors import LayoutError
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import FILE_ROUNDING_MM, Layer

#: More templates than this for one size and colour is no way to work: lay the stones wider.
MOST_TEMPLATES = 6
#: Steps of the search for a colouring, for each hole of a group and beside: then one more template.
STEPS_EACH, STEPS_BESIDE = 20, 20_000
#: Rounds of evening out the templates; one or two are enough but for odd shapes.
BALANCE_ROUNDS = 10


def split_layers(layers: Sequence[Layer], sheet: Sheet) -> tuple[Layer, ...]:
    """Return the layers with each one that needs it divided into the fewest templates found.

    Each template then holds the sheet's least web; holes are shared out evenly; the templates of
    a layer follow each other in lifting order. Raises LayoutError beyond MOST_TEMPLATES.
    """
    found: list[Layer] = []
    for layer in layers:
        part = split(layer.centres, layer.hole + sheet.least_web, layer.name)
        count = int(part.max()) + 1 if len(part) else 1
        for k in range(count):
            reason = f"{layer.reason}; one sheet cannot hold it: part {k + 1} of {count}"
            found.append(
                replace(
                    layer,
                    order=len(found) + 1,
                    centres=layer.centres[part == k],
                    template=k + 1 if count > 1 else layer.template,
                    templates=count if count > 1 else layer.templates,
                    reason=reason.lstrip("; ") if count > 1 else layer.reason,
                )
            )
    return tuple(found)


def split(centres: Points, distance: float, name: str = "") -> npt.NDArray[np.intp]:
    """Return the template (n,) of each hole, so that no two of one are nearer than ``distance``.

    Colours the graph of holes that are too near each other, each connected group by itself with
    the fewest colours found (Brelaz, "New methods to color the vertices of a graph", 1979, with
    backtracking), then gives colours to templates so that these hold like numbers of holes.
    Raises LayoutError when a group needs more than MOST_TEMPLATES.
    """
    count = len(centres)
    pairs, _ = pairs_nearer(centres, distance - FILE_ROUNDING_MM)
    near: list[list[int]] = [[] for _ in range(count)]
    for i, j in pairs.tolist():
        near[i].append(j)
        near[j].append(i)
    groups = sorted(_groups(near), key=lambda group: (-len(group), group[0]))
    colours = [0] * count
    for group in groups:
        if len(group) > 1:
            _colour_group(group, near, colours, name)
    templates = max(colours, default=0) + 1
    held = [0] * templates
    part = np.zeros(count, dtype=np.intp)
    for group in groups:
        classes: dict[int, list[int]] = {}
        for hole in group:
            classes.setdefault(colours[hole], []).append(hole)
        free = sorted(range(templates), key=lambda k: (held[k], k))
        largest_first = sorted(classes.values(), key=lambda holes: (-len(holes), holes[0]))
        for k, holes in zip(free, largest_first, strict=False):
            part[holes] = k
            held[k] += len(holes)
    _balance(part, held, near)
    return part


def _balance(part: npt.NDArray[np.intp], held: list[int], near: list[list[int]]) -> None:
    """Move single holes from fuller templates to emptier ones where they stand free there."""
    for _ in range(BALANCE_ROUNDS):
        moved = False
        for hole, others in enumerate(near):
            here = int(part[hole])
            taken = {int(part[other]) for other in others}
            free = [k for k in range(len(held)) if k not in taken and held[here] - held[k] > 1]
            if free:
                there = min(free, key=lambda k: (held[k], k))
                part[hole] = there
                held[here] -= 1
                held[there] += 1
                moved = True
        if not moved:
            return


def _groups(near: list[list[int]]) -> list[list[int]]:
    """Return the connected groups, each sorted."""
    seen = [False] * len(near)
    groups = []
    for start in range(len(near)):
        if seen[start]:
            continue
        seen[start] = True
        group = [start]
        for hole in group:
            for other in near[hole]:
                if not seen[other]:
                    seen[other] = True
                    group.append(other)
        groups.append(sorted(group))
    return groups


def _colour_group(group: list[int], near: list[list[int]], colours: list[int], name: str) -> None:
    for count in range(2, MOST_TEMPLATES + 1):
        found = _colouring(group, near, count)
        if found is not None:
            for hole, colour in found.items():
                colours[hole] = colour
            return
    raise LayoutError(
        f"{len(group)} holes stand so near that {MOST_TEMPLATES} templates cannot hold them: "
        "lay the stones wider",
        element=name or None,
    )


def _colouring(group: list[int], near: list[list[int]], count: int) -> dict[int, int] | None:
    """Colour a connected group with ``count`` colours, None when it is not found to be possible.

    The next hole is always one with the fewest colours left; a dead end goes back one step.
    """
    import heapq

    banned: dict[int, list[int]] = {hole: [0] * count for hole in group}
    colours: dict[int, int] = {}
    left = dict.fromkeys(group, count)
    heap = [(count, -len(near[hole]), hole) for hole in group]
    heapq.heapify(heap)
    trail: list[tuple[int, int]] = []
    steps = STEPS_EACH * len(group) + STEPS_BESIDE
    first_choice = 0

    def mark(hole: int, colour: int, by: int) -> None:
        for other in near[hole]:
            bans = banned[other]
            if (bans[colour] == 0) if by > 0 else (bans[colour] == 1):
                left[other] -= by
                if other not in colours:
                    heapq.heappush(heap, (left[other], -len(near[other]), other))
            bans[colour] += by

    while len(colours) < len(group):
        steps -= 1
        if steps < 0:
            return None
        if first_choice == 0:
            options, _, hole = heapq.heappop(heap)
            if hole in colours or options != left[hole]:
                continue
        # With no colour used yet all are alike: a new one is tried once only.
        used = max(colours.values(), default=-1) + 1 if len(trail) < count else count
        colour = next(
            (c for c in range(first_choice, min(count, used + 1)) if banned[hole][c] == 0), None
        )
        if colour is not None:
            colours[hole] = colour
            trail.append((hole, colour))
            mark(hole, colour, 1)
            first_choice = 0
            continue
        heapq.heappush(heap, (left[hole], -len(near[hole]), hole))
        if not trail:
            return None
        hole, last = trail.pop()
        del colours[hole]
        mark(hole, last, -1)
        first_choice = last + 1
    return colours
