"""The roll plan: whole templates placed on a roll of sheet, panel by panel.

Templates are placed as rectangles: each carries its register edge and its crosses at the corners
of its page, so that its true outline is that rectangle and nesting outlines would win nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from stonelayout.errors import InputError
from stonelayout.model.catalogue import Sheet
from stonelayout.units import counted, mm, mm_and_inches, number, percent

from .strip_packing import PackedRectangle, pack_strips, top

#: Positions are whole hundredths of a mm while packing.
_STEP_MM = 0.01
#: Up to this many templates, the last panel is packed again into less and less length.
_FEW = 120
#: Pages planned at a time where only the length is wanted: the time grows with their square.
TOGETHER = 400
#: Halvings when a panel is pulled together; 2^-12 of its length is far below a mm.
_HALVINGS = 12


@dataclass(frozen=True)
class TemplateSize:
    """One template: its name and the width and height of its page in mm."""

    name: str
    width: float
    height: float


@dataclass(frozen=True)
class Roll:
    """A roll of sheet as the cutter takes it; all in mm.

    ``edge`` is left free along both sides and at both ends of a panel (pinch rollers), ``gap``
    between templates; ``panel`` is the longest piece that is cut in one go.
    """

    width: float
    length: float
    edge: float = 6.0
    gap: float = 2.0
    panel: float = 1000.0
    turn: bool = True


def panel_room(roll: Roll) -> tuple[float, float]:
    """Return what one panel holds, in mm: across the roll and along it."""
    return roll.width - 2 * roll.edge, min(roll.panel, roll.length) - 2 * roll.edge


def fits(size: tuple[float, float], room: tuple[float, float], *, turn: bool) -> bool:
    """Tell whether a rectangle fits a room, upright or, if it may ``turn``, on its side.

    Both are (width, height) in mm, compared in the hundredths in which templates are packed.
    """
    sides = [size, size[::-1]] if turn else [size]
    return any(
        _units(width) <= _room(room[0]) and _units(height) <= _room(room[1])
        for width, height in sides
    )


def holds(size: tuple[float, float], roll: Roll) -> bool:
    """Tell whether a template of this width and height in mm is cut in one piece."""
    return fits(size, panel_room(roll), turn=roll.turn)


def roll_of(sheet: Sheet) -> Roll:
    """Return the roll that a sheet is sold as, with the usual free edges."""
    return Roll(sheet.width, sheet.length)


@dataclass(frozen=True)
class PlacedTemplate:
    """A template on its panel: its upper left corner in mm; ``turned`` by 90 degrees clockwise."""

    template: TemplateSize
    x: float
    y: float
    turned: bool = False

    @property
    def width(self) -> float:
        """Width across the roll in mm."""
        return self.template.height if self.turned else self.template.width

    @property
    def height(self) -> float:
        """Height along the roll in mm."""
        return self.template.width if self.turned else self.template.height


@dataclass(frozen=True)
class Panel:
    """One piece of the roll, cut off and put in the cutter; ``length`` along the roll in mm."""

    number: int
    length: float
    placed: tuple[PlacedTemplate, ...]


@dataclass(frozen=True)
class Plan:
    """Where every template stands. ``bound`` is a length in mm that no plan can beat."""

    roll: Roll
    panels: tuple[Panel, ...]
    bound: float

    @property
    def used(self) -> float:
        """Length of roll used, in mm."""
        return sum(panel.length for panel in self.panels)

    @property
    def area(self) -> float:
        """Area of all templates in mm2."""
        return sum(
            p.template.width * p.template.height for panel in self.panels for p in panel.placed
        )

    @property
    def share(self) -> float:
        """Yield: share of the used sheet that is template."""
        whole = self.used * self.roll.width
        return self.area / whole if whole else 0.0

    @property
    def rolls(self) -> int:
        """How many rolls it takes; no panel runs over the end of one."""
        count, left = 0, 0.0
        for panel in self.panels:
            if panel.length > left:
                count, left = count + 1, self.roll.length
            left -= panel.length
        return count

    @property
    def left(self) -> float:
        """Length that is left of the last roll, in mm."""
        left = 0.0
        for panel in self.panels:
            if panel.length > left:
                left = self.roll.length
            left -= panel.length
        return left


def plan_roll(templates: Sequence[TemplateSize], roll: Roll) -> Plan:
    """Place all templates on as little of the roll as is found.

    Raises InputError naming the templates that fit on no panel, or when the roll has no room.
    """
    wide, high = panel_room(roll)
    if min(wide, high) <= 0:
        raise InputError("the roll or the panel is no wider than its free edges")
    unfit = [p.name for p in templates if not holds((p.width, p.height), roll)]
    if unfit:
        raise InputError(
            f"{', '.join(dict.fromkeys(unfit))}: larger than the {mm(wide)} x {mm(high)} that a "
            "panel holds; use a wider sheet or a longer panel, or cut the design in tiles (tile = "
            "true under [sheet])"
        )
    if not templates:
        return Plan(roll, (), 0.0)
    gap = _units(roll.gap)
    sides = [(_units(p.width) + gap, _units(p.height) + gap) for p in templates]
    room = (_room(wide) + gap, _room(high) + gap)
    strips = pack_strips(sides, *room, turn=roll.turn)
    bound = _bound(templates, wide, roll)
    used = sum((top(strip, sides) - gap) * _STEP_MM + 2 * roll.edge for strip in strips)
    if len(strips[-1]) <= _FEW and used > bound + _STEP_MM:
        strips[-1] = _pulled(strips[-1], sides, room[0], roll.turn)
    panels = []
    for count, strip in enumerate(strips, start=1):
        placed = [
            PlacedTemplate(
                templates[s.index],
                round(s.x * _STEP_MM + roll.edge, 6),
                round(s.y * _STEP_MM + roll.edge, 6),
                s.turned,
            )
            for s in sorted(strip, key=lambda s: (s.y, s.x))
        ]
        length = round((top(strip, sides) - gap) * _STEP_MM + 2 * roll.edge, 6)
        panels.append(Panel(count, length, tuple(placed)))
    return Plan(roll, tuple(panels), bound)


@lru_cache(maxsize=16)
def length_of(pages: tuple[tuple[float, float], ...], roll: Roll) -> float:
    """Return the length of roll in mm that pages (width, height in mm) take.

    Up to TOGETHER of them are planned at a time. Raises InputError when one fits on no panel.
    """
    templates = [TemplateSize(f"{w:.0f} x {h:.0f} mm", w, h) for w, h in pages]
    return sum(
        plan_roll(templates[k : k + TOGETHER], roll).used
        for k in range(0, len(templates), TOGETHER)
    )


def _units(length: float) -> int:
    return math.ceil(length / _STEP_MM - 1e-6)


def _room(length: float) -> int:
    return math.floor(length / _STEP_MM + 1e-6)


def _pulled(
    strip: list[PackedRectangle], sides: Sequence[tuple[int, int]], width: int, turn: bool
) -> list[PackedRectangle]:
    """Pack one panel's templates again, into less and less length, while they still fit."""
    mine = [sides[s.index] for s in strip]
    best = strip
    low, high = sum(w * h for w, h in mine) // width, top(strip, sides)
    for _ in range(_HALVINGS):
        middle = (low + high) // 2
        try:
            found = pack_strips(mine, width, middle, turn=turn)
        except ValueError:
            found = []
        if len(found) == 1:
            best = [replace(s, index=strip[s.index].index) for s in found[0]]
            high = min(middle, top(best, sides))
        else:
            low = middle
        if high - low <= 1:
            break
    return best


