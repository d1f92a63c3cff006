"""Where a sheet may tear: runs of thin webs, weak lines across, rings of holes round a piece.

The model: material parts along straight hops from hole to hole, or from a hole to the sheet's
edge. A hop costs the material it crosses (its web); the share left along a line of hops is webs
over length, for a regular row the ligament efficiency (pitch - hole) / pitch of perforated plate.
Where every web is at least the least share of its pitch, so is the share along any line through
them: by this model only a sheet with thinner webs can tear.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stonelayout.findings import Finding, in_order
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import FILE_ROUNDING_MM, Layer, Page
from stonelayout.units import counted, mm, percent

#: Thin webs in a row that make a run: fewer is one weak spot, which the web check measures.
RUN_WEBS = 8
#: A piece inside a ring of holes hangs on its webs alone: it needs so many times the least share.
RING_FACTOR = 1.25
#: A piece smaller than this, in mm2, does no harm if its webs tear.
RING_MM2 = 100.0
#: Webs below this share of their pitch cannot cross: the diagonals of a square have 1 - 1 / sqrt 2.
UNCROSSED_SHARE = 0.29
#: Up to this many holes every hop is looked at; in larger layers hops longer than HOP_HOLES holes
#: only between Delaunay neighbours: a longer one crosses so much sheet that no weak line has it.
EVERY_HOP, HOP_HOLES = 200, 3.0


def check_strength(layers: Sequence[Layer], sheet: Sheet, page: Page) -> tuple[Finding, ...]:
    """Return what may make the sheet tear beyond single webs, for each layer.

    Codes, all warnings: ``tear-line`` (a run of at least RUN_WEBS thin webs), ``weak-across``
    (too little sheet on the weakest line between two opposite edges of ``page``),
    ``hangs-on-little`` (a ring of thin webs round a solid piece), ``web-under-thickness`` (webs
    narrower than the sheet is thick: by analogy with ISO 10630 for plate screens; not where a
    coupon has measured the least web). Places in mm of the layout's frame.
    """
    found: list[Finding] = []
    for layer in layers:
        found += _check_layer(layer, sheet, page)
    return in_order(found)


def _check_layer(layer: Layer, sheet: Sheet, page: Page) -> list[Finding]:
    share = sheet.least_share
    limit = layer.hole / (1 - min(RING_FACTOR * share, UNCROSSED_SHARE))
    least = layer.hole / (1 - share)
    reach = max(limit, least, layer.hole + sheet.thickness)
    pairs, lengths = pairs_nearer(layer.centres, reach)
    found = _thickness(layer, sheet, pairs, lengths)
    thin = lengths < least - FILE_ROUNDING_MM
    found += _runs(layer, sheet, pairs[thin], lengths[thin])
    if thin.any():
        found += _across(layer, sheet, page)
    weak = lengths < limit - FILE_ROUNDING_MM
    return found + _rings(layer, sheet, pairs[weak], limit)


def _thickness(
    layer: Layer, sheet: Sheet, pairs: npt.NDArray[np.intp], lengths: Points
) -> list[Finding]:
    if sheet.measured:
        return []
    webs = lengths - layer.hole
    # Webs under the least one are errors already, and told as such.
    told = webs < sheet.least_web - FILE_ROUNDING_MM
    narrow = np.flatnonzero(~told & (webs < sheet.thickness - FILE_ROUNDING_MM))
    if not len(narrow):
        return []
    worst = narrow[np.argmin(webs[narrow])]
    words = (
        f"{counted(len(narrow), 'web')} narrower than the sheet is thick ({mm(sheet.thickness)}), "
        f"the least {mm(float(webs[worst]))}: widen the gap or take a thinner sheet"
    )
    at = _middle(layer, pairs[worst : worst + 1])
    return [Finding("web-under-thickness", "warning", words, at, layer.name, len(narrow))]


def _runs(
    layer: Layer, sheet: Sheet, pairs: npt.NDArray[np.intp], lengths: Points
) -> list[Finding]:
    """Report each connected run of thin webs; the share named is the mean along it."""
    found = []
    for members in _connected(len(layer), pairs):
        if len(members) < RUN_WEBS:
            continue
        share = float(1 - layer.hole * len(members) / lengths[members].sum())
        needed = max(layer.hole / (1 - sheet.least_share), layer.hole + sheet.least_web)
        # Where a run has more webs than holes it is a field: leaving out a few does not mend it.
        row = len(members) <= len(np.unique(pairs[members]))
        needs = percent(sheet.least_share, 0)
        leave = f"leave out one in {_one_in(share, sheet)}, " if row else ""
        words = (
            f"{len(members)} thin webs hang together: {_share_left(share)} of the sheet is left "
            f"along them, {needs} are needed or it parts like a stamp: lay these stones "
            f"{mm(needed)} from centre to centre, {leave}take a smaller size, or split the layer "
            "in two templates"
        )
        at = _middle(layer, pairs[members])
        found.append(Finding("tear-line", "warning", words, at, layer.name, len(members)))
    return found


def _share_left(share: float) -> str:
    return percent(share) if share > 0 else "nothing"


def _one_in(share: float, sheet: Sheet) -> int:
    """Return n, the number of stones of a row of which one must go to reach the share.

    Without one hole in n, n pitches hold n - 1 holes: share 1 - (1 - share now) (n - 1) / n.
    """
    room = 1 - (1 - sheet.least_share) / (1 - max(share, 0.0))
    return max(2, int(1 / room + 1e-9)) if room > 0 else 2


def _connected(count: int, pairs: npt.NDArray[np.intp]) -> list[npt.NDArray[np.intp]]:
    """Return the indices of the pairs of each connected component, the largest first."""
    if not len(pairs):
        return []
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1][pairs[:, 0]]
    order = np.argsort(label, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(label[order])) + 1)
    return sorted(parts, key=lambda part: (-len(part), int(part[0])))


def _middle(layer: Layer, pairs: npt.NDArray[np.intp]) -> tuple[float, float]:
    """Return the middle of the web nearest to the middle of all these webs."""
    webs = (layer.centres[pairs[:, 0]] + layer.centres[pairs[:, 1]]) / 2
    nearest = int(np.argmin(np.hypot(*(webs - webs.mean(axis=0)).T)))
    return float(webs[nearest, 0]), float(webs[nearest, 1])


@dataclass(frozen=True, eq=False)
class WeakLine:
    """The weakest line between two opposite edges: mm of material on it, the share of the sheet's
    width, and the holes (indices) that it runs through."""

    left: float
    share: float
    holes: tuple[int, ...]


def weakest_line(layer: Layer, page: Page, axis: int) -> WeakLine:
    """Return the weakest line across the page along ``axis`` (0: left to right, 1: top to bottom).

    The shortest path (Dijkstra) from edge to edge, where crossing a hole costs nothing and a hop
    costs its web; ``share`` is its length over the page's. Exact up to EVERY_HOP holes.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    size = (page.width, page.height)[axis]
    low = -page.offset[axis]
    at = layer.centres[:, axis] - low
    count, radius = len(layer), layer.hole / 2
    pairs, lengths = _hops(layer)
    first = np.concatenate((pairs[:, 0], np.full(count, count), np.full(count, count + 1), [count]))
    second = np.concatenate((pairs[:, 1], np.arange(count), np.arange(count), [count + 1]))
    cost = np.concatenate((lengths - layer.hole, at - radius, size - at - radius, [size]))
    # A hop of no cost would be no hop in a sparse matrix: give it a length too small to matter.
    graph = coo_array(
        (np.maximum(cost, 1e-12), (first, second)), shape=(count + 2, count + 2)
    ).tocsr()
    costs, before = dijkstra(graph, directed=False, indices=[count], return_predecessors=True)
    holes = []
    node = int(before[0, count + 1])
    while node != count:
        holes.append(node)
        node = int(before[0, node])
    left = float(costs[0, count + 1])
    return WeakLine(left, left / size, tuple(reversed(holes)))


