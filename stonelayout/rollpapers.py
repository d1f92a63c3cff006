"""The roll plan of an order as files: plan, picture, and one cut file a panel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .catalogue import Sheet
from .errors import InputError
from .report import to_json
from .roll import Piece, Plan, Roll, plan_data, plan_roll, plan_text, roll_of
from .template import Layer, Registration
from .tiles import tile
from .writers.panel import Template, panel_svg, plan_svg


@dataclass(frozen=True, eq=False)
class Set:
    """One design's layers, to be cut ``count`` times."""

    name: str
    layers: tuple[Layer, ...]
    registration: Registration
    count: int = 1


def plan_sets(sets: Sequence[Set], sheet: Sheet, roll: Roll) -> tuple[Plan, dict[str, Template]]:
    """Plan all templates of all designs; a design larger than the sheet is tiled first.

    Returns the plan and the template of each piece's name. Raises InputError when a design cannot
    be cut from this roll at all.
    """
    pieces: list[Piece] = []
    templates: dict[str, Template] = {}
    names: dict[str, int] = {}
    for one in sets:
        names[one.name] = names.get(one.name, 0) + 1
        again = f"-{names[one.name]}" if names[one.name] > 1 else ""
        prefix = f"{one.name}{again}/" if len(sets) > 1 else ""
        for part, layers, found in _parts(one.layers, one.registration, sheet, roll):
            for layer in layers:
                name = f"{prefix}{part}{layer.name}"
                templates[name] = (layer, found)
                pieces += [Piece(name, *found.page.size)] * one.count
    return plan_roll(pieces, roll), templates


def pages_of(
    layers: Sequence[Layer], registration: Registration, sheet: Sheet
) -> tuple[tuple[float, float], ...]:
    """Return the width and height in mm of each template of a design, as it is cut from the roll.

    Empty where the design cannot be cut from that roll at all.
    """
    try:
        parts = _parts(tuple(layers), registration, sheet, roll_of(sheet))
    except InputError:
        return ()
    return tuple(found.page.size for _, part, found in parts for _ in part)


def _parts(
    layers: tuple[Layer, ...], registration: Registration, sheet: Sheet, roll: Roll
) -> list[tuple[str, tuple[Layer, ...], Registration]]:
    """Return a design whole, or in the tiles that the roll can hold, each with a prefix."""
    across = roll.width - 2 * roll.edge
    along = min(roll.panel, roll.length) - 2 * roll.edge
    if _holds(*registration.page.size, across, along, roll.turn):
        return [("", layers, registration)]
    tiles = tile(layers, sheet, across, along, turn=roll.turn)
    return [(f"{t.name}/", t.layers, t.registration) for t in tiles]


def _holds(width: float, height: float, across: float, along: float, turn: bool) -> bool:
    upright = width <= across and height <= along
    return upright or (turn and height <= across and width <= along)


def roll_files(plan: Plan, templates: dict[str, Template], title: str) -> dict[str, str | bytes]:
    """Return ``roll.json``, ``roll.txt``, ``roll.svg`` and ``panel-01.svg``, ``panel-02.svg``..."""
    files: dict[str, str | bytes] = {
        "roll.json": to_json(plan_data(plan)),
        "roll.txt": plan_text(plan),
        "roll.svg": plan_svg(plan, title),
    }
    for panel in plan.panels:
        files[f"panel-{panel.number:02d}.svg"] = panel_svg(panel, plan.roll.width, templates)
    return files
