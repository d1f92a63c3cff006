"""The roll plan of an order as files: plan, picture, and one cut file a panel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from stonelayout.template.roll import Plan, Roll, TemplateSize, plan_data, plan_roll, plan_text
from stonelayout.template.tiles import Tile
from stonelayout.writers.panel_svg import Template, panel_svg, plan_svg

from .report import to_json


@dataclass(frozen=True, eq=False)
class TemplateSet:
    """One design as it is cut (see ``template.tiling.pieces``), to be cut ``count`` times."""

    name: str
    tiles: tuple[Tile, ...]
    count: int = 1


def plan_sets(sets: Sequence[TemplateSet], roll: Roll) -> tuple[Plan, dict[str, Template]]:
    """Plan all templates of all designs.

    Returns the plan and the template of each piece's name. Raises InputError when one fits on no
    panel.
    """
    pieces: list[TemplateSize] = []
    templates: dict[str, Template] = {}
    names: dict[str, int] = {}
    for one in sets:
        names[one.name] = names.get(one.name, 0) + 1
        again = f"-{names[one.name]}" if names[one.name] > 1 else ""
        prefix = f"{one.name}{again}/" if len(sets) > 1 else ""
        for part in one.tiles:
            for layer in part.layers:
                name = f"{prefix}{layer.name}"
                templates[name] = (layer, part.registration)
                pieces += [TemplateSize(name, *part.registration.page.size)] * one.count
    return plan_roll(pieces, roll), templates


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
