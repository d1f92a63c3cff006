"""The centre line of a region: the medial axis without its whiskers, with the radius along it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from .points import Points
from .polylines import turn_between

#: Samples of the outline across one mean stroke width. Trials: 12 keep within 0.1 % of it.
_SAMPLES = 12
#: Ridges whose two nearest outline points are seen under a smaller angle, in degrees, are no
#: centre but run into ripples and sharp corners. At joints of letters it goes down to 45.
_LEAST_ANGLE = 35.0
#: A branch that reaches less than this share of a radius out of the disc at its root is a whisker.
_WHISKER = 1.0
#: Joints nearer to each other than this share of the radius are one (two strokes that cross).
_SAME_JOINT = 0.8
#: A joint bends the centre line within this many of its radii; two branches that leave it at
#: less than so many degrees from straight on are one stroke.
_STRAIGHT, _THROUGH = 1.25, 35.0
#: The joint moves by at most this share of its radius; the other branches keep to their course
#: but for this share of it.
_MOST_MOVED, _BESIDE = 0.5, 0.5
#: Where whiskers may be wanted, pieces shorter than this many steps of the samples are dropped.
_PART = 5.0
_ROUNDS = 60


@dataclass(frozen=True, eq=False)
class Branch:
    """A stretch of centre line between joints and ends.

    ``points`` (m, 2) in mm; ``radius`` (m,) distance to the outline there; ``free`` tells for
    both ends whether it is an end of the line (not a joint).
    """

    points: Points
    radius: Points
    free: tuple[bool, bool]

    @property
    def length(self) -> float:
        """Length in mm."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())


def centreline(
    polygon: Polygon, step: float = math.inf, wanted: Callable[[Points, Points], bool] | None = None
) -> list[Branch]:
    """Return the branches of a polygon's centre line.

    Voronoi ridges of the sampled outline whose generators lie on opposite sides, whiskers
    pruned by how far they reach out of the disc at their root (the idea of the scale axis).
    A ring-shaped region has one closed branch, whose ends coincide.
    The outline is sampled at most ``step`` mm apart. ``wanted`` is given the points (m, 2) and
    radii (m,) of a whisker, root first, and tells whether to keep it all the same.
    """
    width = 2 * polygon.area / max(polygon.length, 1e-12)
    graph = _Graph(*_ridges(polygon, min(width / _SAMPLES, step)))
    graph.keep_parts_longer_than(width if wanted is None else min(width, _PART * step))
    for _ in range(_ROUNDS):
        if not graph.prune(wanted):
            break
    graph.join_joints()
    return _straightened(graph.branches())


def _straightened(branches: list[Branch]) -> list[Branch]:
    """Run strokes straight through joints, where the medial axis dips towards the side stroke.

    Within a little more than the joint's disc each branch is replaced by a straight line. Where
    two branches go on in one direction the joint moves onto the line between them.
    """
    joints: dict[tuple[float, ...], list[tuple[int, bool]]] = {}
    for k, branch in enumerate(branches):
        for at_end in (False, True):
            if not branch.free[at_end]:
                spot = tuple(branch.points[-1 if at_end else 0].tolist())
                joints.setdefault(spot, []).append((k, at_end))
    points = [branch.points for branch in branches]
    radii = [branch.radius for branch in branches]
    for spot, arms in joints.items():
        if len(arms) < 3:
            continue
        joint = np.array(spot)
        ways = [slice(None, None, -1) if end else slice(None) for _, end in arms]
        radius = float(radii[arms[0][0]][ways[0]][0])
        lines = [points[k][way] for (k, _), way in zip(arms, ways, strict=True)]
        cuts = [_leaving(line, _STRAIGHT * radius) for line in lines]
        through = _through(joint, [line[cut] for line, cut in zip(lines, cuts, strict=True)])
        if through is None:
            continue
        fresh, pair = through
        if float(np.hypot(*(fresh - joint))) > _MOST_MOVED * radius:
            continue
        for number, ((k, _), way) in enumerate(zip(arms, ways, strict=True)):
            line, wide = points[k][way], radii[k][way]
            cut = cuts[number] if number in pair else _leaving(line, _BESIDE * radius)
            points[k] = np.concatenate((fresh[None, :], line[cut:]))[way]
            radii[k] = np.concatenate((wide[:1], wide[cut:]))[way]
    return [
        Branch(line, radius, branch.free)
        for line, radius, branch in zip(points, radii, branches, strict=True)
    ]


