"""The checks before cutting: webs in each layer, stones between layers, the sheet's size.

Distances are centre to centre, by ``hypot``. A verdict never rests on a rendering or a buffer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stonelayout.finding_codes import Severity
from stonelayout.findings import Finding, in_order
from stonelayout.geometry.neighbours import crossing_pairs, pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.model.catalogue import Catalogue, Sheet
from stonelayout.model.layer import FILE_ROUNDING_MM, Layer, Page
from stonelayout.template.roll import fits
from stonelayout.units import mm, mm_and_inches

#: Places named for one code and layer; the rest are counted in one finding more.
PLACES = 100
#: More pairs than this are not listed: then each hole's nearest neighbour stands for it.
MOST_PAIRS = 2_000_000

Pairs = tuple[npt.NDArray[np.intp], Points]


def check(
    layers: Sequence[Layer],
    sheet: Sheet,
    catalogue: Catalogue | None = None,
    page: Page | None = None,
    *,
    given: bool = False,
) -> tuple[Finding, ...]:
    """Return what stands against cutting these layers, the most serious first.

    Every pair of holes of a layer nearer than hole + least web; between layers stones that touch
    and stones on the tape that come down over a later layer's hole; with ``page``, whether it fits
    the sheet's roll. ``catalogue`` adds a warning where only the largest stones of a size touch;
    ``given``: the holes are a file's, so that no stones can be laid anew.
    Places are in mm of the layout's frame. Up to PLACES places are named for each code and layer.
    """
    found: list[Finding] = []
    for layer in layers:
        found += check_webs(layer, sheet, given=given)
    for k, earlier in enumerate(layers):
        for later in layers[k + 1 :]:
            found += check_between(earlier, later, catalogue)
    if page is not None:
        found += check_size(page, sheet)
    return in_order(found)


def check_webs(layer: Layer, sheet: Sheet, *, given: bool = False) -> list[Finding]:
    """Return a finding for each pair of holes with less than the sheet's least web between them.

    ``given``: the holes are a file's, so that no stones can be laid anew. Codes: ``same-place``
    (two holes in one place), ``holes-meet`` (no web), ``web-too-thin``.
    """
    centres, doubled = _apart(layer.centres)
    found = _each(
        "same-place",
        "error",
        layer.name,
        layer.centres[doubled],
        np.zeros(len(doubled)),
        lambda _: "two holes in the same place: delete one",
    )
    needed = layer.hole + sheet.least_web
    pairs, lengths = _near(centres, needed - FILE_ROUNDING_MM)
    places = (centres[pairs[:, 0]] + centres[pairs[:, 1]]) / 2
    webs = lengths - layer.hole
    meet = webs < FILE_ROUNDING_MM
    if given:
        meeting = "delete or move one of them in the drawing"
        widen = "move one of them away by {}, divide the layer over several sheets (cut --split)"
    else:
        need = f"{sheet.name} needs {mm(sheet.least_web)}"
        meeting = f"lay the stones wider or split the layer ({need})"
        widen = "widen the gap by {}, split the layer"
    found += _each(
        "holes-meet",
        "error",
        layer.name,
        places[meet],
        webs[meet],
        lambda web: f"two holes run into each other by {mm(-web)}: {meeting}",
    )
    found += _each(
        "web-too-thin",
        "error",
        layer.name,
        places[~meet],
        webs[~meet],
        lambda web: (
            f"web of {mm(web, 3)} between two holes, {sheet.name} needs {mm(sheet.least_web)}: "
            f"{widen.format(mm(sheet.least_web - web, 3))}, or choose a sheet that stands a "
            "thinner web"
        ),
    )
    return found


def without_doubles(layer: Layer) -> tuple[Layer, int]:
    """Return a layer without holes that repeat an earlier one, and how many these were."""
    centres, doubled = _apart(layer.centres)
    return (replace(layer, centres=centres) if len(doubled) else layer), len(doubled)


def check_between(
    earlier: Layer, later: Layer, catalogue: Catalogue | None = None
) -> list[Finding]:
    """Return findings about stones of two layers, given in lifting order.

    Codes: ``stones-touch``; ``stone-over-hole`` (a stone already on the tape comes down over a
    hole of the later layer: centre distance < its radius + that hole's radius);
    ``stones-may-touch`` (warning, only the largest stones of their sizes do; needs ``catalogue``).
    """
    touching = (earlier.kind.diameter + later.kind.diameter) / 2
    over = (earlier.kind.diameter + later.hole) / 2
    largest = (_largest(earlier, catalogue) + _largest(later, catalogue)) / 2
    reach = max(touching, over, largest)
    first, _ = _apart(earlier.centres)
    second, _ = _apart(later.centres)
    pairs, lengths = _near_between(first, second, reach - FILE_ROUNDING_MM)
    places = (first[pairs[:, 0]] + second[pairs[:, 1]]) / 2
    touch = lengths < touching - FILE_ROUNDING_MM
    lies_over = ~touch & (lengths < over - FILE_ROUNDING_MM)
    may = ~touch & ~lies_over
    names = f"{earlier.kind.name} and {later.kind.name}"
    found = _each(
        "stones-touch",
        "error",
        later.name,
        places[touch],
        lengths[touch] - touching,
        lambda by: f"stones of {names} overlap by {mm(-by, 3)}: move or leave out one of them",
    )
    found += _each(
        "stone-over-hole",
        "error",
        later.name,
        places[lies_over],
        lengths[lies_over] - over,
        lambda by: (
            f"a {earlier.kind.name} stone on the tape comes down {mm(-by, 3)} over a hole of "
            f"{later.kind.name}: move them {mm(-by, 3)} apart or leave one out"
        ),
    )
    found += _each(
        "stones-may-touch",
        "warning",
        later.name,
        places[may],
        lengths[may] - largest,
        lambda by: f"the largest stones of {names} would overlap by {mm(-by, 3)}: widen the gap",
    )
    return found


def check_one_sheet(first: Layer, second: Layer, sheet: Sheet) -> list[Finding]:
    """Return thin webs between holes of two sizes that stand in one file, and so on one sheet.

    Code: ``web-between-sizes``.
    """
    holes = (first.hole + second.hole) / 2
    one, _ = _apart(first.centres)
    other, _ = _apart(second.centres)
    pairs, lengths = _near_between(one, other, holes + sheet.least_web - FILE_ROUNDING_MM)
    return _each(
        "web-between-sizes",
        "error",
        second.name,
        (one[pairs[:, 0]] + other[pairs[:, 1]]) / 2,
        lengths - holes,
        lambda web: (
            f"web of {mm(web, 3)} to a hole for {first.kind.size}, {sheet.name} needs "
            f"{mm(sheet.least_web)}: widen the gap, or cut the sizes from separate sheets (check "
            "--apart)"
        ),
    )


def check_size(page: Page, sheet: Sheet) -> list[Finding]:
    """Return a finding when the page does not fit the sheet's roll, or only when turned.

    Codes: ``larger-than-sheet``, ``turn-on-sheet`` (note).
    """
    width, height = page.size
    size = f"{mm_and_inches(width)} x {mm_and_inches(height)}"
    roll = f"{sheet.name}, {mm_and_inches(sheet.width)} wide"
    room = (sheet.width, sheet.length)
    if fits(page.size, room, turn=False):
        return []
    if fits(page.size, room, turn=True):
        words = f"turn the layers by 90 degrees: {size} on {roll}"
        return [Finding("turn-on-sheet", "note", words)]
    words = f"the layers measure {size}: too large for {roll}; make the design smaller or "
    return [Finding("larger-than-sheet", "error", words + "choose a wider sheet")]


def _each(
    code: str,
    severity: Severity,
    layer: str,
    places: Points,
    short: Points,
    words: Callable[[float], str],
) -> list[Finding]:
    """Return one finding a place, the worst first, and one that counts those beyond PLACES."""
    order = np.lexsort((places[:, 1], places[:, 0], short))
    found = [
        Finding(
            code,
            severity,
            words(float(short[k])),
            at=(float(places[k, 0]), float(places[k, 1])),
            layer=layer,
        )
        for k in order[:PLACES]
    ]
    rest = len(order) - PLACES
    if rest > 0:
        more = f"{rest} more places like the {PLACES} named, none worse"
        found.append(Finding(code, severity, more, layer=layer, count=rest))
    return found


def _largest(layer: Layer, catalogue: Catalogue | None) -> float:
    """Return the largest diameter of the layer's size in mm; the nominal one when not known."""
    stone = None if catalogue is None else catalogue.stones.get(layer.kind.size)
    return layer.kind.diameter if stone is None else max(stone.max, layer.kind.diameter)


def _apart(centres: Points) -> tuple[Points, npt.NDArray[np.intp]]:
    """Return centres without those that repeat an earlier one, and the indices of the repeats.

    Only holes in exactly one place (to the rounding of files) are taken out here, so that ten
    thousand copies of one circle are counted and not paired.
    """
    cells = np.round(centres / FILE_ROUNDING_MM)
    _, first = np.unique(cells[:, 0] + 1j * cells[:, 1], return_index=True)
    if len(first) == len(centres):
        return centres, np.empty(0, dtype=np.intp)
    kept = np.zeros(len(centres), dtype=bool)
    kept[first] = True
    return centres[kept], np.flatnonzero(~kept)


def _near(centres: Points, distance: float) -> Pairs:
    """Return pairs nearer than distance; where there are too many, each one's nearest."""
    from scipy.spatial import KDTree

    if distance <= 0 or _sparse(centres, distance):
        return pairs_nearer(centres, distance)
    tree = KDTree(centres)
    if tree.count_neighbors(tree, distance) <= 2 * MOST_PAIRS + len(centres):
        return pairs_nearer(centres, distance)
    found, near = tree.query(centres, k=2)
    lengths, nearest = np.asarray(found)[:, 1], np.asarray(near)[:, 1]
    short = np.flatnonzero(lengths < distance)
    pairs = np.sort(np.column_stack((short, nearest[short])), axis=1).astype(np.intp)
    pairs, kept = np.unique(pairs, axis=0, return_index=True)
    return pairs, lengths[short][kept]


def _sparse(centres: Points, distance: float) -> bool:
    """Tell, without a tree, that pairs are few: partners stand in one cell or in adjoining ones.

    So there are at most 9/2 times the sum of the squares of the cells' counts.
    """
    cells = np.floor(centres / distance)
    _, counts = np.unique(cells[:, 0] + 1j * cells[:, 1], return_counts=True)
    return bool(4.5 * (counts.astype(np.float64) ** 2).sum() <= MOST_PAIRS)


def _near_between(first: Points, second: Points, distance: float) -> Pairs:
    """Return crossing pairs nearer than distance; where there are too many, each one's nearest."""
    from scipy.spatial import KDTree

    if not len(first) or not len(second):
        return crossing_pairs(first, second, distance)
    tree, other = KDTree(first), KDTree(second)
    if tree.count_neighbors(other, distance) <= MOST_PAIRS:
        return crossing_pairs(first, second, distance)
    found, near = other.query(first)
    lengths = np.asarray(found)
    short = np.flatnonzero(lengths < distance)
    pairs = np.column_stack((short, np.asarray(near)[short])).astype(np.intp)
    return pairs, lengths[short]
