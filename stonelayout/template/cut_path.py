"""The cut path: a short, calm order of holes, and how the knife runs round each of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from stonelayout.errors import LayoutError
from stonelayout.geometry.points import Points
from stonelayout.model.catalogue import Cutter, Sheet
from stonelayout.model.layer import Layer, Place, Registration

#: Near neighbours looked at for each hole: more shortens the path by well under 0.1 %.
NEIGHBOURS = 8
#: Trial changes a hole, and in all, of the compiled search: 20,000 holes in a few seconds.
KICKS_EACH, MOST_KICKS = 20, 60_000
#: Up to this many holes the search is first run uncompiled.
PLAIN_HOLES = 3000
#: Longest segment that a trial change moves.
LONGEST_SEGMENT = 50
#: A path this near to (n - 1) times the least distance, which no path can beat, is short enough.
ENOUGH = 1.0002
Order = npt.NDArray[np.intp]


def cut_order(centres: Points, start: Place = (0.0, 0.0)) -> Order:
    """Return the order (n,) in which to cut holes at ``centres`` (n, 2), a short open path.

    Greedy edges, then 2-opt and Or-opt with neighbour lists (Bentley, "Fast algorithms for
    geometric traveling salesman problems", 1992), then, where the optional extra ``fast`` (numba)
    is installed, local double-bridge kicks kept when they shorten the path (iterated local search:
    Johnson and McGeoch, "The traveling salesman problem: a case study", 1997). The path begins at
    its end nearer to ``start`` (mm). The same holes always give the same order.
    """
    count = len(centres)
    if count < 3:
        order = np.arange(count, dtype=np.intp)
    else:
        points = np.ascontiguousarray(centres, dtype=np.float64)
        tour = _greedy(points)
        order = _shortened(points, tour)
    if count and _far(centres[order[-1]], start) < _far(centres[order[0]], start):
        order = order[::-1].copy()
    return order


def _far(point: Points, other: Place) -> float:
    return math.hypot(float(point[0]) - other[0], float(point[1]) - other[1])


def path_length(centres: Points, order: Order) -> float:
    """Return the length in mm of the open path through the centres in this order."""
    return float(np.hypot(*np.diff(centres[order], axis=0).T).sum())


def _shortened(points: Points, tour: Order) -> Order:
    """Improve an open path: a node at no distance from all others closes it to a tour."""
    from scipy.spatial import KDTree

    from . import tour_improvement as tours

    count = len(points)
    reach = min(NEIGHBOURS + 1, count)
    near = np.asarray(KDTree(points).query(points, k=reach)[1])
    rows = np.arange(count)[:, None]
    # A hole is not its own neighbour, wherever copies of it put it in the list.
    own = near == rows
    own[~own.any(axis=1), -1] = True
    neighbours = near[~own].reshape(count, reach - 1).astype(np.int64)
    closed = np.append(tour, count).astype(np.int64)
    xs, ys = np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1])
    nearest = float(np.hypot(*(points - points[neighbours[:, 0]]).T).min())
    enough = ENOUGH * (count - 1) * nearest
    # The compiler takes a second to load: a fill that is short enough without it needs none.
    compiled = tours.compiled_search() if count > PLAIN_HOLES else None
    if compiled is None:
        tours.search(closed, neighbours, xs, ys, 0, LONGEST_SEGMENT, enough)
        if path_length(points, _opened(closed)) > enough:
            compiled = tours.compiled_search()
    if compiled is not None:
        kicks = min(KICKS_EACH * count, MOST_KICKS)
        compiled(closed, neighbours, xs, ys, kicks, LONGEST_SEGMENT, enough)
    return _opened(closed)


def _opened(closed: npt.NDArray[np.int64]) -> Order:
    """Cut the tour where the node at no distance stands in it."""
    gap = int(np.flatnonzero(closed == len(closed) - 1)[0])
    return np.roll(closed, -gap)[1:].astype(np.intp)


def _greedy(points: Points) -> Order:
    """Join the nearest free ends until one path is left."""
    from scipy.spatial import KDTree

    count = len(points)
    links: list[list[int]] = [[] for _ in range(count)]
    root = list(range(count))
    ends = np.arange(count)
    reach = NEIGHBOURS
    joined = 0
    while joined < count - 1:
        near = np.asarray(KDTree(points[ends]).query(points[ends], k=min(reach + 1, len(ends)))[1])
        first = np.repeat(ends, near.shape[1])
        second = ends[near.ravel()]
        low, high = np.minimum(first, second), np.maximum(first, second)
        pairs = np.unique(np.column_stack((low, high))[low < high], axis=0)
        lengths = np.round(np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T), 9)
        made = _join(pairs[np.argsort(lengths, kind="stable")].tolist(), links, root)
        joined += made
        # All near ends belong to one path: look further; at most all of them.
        reach = reach if made else reach * 4
        ends = np.array([k for k in ends.tolist() if len(links[k]) < 2])
    here = next(k for k in range(count) if len(links[k]) < 2)
    order, before = [here], -1
    while len(order) < count:
        before, here = here, next(k for k in links[here] if k != before)
        order.append(here)
    return np.array(order, dtype=np.intp)


def _join(pairs: Iterable[Sequence[int]], links: list[list[int]], root: list[int]) -> int:
    made = 0
    for i, j in pairs:
        if len(links[i]) > 1 or len(links[j]) > 1:
            continue
        a, b = _root(root, i), _root(root, j)
        if a != b:
            root[a] = b
            links[i].append(j)
            links[j].append(i)
            made += 1
    return made


def _root(root: list[int], k: int) -> int:
    while root[k] != k:
        root[k] = root[root[k]]
        k = root[k]
    return k


@dataclass(frozen=True, eq=False)
class Runs:
    """How the knife runs round the holes of one layer, on the page, in the order of cutting.

    ``centres`` (n, 2) and ``radius`` in mm; ``angle`` (n,) where the knife comes down, in radians
    (x right, y down); ``sweep`` how far it turns, the same for all: whole passes and the overcut.
    """

    centres: Points
    radius: float
    angle: Points
    sweep: float

    def start_points(self) -> Points:
        """Return where the knife comes down, shape (n, 2)."""
        return self._at(self.angle)

    def end_points(self) -> Points:
        """Return where the knife is lifted, shape (n, 2)."""
        return self._at(self.angle + self.sweep)

    def _at(self, angle: Points) -> Points:
        return self.centres + self.radius * np.column_stack((np.cos(angle), np.sin(angle)))


def runs(
    layer: Layer,
    registration: Registration,
    *,
    passes: int = 1,
    overcut: float = 0.0,
    blade_offset: float = 0.0,
    start: Place | None = None,
) -> Runs:
    """Return the runs round a layer's holes, in the layer's order, on the registration's page.

    Each begins where its circle faces the place that the knife comes from, goes round ``passes``
    times and ``overcut`` mm on, so that the hole closes. The cutter allows for its blade's offset
    itself unless ``blade_offset`` (mm) asks for it: then the path is that of the blade holder,
    whose centre runs ahead of the tip along the tangent, on a circle of radius hypot(r, offset).
    ``start`` is where the knife waits: the page's lower left corner unless given. Raises
    LayoutError for values out of bounds.
    """
    if not 1 <= passes <= 20 or not 0 <= overcut <= 20 or not 0 <= blade_offset <= 5:
        raise LayoutError("give 1 to 20 passes, 0 to 20 mm overcut, 0 to 5 mm blade offset")
    page = registration.page
    centres = page.place(layer.centres)
    radius = page.diameter(layer.hole) / 2
    sweep = 2 * math.pi * passes + overcut / radius
    x, y = start or (0.0, page.size[1])
    angles = []
    for cx, cy in centres.tolist():
        angle = math.atan2(y - cy, x - cx)
        angles.append(angle)
        x, y = cx + radius * math.cos(angle + sweep), cy + radius * math.sin(angle + sweep)
    lead = math.atan2(blade_offset, radius)
    return Runs(centres, math.hypot(radius, blade_offset), np.array(angles) + lead, sweep)


@dataclass(frozen=True)
class CutTime:
    """What one layer asks of the cutter: mm cut, mm travelled, lifts of the knife, seconds."""

    cut: float
    travel: float
    lifts: int
    seconds: float

    def as_dict(self) -> dict[str, Any]:
        """Return the entry as it stands in reports."""
        return {
            "cut": round(self.cut, 1),
            "travel": round(self.travel, 1),
            "lifts": self.lifts,
            "seconds": round(self.seconds, 1),
        }


def cut_time(round_holes: Runs, registration: Registration, cutter: Cutter) -> CutTime:
    """Estimate the time for one layer: cut and travel over the cutter's speeds, and the lifts.

    The marks and, where it is cut, the page's edge count too. No ramps: real cutters slow down in
    small circles, so take it for the least.
    """
    lines = mark_lines(registration)
    starts, ends = round_holes.start_points(), round_holes.end_points()
    stops = [(line[0], line[-1]) for line in lines] + list(zip(starts, ends, strict=True))
    cut = len(starts) * round_holes.sweep * round_holes.radius
    cut += sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
    here = np.array((0.0, registration.page.size[1]))
    travel = 0.0
    for first, last in stops:
        travel += float(np.hypot(*(first - here)))
        here = last
    seconds = cut / cutter.speed + travel / cutter.travel + len(stops) * cutter.lift
    return CutTime(cut, travel, len(stops), seconds)


def mark_lines(registration: Registration) -> list[Points]:
    """Return all registration lines on the page, (n, 2) each, in drawing order."""
    page = registration.page
    return [page.place(line) for mark in registration.marks for line in mark.lines]


def ordered(layer: Layer, registration: Registration) -> Layer:
    """Return the layer with its holes in the order of cutting."""
    from dataclasses import replace

    page = registration.page
    order = cut_order(page.place(layer.centres), (0.0, page.size[1]))
    return replace(layer, centres=layer.centres[order])


def passes_and_overcut(sheet: Sheet) -> tuple[int, float]:
    """Return the sheet's own: several passes close a hole by themselves, one needs the overcut."""
    return sheet.passes, 0.0 if sheet.passes > 1 else sheet.overcut
