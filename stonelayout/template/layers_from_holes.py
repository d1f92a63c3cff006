"""Layers rebuilt from hole files: which holes belong together, and for which stones."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath

import numpy as np

from stonelayout.errors import LayoutError
from stonelayout.findings import Finding
from stonelayout.model.artwork import Skipped
from stonelayout.model.catalogue import Catalogue, Sheet, Stone
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.units import counted, mm

from .holes import HoleSet, groups_of
from .lifting import lifting_order

#: The colour of stones in a file that does not tell it.
NO_COLOUR = "any"
#: A hole is for the stone whose hole would differ by less than this, in mm; else for none.
MATCH_MM = 0.35
#: How many elements that are not round are named.
NAMED = 10
_OWN_NAME = re.compile(
    r"(?:tile-\d+of\d+-)?(?P<order>\d{2})-(?P<size>[a-z0-9]+)-(?P<colour>[a-z0-9_.]+?)(?:-(?P<part>\d+)of(?P<of>\d+))?\Z"
)


@dataclass(frozen=True, eq=False)
class Rebuilt:
    """Layers in lifting order in mm of the files' page, the file of each, and what was odd."""

    layers: tuple[Layer, ...]
    files: tuple[str, ...]
    findings: tuple[Finding, ...]


def rebuild(files: Sequence[tuple[str, HoleSet]], sheet: Sheet, catalogue: Catalogue) -> Rebuilt:
    """Return the layers in hole files (name, holes), the smallest stones first.

    Each group of equal holes in a file is one layer, for the stone whose hole on this sheet comes
    nearest. A file named as stonelayout names layers keeps its size, colour and template number.
    A layer's hole is its largest, so that no web is taken for wider than it is. Findings:
    ``not-round``, ``not-read``, ``off-page``, ``no-such-stone``, ``size-in-px``. Raises
    LayoutError for a file without a round hole.
    """
    found: list[tuple[Layer, str]] = []
    findings: list[Finding] = []
    for name, holes in files:
        if not len(holes):
            raise LayoutError(_nothing(holes), file=name)
        findings += [*_in_px(name, holes), *_oddities(holes), *_off_page(holes)]
        groups = groups_of(holes.diameters)
        for members in groups:
            hole = float(holes.diameters[members].max())
            layer = Layer(0, _kind(hole, sheet, catalogue), holes.centres[members], hole)
            own = _OWN_NAME.match(PurePath(name).stem) if len(groups) == 1 else None
            found.append((_named(layer, own, catalogue), name))
    found = [found[k] for k in lifting_order([layer.kind.diameter for layer, _ in found])]
    layers = tuple(replace(layer, order=k) for k, (layer, _) in enumerate(found, start=1))
    findings += [_no_stone(layer, sheet) for layer in layers if layer.kind.size == "unknown"]
    return Rebuilt(layers, tuple(name for _, name in found), tuple(findings))


def _kind(hole: float, sheet: Sheet, catalogue: Catalogue) -> Kind:
    """Return the kind whose hole on this sheet is nearest; size ``unknown`` when none is near."""

    def off(stone: Stone) -> tuple[float, str]:
        return round(abs(sheet.hole(stone.diameter) - hole), 6), stone.name

    nearest = min(catalogue.stones.values(), key=off, default=None)
    if nearest is None or off(nearest)[0] > MATCH_MM:
        return Kind("unknown", NO_COLOUR, max(hole - sheet.clearance, hole / 2))
    return Kind(nearest.name, NO_COLOUR, nearest.diameter)


def _named(layer: Layer, own: re.Match[str] | None, catalogue: Catalogue) -> Layer:
    """Take size, colour and template from the file's name, where the holes can be for that size."""
    if own is None:
        return layer
    stone = catalogue.stones.get(own["size"])
    if stone is None or not 0 <= layer.hole - stone.diameter < 2 * MATCH_MM:
        return layer
    kind = Kind(stone.name, own["colour"], stone.diameter)
    part, of = int(own["part"] or 1), int(own["of"] or 1)
    return replace(layer, kind=kind, template=part, templates=of)


def _no_stone(layer: Layer, sheet: Sheet) -> Finding:
    return Finding(
        "no-such-stone",
        "warning",
        f"{counted(len(layer), 'hole')} of {mm(layer.hole)}: no stone size fits with a clearance "
        f"of {mm(sheet.clearance)}: name the right sheet, or is the file at another scale?",
        count=len(layer),
        layer=layer.name,
    )


def _in_px(name: str, holes: HoleSet) -> list[Finding]:
    if not holes.in_px:
        return []
    words = (
        f"{name} gives its size in px: read at 96 px an inch it is {mm(holes.size[0], 1)} wide; if "
        "it shall be another size, give it: --width 240mm"
    )
    return [Finding("size-in-px", "note", words)]


def _off_page(holes: HoleSet) -> list[Finding]:
    radius = holes.diameters[:, None] / 2
    low, high = holes.centres - radius, holes.centres + radius
    off = np.flatnonzero(((low < -1e-6) | (high > np.array(holes.size) + 1e-6)).any(axis=1))
    if not len(off):
        return []
    x, y = holes.centres[off[0]].tolist()
    one = len(off) == 1
    words = (
        f"{counted(len(off), 'hole')} {'reaches' if one else 'reach'} over the page's edge "
        f"({holes.names[off[0]]}{'' if one else ' first'}): move {'it' if one else 'them'}"
    )
    return [Finding("off-page", "warning", words, at=(x, y), count=len(off))]


def _oddities(holes: HoleSet) -> list[Finding]:
    found = []
    for code, entries in (("not-round", holes.not_round), ("not-read", holes.skipped)):
        for reason, group in _by_reason(entries).items():
            count = sum(entry.count for entry in group)
            names = [entry.id or entry.what for entry in group[:NAMED]]
            more = ", ..." if len(group) > NAMED else ""
            words = f"{count} not taken for holes ({reason}): {', '.join(names)}{more}"
            found.append(Finding(code, "warning", words, count=count))
    return found


def _by_reason(entries: Iterable[Skipped]) -> dict[str, list[Skipped]]:
    groups: dict[str, list[Skipped]] = {}
    for entry in entries:
        groups.setdefault(entry.reason, []).append(entry)
    return groups


def _nothing(holes: HoleSet) -> str:
    tally = Counter(f"{entry.what}: {entry.reason}" for entry in (*holes.not_round, *holes.skipped))
    seen = "; ".join(f"{count} {words}" for words, count in tally.most_common(3))
    return "no round holes in it" + (f" (it holds {seen})" if seen else "")