def _bound(templates: Sequence[TemplateSize], wide: float, roll: Roll) -> float:
    """Return the length in mm below which no plan can go.

    By area with half a gap around each template, by the tallest, and by the templates too wide to
    stand side by side; with the free ends of as many panels as that length takes.
    """
    gap = roll.gap
    area = sum((p.width + gap) * (p.height + gap) for p in templates) / (wide + gap) - gap
    tallest = 0.0
    alone = -gap
    for template in templates:
        sides = [(template.width, template.height)]
        sides += [(template.height, template.width)] if roll.turn else []
        least = min(h for w, h in sides if _units(w) <= _room(wide))
        tallest = max(tallest, least)
        if all(w > wide / 2 for w, _ in sides):
            alone += least + gap
    inner = max(area, tallest, alone)
    panels = max(1, math.ceil(inner / (min(roll.panel, roll.length) - 2 * roll.edge + gap) - 1e-9))
    if 2 * roll.edge < gap:
        # A cut between panels costs less than the gap that it saves: allow for as many as may be.
        panels = len(templates)
    return inner + panels * 2 * roll.edge - (panels - 1) * gap


def plan_data(plan: Plan) -> dict[str, Any]:
    """Return the plan as it stands in ``roll.json``; lengths in mm."""
    return {
        "version": 1,
        "unit": "mm",
        "roll": {"width": round(plan.roll.width, 2), "length": round(plan.roll.length, 2)},
        "length_used": round(plan.used, 2),
        "least_length_possible": round(plan.bound, 2),
        "yield": round(plan.share, 4),
        "rolls": plan.rolls,
        "left_on_roll": round(plan.left, 2),
        "panels": [
            {
                "panel": panel.number,
                "length": round(panel.length, 2),
                "placed": [
                    {
                        "template": p.template.name,
                        "x": round(p.x, 2),
                        "y": round(p.y, 2),
                        "width": round(p.width, 2),
                        "height": round(p.height, 2),
                        "turned": p.turned,
                    }
                    for p in panel.placed
                ],
            }
            for panel in plan.panels
        ],
    }


def plan_text(plan: Plan) -> str:
    """Return the plan in words."""
    count = sum(len(panel.placed) for panel in plan.panels)
    rolls = "" if plan.rolls == 1 else f" on {plan.rolls} rolls"
    rows = [
        f"{counted(count, 'template')} use{'s' if count == 1 else ''} "
        f"{mm_and_inches(plan.used)} of roll{rolls}, "
        f"{percent(plan.share, 0)} of it template; {plan.left / 1000:.2f} m are left",
        f"no plan can use less than {mm_and_inches(plan.bound)}",
    ]
    for panel in plan.panels:
        rows.append(f"panel {panel.number}: cut off {mm_and_inches(panel.length)}")
        rows += [
            f"  {p.template.name}: {number(p.x, 1)} mm across, {number(p.y, 1)} mm along"
            + (", turned" if p.turned else "")
            for p in panel.placed
        ]
    return "\n".join(rows) + "\n"
