"""The coupon: a small test cut that finds a sheet's true clearance and least web."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stonelayout.errors import InputError, JobError
from stonelayout.geometry.points import Points
from stonelayout.model.catalogue import Catalogue, Sheet, Stone
from stonelayout.model.layer import Place
from stonelayout.toml.places import Places, read_toml
from stonelayout.toml.tables import TableReader
from stonelayout.units import number

_NAME = re.compile(r"[a-z0-9][a-z0-9-]*\Z")
#: The ladders, in mm beside the sheet's own values.
STEPS_MM = (-0.2, -0.1, 0.0, 0.1, 0.2, 0.3)
#: A rung of less than this is not cut: no web or clearance so small has a use.
LEAST_RUNG_MM = 0.1
#: What is added to the least clearance that let every stone drop in, and to the narrowest web that
#: held: a shop's coupon is one cut of one sheet (common practice, no source).
CLEARANCE_MARGIN_MM, WEB_MARGIN_MM = 0.05, 0.05
_MARGIN, _BETWEEN, _APART = 6.0, 5.0, 2.0
_HIGH, _WIDE, _SPACE = 3.0, 1.7, 0.9

#: Single strokes of the signs used, on a grid of 2 by 4, y down.
_STROKES: dict[str, tuple[tuple[Place, ...], ...]] = {
    "0": (((0, 0), (2, 0), (2, 4), (0, 4), (0, 0)),),
    "1": (((0, 1), (1, 0), (1, 4)),),
    "2": (((0, 0), (2, 0), (2, 2), (0, 2), (0, 4), (2, 4)),),
    "3": (((0, 0), (2, 0), (2, 4), (0, 4)), ((0.5, 2), (2, 2))),
    "4": (((0, 0), (0, 2), (2, 2)), ((2, 0), (2, 4))),
    "5": (((2, 0), (0, 0), (0, 2), (2, 2), (2, 4), (0, 4)),),
    "6": (((2, 0), (0, 0), (0, 4), (2, 4), (2, 2), (0, 2)),),
    "7": (((0, 0), (2, 0), (1, 4)),),
    "8": (((0, 2), (0, 0), (2, 0), (2, 4), (0, 4), (0, 2), (2, 2)),),
    "9": (((2, 2), (0, 2), (0, 0), (2, 0), (2, 4), (0, 4)),),
    "s": (((2, 0), (0, 1), (2, 3), (0, 4)),),
    "a": (((0, 4), (1, 0), (2, 4)), ((0.5, 2.4), (1.5, 2.4))),
    "b": (((0, 0), (0, 4), (2, 4), (2, 2), (0, 2)),),
    ".": (((0.4, 3.5), (0.4, 4)),),
}


@dataclass(frozen=True)
class Rung:
    """One step of a ladder: row ``a`` tries a clearance, row ``b`` a web; values in mm."""

    stone: str
    row: str
    value: float
    hole: float


@dataclass(frozen=True, eq=False)
class Coupon:
    """A test cut: page in mm, holes (n, 3) as x, y, diameter, the rung of each, label strokes."""

    size: tuple[float, float]
    holes: Points
    rungs: tuple[Rung, ...]
    rung: tuple[int, ...]
    labels: tuple[tuple[Place, ...], ...]


def coupon(sheet: Sheet, stones: Sequence[Stone]) -> Coupon:
    """Return the coupon for a sheet and the stone sizes to be tried on it.

    For each size, row a: three holes apart from each other for each clearance; row b: a field of
    four by two holes of the sheet's own clearance for each web. Raises InputError without stones.
    """
    if not stones:
        raise InputError("name at least one stone size for the coupon")
    rungs: list[Rung] = []
    holes: list[tuple[float, float, float]] = []
    rung_of: list[int] = []
    labels: list[tuple[Place, ...]] = []
    y, wide = _MARGIN, 0.0
    for stone in stones:
        for row in ("a", "b"):
            x = _MARGIN
            labels += _written(f"{stone.name} {row}", (x, y))
            y += _HIGH + _APART
            feet: list[tuple[float, str]] = []
            below = 0.0
            own = sheet.clearance if row == "a" else sheet.least_web
            for value in (round(own + step, 3) for step in STEPS_MM):
                if value < LEAST_RUNG_MM:
                    continue
                hole = stone.diameter + value if row == "a" else sheet.hole(stone.diameter)
                pitch = hole + (_APART if row == "a" else value)
                across, down = (3, 1) if row == "a" else (4, 2)
                left, top = x + hole / 2, y + hole / 2
                spots = [(i, j) for j in range(down) for i in range(across)]
                holes += [(left + pitch * i, top + pitch * j, hole) for i, j in spots]
                rung_of += [len(rungs)] * len(spots)
                rungs.append(Rung(stone.name, row, value, round(hole, 4)))
                feet.append((x, number(value, 2)))
                below = max(below, hole + pitch * (down - 1) + _APART)
                x += max(hole + pitch * (across - 1), 4 * (_WIDE + _SPACE)) + _BETWEEN
            for foot, words in feet:
                labels += _written(words, (foot, y + below))
            wide = max(wide, x - _BETWEEN + _MARGIN)
            y += below + _HIGH + _BETWEEN
    size = (float(np.ceil(wide)), float(np.ceil(y - _BETWEEN + _MARGIN)))
    return Coupon(size, np.array(holes), tuple(rungs), tuple(rung_of), tuple(labels))


def _written(text: str, at: Place) -> list[tuple[Place, ...]]:
    """Return the strokes of a text whose top left corner is here; unknown signs leave a space."""
    lines: list[tuple[Place, ...]] = []
    x, y = at
    for sign in text:
        lines += [
            tuple((x + px * _WIDE / 2, y + py * _HIGH / 4) for px, py in stroke)
            for stroke in _STROKES.get(sign, ())
        ]
        x += _SPACE + (_WIDE if sign != "." else 0.2)
    return lines


def instructions(found: Coupon, sheet: Sheet) -> str:
    """Return the page that goes with the coupon: what to do, what to look for, what to type."""
    low, high = sheet.force
    rows = []
    for stone in dict.fromkeys(rung.stone for rung in found.rungs):
        for row, words in (("a", "clearances"), ("b", "webs")):
            values = [r for r in found.rungs if (r.stone, r.row) == (stone, row)]
            listed = ", ".join(number(r.value, 2) for r in values)
            rows.append(f"  {stone}{row}  {words} of {listed} mm")
    return "\n".join(
        [
            f"Coupon for {sheet.name}, {number(found.size[0])} x {number(found.size[1])} mm",
            "",
            "1. Cut it at 100 % on the sheet to be tried: black circles with the knife, blue",
            f"   labels with a pen (or not at all). Start at force {low:g}-{high:g} g, speed "
            f"{sheet.speed:g}, {sheet.passes} passes.",
            "2. Measure the width of a row of holes against the file. Off by more than 0.3 %:",
            "   correct the cutter's scale first (stonelayout cut --bar).",
            "3. Weed it and lay it on the bench as you always do. Rows:",
            *rows,
            "4. Rows a: brush stones over it. Note the LEAST clearance at which every stone of",
            "   every size drops in flat, and the least at which stones sit loose, tilt or double.",
            "5. Rows b: peel the sheet off the bench and lay it down ten times. Note the NARROWEST",
            "   web that held, and the widest that tore or curled.",
            "6. Tell what you saw, for instance:",
            f"   stonelayout coupon --result --sheet {sheet.name} --name my-sheet \\",
            "       --drops 0.4mm --loose 0.7mm --held 0.4mm --tore 0.3mm",
            "",
            "Retract the blade when it is not cutting and cut away from your hand. Never laser-cut",
            "PVC or vinyl sheet: it gives off hydrogen chloride and chlorine. Stones are small",
            "parts: keep them from children. The makers' instructions go before this page.",
            "",
        ]
    )


@dataclass(frozen=True)
class Seen:
    """What the user saw, in mm: clearance at which stones drop in, and sit loose; web that held,
    and that tore. None for what was not seen."""

    drops: float
    held: float
    loose: float | None = None
    tore: float | None = None


def profile(seen: Seen) -> tuple[float, float]:
    """Return (clearance, least web) in mm to work with, the margins added.

    The clearance stays half-way below what sat loose. Raises InputError when what was seen cannot
    be: a smaller clearance that sits looser, a wider web that tore.
    """
    if seen.drops <= 0 or seen.held <= 0:
        raise InputError("clearance and web must be above 0")
    if seen.loose is not None and seen.loose <= seen.drops:
        raise InputError("stones sit loose at a clearance not above the one at which they drop in")
    if seen.tore is not None and seen.tore >= seen.held:
        raise InputError("a web tore that is not below the one that held: take the wider as held")
    clearance = seen.drops + CLEARANCE_MARGIN_MM
    if seen.loose is not None:
        clearance = min(clearance, (seen.drops + seen.loose) / 2)
    return round(clearance, 3), round(seen.held + WEB_MARGIN_MM, 3)


#: What ``profile_toml`` writes, and so takes out of a row that is measured anew.
_WRITTEN = re.compile(
    r"base\s*=|about\s*=|measured\s*=|clearance\s*=|least_web\s*=|# .* mm (dropped in|held)\b"
)


def with_sheet(text: str, name: str, row: str) -> tuple[str, str]:
    """Put the row of a sheet into a catalogue's text, in the place of the one it may have.

    Returns the text, and the row with those lines that the user had added to it. Other sheets may
    have it as their base, so that it must stay before them.
    """
    before: list[str] = []
    behind: list[str] = []
    own: list[str] = []
    inside = met = False
    for line in text.splitlines(keepends=True):
        if line.lstrip().startswith("["):
            inside = "".join(line.split("#")[0].split()) == f"[sheet.{name}]"
            met |= inside
        elif inside and line.strip() and not _WRITTEN.match(line.strip()):
            own.append(line)
        if not inside:
            (behind if met else before).append(line)
    row += "".join(own)
    head, rest = "".join(before).rstrip("\n"), "".join(behind)
    return (f"{head}\n\n" if head else "") + row + (f"\n{rest}" if rest else ""), row


def profile_toml(name: str, base: Sheet, seen: Seen) -> str:
    """Return the sheet's row for the user's catalogue, the margins stated beside the values."""
    clearance, web = profile(seen)
    loose = "" if seen.loose is None else f", {number(seen.loose, 3)} mm sat loose"
    tore = "" if seen.tore is None else f", {number(seen.tore, 3)} mm tore"
    return (
        f"[sheet.{name}]\n"
        f'base = "{base.name}"\n'
        f'about = "{base.name}, measured with a coupon"\n'
        "measured = true\n"
        f"# {number(seen.drops, 3)} mm dropped in{loose}; margin "
        f"{number(clearance - seen.drops, 3)} mm\n"
        f'clearance = "{number(clearance, 3)} mm"\n'
        f"# {number(seen.held, 3)} mm held{tore}; margin {number(WEB_MARGIN_MM, 3)} mm\n"
        f'least_web = "{number(web, 3)} mm"\n'
    )


def add_sheet(
    text: str,
    file: str,
    name: str,
    base: Sheet,
    seen: Seen,
    catalogue: Catalogue,
    *,
    again: bool = False,
) -> tuple[str, str]:
    """Return a catalogue file's text with the measured sheet in it, and the sheet's row.

    ``again`` puts it in the place of the one that the file may have. Raises InputError for a name
    that is none, or is taken in the file or the ``catalogue``, for a sheet that would be its own
    base, and for what cannot have been seen; JobError for a file that is wrong.
    """
    if not _NAME.match(name):
        raise InputError(f'"{name}" cannot be a name: small letters, digits and hyphens')
    reader = TableReader(Places(text, file))
    in_file = name in reader.named(read_toml(text, file), "sheet")
    if reader.problems:
        raise JobError(reader.problems)
    if in_file and not again:
        words = f'there is a sheet "{name}" already: choose another name, or --replace it'
        raise InputError(words, file=file)
    if name in catalogue.sheets and not in_file:
        raise InputError(f'there is a sheet "{name}" already: choose another name')
    if base.name == name:
        if not base.like:
            raise InputError(f'sheet "{name}" has no base: name the sheet most like it, --sheet')
        base = catalogue.sheet(base.like[0])
    return with_sheet(text, name, profile_toml(name, base, seen))