def _leaving(line: Points, reach: float) -> int:
    """Return the first point of a line more than ``reach`` from its start, in its first half."""
    away = np.hypot(*(line - line[0]).T)
    outside = np.flatnonzero(away > reach)
    most = max((len(line) - 1) // 2, 1)
    return min(int(outside[0]), most) if len(outside) else most


def _through(joint: Points, exits: list[Points]) -> tuple[Points, tuple[int, int]] | None:
    """Return the joint's place on the straightest line through it, and that line's two arms."""
    best = None
    straightest = -float(np.cos(np.radians(_THROUGH)))
    for i, j in itertools.combinations(range(len(exits)), 2):
        a, b = exits[i] - joint, exits[j] - joint
        cosine = round(float(a @ b) / max(float(np.hypot(*a) * np.hypot(*b)), 1e-300), 9)
        if cosine < straightest:
            chord = exits[j] - exits[i]
            share = float((joint - exits[i]) @ chord) / max(float(chord @ chord), 1e-300)
            best, straightest = (exits[i] + share * chord, (i, j)), cosine
    return best


def _ridges(polygon: Polygon, step: float) -> tuple[Points, Points, npt.NDArray[np.intp]]:
    """Return Voronoi vertices (n, 2), their radii (n,) and the central ridges (m, 2)."""
    from scipy.spatial import QhullError, Voronoi

    dense = shapely.segmentize(polygon, max(step, 1e-6))
    samples = np.unique(np.round(shapely.get_coordinates(dense), 9), axis=0)
    none = np.empty((0, 2)), np.empty(0), np.empty((0, 2), dtype=np.intp)
    if len(samples) < 4:
        return none
    try:
        voronoi = Voronoi(samples)
    except QhullError:
        return none
    spots = voronoi.vertices
    shapely.prepare(polygon)
    inside = np.asarray(shapely.contains_xy(polygon, spots))
    ridges = np.array(voronoi.ridge_vertices)
    good = np.asarray((ridges >= 0).all(axis=1))
    good[good] &= inside[ridges[good]].all(axis=1)
    ridges, pairs = ridges[good], voronoi.ridge_points[good]
    middle = spots[ridges].mean(axis=1)
    one, two = samples[pairs[:, 0]] - middle, samples[pairs[:, 1]] - middle
    angle = np.abs(turn_between(one, two))
    ridges = ridges[angle >= np.radians(_LEAST_ANGLE)]
    outline = polygon.boundary
    shapely.prepare(outline)
    radius = np.zeros(len(spots))
    used = np.unique(ridges)
    radius[used] = shapely.distance(np.asarray(shapely.points(spots[used])), outline)
    return spots, radius, ridges


class _Graph:
    """Central ridges as a graph that is pruned in place."""

    def __init__(self, spots: Points, radius: Points, ridges: npt.NDArray[np.intp]) -> None:
        self.spots = [tuple(spot) for spot in spots.tolist()]
        self.radius = radius.tolist()
        self.near: dict[int, set[int]] = {}
        for a, b in ridges.tolist():
            if a != b:
                self.near.setdefault(a, set()).add(b)
                self.near.setdefault(b, set()).add(a)

    def gap(self, a: int, b: int) -> float:
        (x0, y0), (x1, y1) = self.spots[a], self.spots[b]
        return float(np.hypot(x1 - x0, y1 - y0))

    def length(self, chain: list[int]) -> float:
        return sum(self.gap(a, b) for a, b in itertools.pairwise(chain))

    def of(self, chain: list[int]) -> tuple[Points, Points]:
        """Return the points (m, 2) and radii (m,) of a chain."""
        points = np.array([self.spots[node] for node in chain])
        return points, np.array([self.radius[node] for node in chain])

    def drop(self, chain: Iterable[int]) -> None:
        for node in chain:
            for other in self.near.pop(node, set()):
                self.near.get(other, set()).discard(node)

    def keep_parts_longer_than(self, least: float) -> None:
        """Drop pieces of centre line shorter than ``least``, but never the longest."""
        parts: list[tuple[float, list[int]]] = []
        seen: set[int] = set()
        for root in sorted(self.near):
            if root in seen:
                continue
            part, queue = [], [root]
            seen.add(root)
            while queue:
                node = queue.pop()
                part.append(node)
                fresh = self.near[node] - seen
                seen |= fresh
                queue.extend(sorted(fresh))
            size = sum(self.gap(a, b) for a in part for b in self.near[a]) / 2
            parts.append((size, part))
        longest = max((size for size, _ in parts), default=0.0)
        for size, part in parts:
            if size < least and size < longest:
                self.drop(part)

    def chains(self) -> list[list[int]]:
        """Return the stretches between nodes that are not plain (two neighbours), then rings."""
        found: list[list[int]] = []
        used: set[tuple[int, int]] = set()
        seen: set[int] = set()
        ends = [node for node in sorted(self.near) if len(self.near[node]) != 2]
        for start in [*ends, *sorted(self.near)]:
            for step in sorted(self.near[start]):
                if (start, step) in used or (len(self.near[start]) == 2 and start in seen):
                    continue
                chain = [start, step]
                while len(self.near[chain[-1]]) == 2 and chain[-1] != start:
                    chain.append(next(n for n in sorted(self.near[chain[-1]]) if n != chain[-2]))
                used.update(((start, step), (chain[-1], chain[-2])))
                seen.update(chain)
                found.append(chain)
        return found

    def prune(self, wanted: Callable[[Points, Points], bool] | None = None) -> bool:
        """Drop the whiskers at each joint (not its last branch); return whether there were any."""
        whiskers: list[tuple[float, list[int]]] = []
        for chain in self.chains():
            if len(self.near[chain[0]]) == 1 and len(self.near[chain[-1]]) > 2:
                chain = chain[::-1]
            root, tip = chain[0], chain[-1]
            if len(self.near[root]) > 2 and len(self.near[tip]) == 1:
                reach = self.length(chain) + self.radius[tip] - self.radius[root]
                short = reach < _WHISKER * self.radius[root]
                if short and not (wanted and wanted(*self.of(chain))):
                    whiskers.append((reach / self.radius[root], chain))
        at: dict[int, list[list[int]]] = {}
        for _, chain in sorted(whiskers, key=lambda item: (round(item[0], 6), item[1])):
            at.setdefault(chain[0], []).append(chain)
        for root, chains in at.items():
            for chain in chains:
                if len(self.near[root]) > 1:
                    self.drop(chain[1:])
        return bool(at)

    def join_joints(self) -> None:
        """Make one joint of two that nearly coincide, in their middle."""
        for _ in range(_ROUNDS):
            for chain in self.chains():
                a, b = chain[0], chain[-1]
                if a == b or len(self.near[a]) < 3 or len(self.near[b]) < 3:
                    continue
                if self.length(chain) < _SAME_JOINT * min(self.radius[a], self.radius[b]):
                    self._merge(chain)
                    break
            else:
                return

    def _merge(self, chain: list[int]) -> None:
        a, b = chain[0], chain[-1]
        (x0, y0), (x1, y1) = self.spots[a], self.spots[b]
        around = (self.near[a] | self.near[b]) - set(chain)
        self.drop(chain)
        self.spots[a] = ((x0 + x1) / 2, (y0 + y1) / 2)
        self.radius[a] = (self.radius[a] + self.radius[b]) / 2
        self.near[a] = around
        for other in around:
            self.near[other].add(a)

    def branches(self) -> list[Branch]:
        """Return the stretches as branches; joints of two are passed through."""
        found = []
        for chain in self.chains():
            ends = (len(self.near[chain[0]]) == 1, len(self.near[chain[-1]]) == 1)
            found.append(Branch(*self.of(chain), ends))
        return found