def _hops(layer: Layer) -> tuple[npt.NDArray[np.intp], Points]:
    if len(layer) <= EVERY_HOP:
        all_pairs = np.column_stack(np.triu_indices(len(layer), k=1))
    else:
        pairs, _ = pairs_nearer(layer.centres, HOP_HOLES * layer.hole)
        all_pairs = np.unique(np.concatenate((pairs, _delaunay(layer.centres))), axis=0)
    lengths = np.hypot(*(layer.centres[all_pairs[:, 0]] - layer.centres[all_pairs[:, 1]]).T)
    return all_pairs.astype(np.intp), lengths


def _delaunay(centres: Points) -> npt.NDArray[np.intp]:
    """Return the Delaunay edges, (m, 2); for holes that all stand in one row, its links."""
    from scipy.spatial import Delaunay, QhullError

    try:
        corners = Delaunay(centres).simplices
    except (QhullError, ValueError):
        order = np.lexsort((centres[:, 1], centres[:, 0])).astype(np.intp)
        return np.sort(np.column_stack((order[:-1], order[1:])), axis=1)
    edges = np.concatenate((corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [0, 2]]))
    return np.unique(np.sort(edges, axis=1), axis=0).astype(np.intp)


def _across(layer: Layer, sheet: Sheet, page: Page) -> list[Finding]:
    found = []
    for axis, words in enumerate(("from left to right", "from top to bottom")):
        line = weakest_line(layer, page, axis)
        if line.share >= sheet.least_share or not line.holes:
            continue
        x, y = layer.centres[line.holes[len(line.holes) // 2]].tolist()
        holes = counted(len(line.holes), "hole")
        message = (
            f"{words} only {mm(line.left, 1)} of the sheet ({percent(line.share)}) are left on a "
            f"line through {holes}, {percent(sheet.least_share, 0)} are needed: "
            "leave a wider margin, widen the gap, or split the layer"
        )
        found.append(Finding("weak-across", "warning", message, (x, y), layer.name))
    return found


def _rings(
    layer: Layer, sheet: Sheet, pairs: npt.NDArray[np.intp], longest: float
) -> list[Finding]:
    """Report rings of thin webs, pitches up to ``longest``, round a solid piece of RING_MM2."""
    found = []
    needed = min(RING_FACTOR * sheet.least_share, UNCROSSED_SHARE)
    # A ring round this much is at least as long as a circle round it (isoperimetric inequality).
    fewest = math.ceil(math.sqrt(4 * math.pi * RING_MM2) / longest)
    for ring in _faces(layer.centres, pairs, fewest):
        corners = layer.centres[ring]
        sides = np.hypot(*(corners - np.roll(corners, 1, axis=0)).T)
        solid = _area(corners) - float(sides.sum()) * layer.hole / 2
        share = float(1 - layer.hole * len(ring) / sides.sum())
        if solid < RING_MM2 or share >= needed:
            continue
        x, y = corners.mean(axis=0).tolist()
        message = (
            f"a piece of {solid / 100:.1f} cm2 hangs on {len(ring)} webs, {_share_left(share)} of "
            f"its rim; {percent(needed)} are needed: widen the gap of that ring or leave out a few "
            "stones"
        )
        found.append(Finding("hangs-on-little", "warning", message, (x, y), layer.name))
    return found


def _area(corners: Points) -> float:
    x, y = corners.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _faces(centres: Points, pairs: npt.NDArray[np.intp], fewest: int) -> list[npt.NDArray[np.intp]]:
    """Return the inner faces of ``fewest`` holes and more of the graph of thin webs, in turn.

    Thin webs are far shorter than two of them, so they never cross. Dead ends are cut off first.
    """
    near: dict[int, set[int]] = {}
    for i, j in pairs.tolist():
        near.setdefault(i, set()).add(j)
        near.setdefault(j, set()).add(i)
    ends = [hole for hole, others in near.items() if len(others) == 1]
    for hole in ends:
        for other in near.pop(hole, ()):
            near[other].discard(hole)
            if len(near[other]) == 1:
                ends.append(other)
    turn = {hole: _round_about(centres, hole, others) for hole, others in near.items() if others}
    faces = []
    used: set[tuple[int, int]] = set()
    for start in sorted((i, j) for i, others in turn.items() for j in others):
        face, side = [], start
        while side not in used:
            used.add(side)
            face.append(side[0])
            here = turn[side[1]]
            side = side[1], here[(here.index(side[0]) - 1) % len(here)]
        if len(face) < fewest:
            continue
        ring = np.array(face, dtype=np.intp)
        if _area(centres[ring]) > 0:
            faces.append(ring)
    return faces


def _round_about(centres: Points, hole: int, others: set[int]) -> list[int]:
    listed = sorted(others)
    way = centres[listed] - centres[hole]
    return [listed[k] for k in np.argsort(np.arctan2(way[:, 1], way[:, 0]), kind="stable")]
