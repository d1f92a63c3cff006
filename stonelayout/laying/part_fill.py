"""The parts of a region, each in a frame of its own, so that like parts get like fills."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.neighbours import ROUNDING, crossing_pairs, pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.geometry.symmetry import axes_of_symmetry, mirrored, obstacles_alike

from .ask import Ask, Laid, Obstacles, Spec

#: Arcs of an inset are chords, which leaves the room for centres too large by at most
#: (1 - cos(pi / (4 * 256))) = 4.7e-6 of the radius: a hundredth of a micrometre.
ARC_SEGMENTS = 256
#: Coordinates in a part's own frame are rounded to this many decimals of a mm, so that the last
#: digits of a copy's position cannot change its fill.
FRAME_DECIMALS = 10
#: A centre may lie this far outside its room, in mm: rounding, and no more.
SLACK_MM = 1e-9
#: In a part just as wide as a stone, or narrower by up to twice this, stones may stand over its
#: outline by so many mm: less than drawings and stones are true to.
EXACT_MM = 0.005
#: So many parts are remembered, so that a letter is filled once in a name, and in a list of names.
LIKE_PARTS = 256
_TURNS = tuple(
    np.array([[a, b], [c, d]], dtype=np.float64)
    for a, b, c, d in (
        (1, 0, 0, 1),
        (-1, 0, 0, 1),
        (1, 0, 0, -1),
        (-1, 0, 0, -1),
        (0, 1, 1, 0),
        (0, -1, 1, 0),
        (0, 1, -1, 0),
        (0, -1, -1, 0),
    )
)


@dataclass(frozen=True, eq=False)
class Frame:
    """A part's own frame: its centroid is the origin, its axes are the page's, turned or mirrored.

    ``turn`` (2, 2) holds one of the eight symmetries of the square.
    """

    origin: Points
    turn: Points

    def inward(self, points: Points) -> Points:
        """Carry points (n, 2) from the page into the frame."""
        return np.asarray((points - self.origin) @ self.turn.T, dtype=np.float64)

    def outward(self, points: Points) -> Points:
        """Carry points (n, 2) from the frame to the page."""
        return np.asarray(points @ self.turn + self.origin, dtype=np.float64)

    def shape_inward(self, shape: BaseGeometry) -> BaseGeometry:
        """Carry a shape into the frame, its coordinates rounded."""
        return shapely.transform(shape, lambda p: np.round(self.inward(p), FRAME_DECIMALS) + 0.0)


@dataclass(frozen=True, eq=False)
class Part:
    """One polygon to fill, in its own frame.

    ``sizes`` as in Ask; ``rooms`` holds for each size the polygons in which its centres may lie
    (obstacles cut out); ``obstacles`` (m, 2) with ``distance`` (m, k); ``mirrors`` tells whether
    the part is symmetric about x = 0 and about y = 0 of its frame.
    """

    outline: BaseGeometry
    sizes: tuple[Spec, ...]
    rooms: tuple[BaseGeometry, ...]
    obstacles: Points
    distance: Points
    mirrors: tuple[bool, bool]
    frame: Frame
    options: Any

    @property
    def room(self) -> BaseGeometry:
        """The room for centres of the first size."""
        return self.rooms[0]


def clear_of(points: Points, obstacles: Points, distance: Points) -> npt.NDArray[np.bool_]:
    """Tell which points (n, 2) keep ``distance`` (m,) from the obstacles (m, 2); exact."""
    keep = np.ones(len(points), dtype=np.bool_)
    if len(obstacles) and len(points):
        pairs, lengths = crossing_pairs(points, obstacles, float(distance.max()) * (1 + 1e-6))
        short = lengths < distance[pairs[:, 1]] * (1 - ROUNDING)
        keep[pairs[short, 0]] = False
    return keep


Fill = Callable[[Part], tuple[Points, npt.NDArray[np.intp]]]


def polygons(region: BaseGeometry | None) -> list[Polygon]:
    """Return the polygons of a region, largest first, then from top left."""
    if region is None or region.is_empty:
        return []
    found = [g for g in shapely.get_parts(region) if g.geom_type == "Polygon" and g.area > 0]
    return sorted(found, key=lambda g: (-round(g.area, 6), *np.round(g.bounds, 6).tolist()))


def frame_of(polygon: Polygon) -> Frame:
    """Return the frame in which a polygon and its copies, turned or mirrored, look the same."""
    middle = shapely.centroid(polygon)
    origin = np.array([middle.x, middle.y])
    best: tuple[float, ...] = ()
    turn = _TURNS[0]
    for candidate in _TURNS:
        key = _signature(polygon, Frame(origin, candidate))
        if not best or key > best:
            best, turn = key, candidate
    return Frame(origin, turn)


def _signature(polygon: Polygon, frame: Frame) -> tuple[float, ...]:
    """Moments of the outline that tell a frame from its mirror images; landscape comes first."""
    points = shapely.get_coordinates(polygon)
    ends = frame.inward(points)
    sides = np.diff(ends, axis=0)
    length = np.hypot(sides[:, 0], sides[:, 1])
    x, y = ((ends[1:] + ends[:-1]) / 2).T
    total = float(length.sum()) or 1.0
    size = float(np.sqrt(polygon.area)) or 1.0
    terms = (x**2 - y**2, y**3, x**3, x**2 * y, x * y**2, x * y, y**5, x**5, x**3 * y, x * y**3)
    degrees = (2, 3, 3, 3, 3, 2, 5, 5, 4, 4)
    return tuple(
        round(float((length * term).sum()) / total / size**degree, 7) + 0.0
        for term, degree in zip(terms, degrees, strict=True)
    )


def inset(polygon: BaseGeometry, distance: float) -> BaseGeometry:
    """Return the points at least ``distance`` mm inside (see ARC_SEGMENTS)."""
    if distance <= 0:
        return polygon
    return shapely.buffer(polygon, -distance, quad_segs=ARC_SEGMENTS)


def discs(centres: Points, radii: Points) -> BaseGeometry:
    """Return the union of discs, each as a polygon drawn about it (never smaller than the disc)."""
    segments = 16
    grown = radii / np.cos(np.pi / (4 * segments))
    return shapely.union_all(shapely.buffer(shapely.points(centres), grown, quad_segs=segments))


def part_of(polygon: Polygon, frame: Frame, ask: Ask, obstacles: Points, distance: Points) -> Part:
    """Return a polygon of an ask in its own frame, with room for the centres of each size."""
    outline = frame.shape_inward(polygon)
    if not outline.is_valid:
        whole = polygons(shapely.make_valid(outline))
        outline = whole[0] if whole else Polygon()  # a sliver that rounding closed
    margin = float(ask.options.get("margin", 0.0))
    local = frame.inward(obstacles) if len(obstacles) else np.empty((0, 2))
    x, y = axes_of_symmetry(outline, ask.sizes[0].pitch)
    mirrors = (
        x and obstacles_alike(local, distance, 0, SLACK_MM),
        y and obstacles_alike(local, distance, 1, SLACK_MM),
    )
    rooms = []
    for k, spec in enumerate(ask.sizes):
        room = inset(outline, spec.diameter / 2 + margin)
        for axis in (0, 1):
            if mirrors[axis]:
                room = shapely.intersection(room, mirrored(room, axis))
        if len(obstacles):
            room = shapely.difference(room, discs(local, distance[:, k]))
        if room.geom_type == "GeometryCollection":  # what an intersection leaves beside areas
            room = shapely.MultiPolygon(polygons(room))
        rooms.append(room)
    return Part(outline, ask.sizes, tuple(rooms), local, distance, mirrors, frame, ask.options)


@dataclass(frozen=True, eq=False)
class _Like:
    """A part that stands alone; equal to another when both are the same to the last digit."""

    part: Part

    @cached_property
    def key(self) -> tuple[Any, ...]:
        options = tuple(sorted((name, repr(value)) for name, value in self.part.options.items()))
        return self.part.outline.wkb, self.part.sizes, options

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Like) and self.key == other.key


def remembered(fill: Fill) -> Fill:
    """Return a fill that fills like parts that stand alone once only."""

    @lru_cache(maxsize=LIKE_PARTS)
    def once(like: _Like) -> tuple[Points, npt.NDArray[np.intp]]:
        centres, sizes = fill(like.part)
        centres.setflags(write=False)
        sizes.setflags(write=False)
        return centres, sizes

    def filled(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
        return fill(part) if len(part.obstacles) else once(_Like(part))

    return filled


def fill_parts(ask: Ask, fill: Fill, *, beside: bool = False) -> Laid:
    """Fill each polygon of an ask's region; stones laid before are obstacles where they matter.

    Every part is first filled as if it stood alone, so that like parts look alike; only where
    that brings stones too near to earlier ones it is filled again, up to them. A part that is
    as wide as one stone (EXACT_MM) gets a row along its middle. ``beside`` tells that ``fill``
    keeps symmetry beside earlier stones that have it too.
    """
    centres: list[Points] = [np.empty((0, 2))]
    sizes: list[npt.NDArray[np.intp]] = [np.empty(0, dtype=np.intp)]
    count = len(ask.sizes)
    pitch = np.array([[ask.pitch(i, j) for j in range(count)] for i in range(count)])
    for polygon in polygons(ask.region):
        frame = frame_of(polygon)
        alone = part_of(polygon, frame, ask, np.empty((0, 2)), np.empty((0, count)))
        stands, distance = _earlier(ask, polygon, np.concatenate(centres), sizes, pitch)
        row = _one_row(ask, polygon, alone, Obstacles(stands, distance))
        if row is not None:
            keep = certified(row.centres, row.size, ask, polygon, stands, distance, EXACT_MM)
            centres.append(row.centres[keep])
            sizes.append(row.size[keep])
            continue
        if all(room.is_empty for room in alone.rooms):
            continue
        found, size = fill(alone)
        if len(stands):
            world = frame.outward(found)
            alike = [clear_of(world[size == k], stands, distance[:, k]) for k in range(count)]
            if not all(clear.all() for clear in alike):
                part = part_of(polygon, frame, ask, stands, distance)
                found, size = fill(
                    part if beside else dataclasses.replace(part, mirrors=(False, False))
                )
        world = frame.outward(found)
        keep = certified(world, size, ask, polygon, stands, distance)
        centres.append(world[keep])
        sizes.append(size[keep])
    return Laid(np.concatenate(centres), np.concatenate(sizes))


def _one_row(ask: Ask, polygon: Polygon, alone: Part, obstacles: Obstacles) -> Laid | None:
    """Return a row along the middle of a part that is as wide as a stone, None for another part."""
    # how much of the outline has room behind it for more than a row
    open_length = shapely.buffer(alone.room, -EXACT_MM).length
    if open_length > polygon.length / 4:
        return None
    margin = float(ask.options.get("margin", 0.0))
    wide = inset(polygon, alone.sizes[0].diameter / 2 + margin - EXACT_MM)
    if open_length > wide.length / 2:
        return None
    from stonelayout.laying.rows.spine import lay_spine

    options = {"overhang": EXACT_MM, "margin": margin}
    row = lay_spine(dataclasses.replace(ask, region=polygon, options=options, obstacles=obstacles))
    return dataclasses.replace(row, findings=()) if len(row.centres) else None


def _earlier(
    ask: Ask,
    polygon: Polygon,
    laid: Points,
    sizes: Iterable[npt.NDArray[np.intp]],
    pitch: Points,
) -> tuple[Points, Points]:
    """Return the stones that may matter to a polygon, and the distances that they keep."""
    centres, distance = laid, pitch[np.concatenate(list(sizes))]
    if ask.obstacles is not None and len(ask.obstacles.centres):
        centres = np.concatenate((ask.obstacles.centres, centres))
        distance = np.concatenate((ask.obstacles.distance, distance))
    x0, y0, x1, y1 = polygon.bounds
    reach = distance.max(axis=1) if len(distance) else np.empty(0)
    near = (
        (centres[:, 0] > x0 - reach)
        & (centres[:, 0] < x1 + reach)
        & (centres[:, 1] > y0 - reach)
        & (centres[:, 1] < y1 + reach)
    )
    return centres[near], distance[near]


def certified(
    centres: Points,
    size: npt.NDArray[np.intp],
    ask: Ask,
    polygon: Polygon,
    obstacles: Points,
    distance: Points,
    slack: float = SLACK_MM,
) -> npt.NDArray[np.bool_]:
    """Tell which stones to keep so that all distances hold exactly, shape (n,).

    Pairs and obstacles by ``hypot``, the outline by the distance to its sides; ``slack`` in mm.
    Of a pair that is too near the later one goes.
    """
    keep = np.ones(len(centres), dtype=np.bool_)
    if not len(centres):
        return keep
    margin = float(ask.options.get("margin", 0.0))
    least = np.array([spec.diameter / 2 + margin for spec in ask.sizes])[size]
    keep &= depth_within(polygon, centres, least) >= least - slack
    for k in range(len(ask.sizes)):
        mine = size == k
        keep[mine] &= clear_of(centres[mine], obstacles, distance[:, k])
    pitches = np.array([spec.pitch for spec in ask.sizes])
    pairs, lengths = pairs_nearer(centres, float(pitches.max()))
    apart = (pitches[size[pairs[:, 0]]] + pitches[size[pairs[:, 1]]]) / 2
    for i, j in pairs[lengths < apart * (1 - ROUNDING)]:
        if keep[i]:
            keep[j] = False
    return keep


def depth_within(polygon: BaseGeometry, points: Points, reach: Points) -> Points:
    """Return each point's distance to the outline in mm, shape (n,); negative outside.

    Exact where it is at most twice ``reach`` (n,); inf where it is more.
    """
    lines = shapely.get_parts(polygon.boundary)
    starts, ends = [], []
    for line in lines:
        ring = shapely.get_coordinates(line)
        starts.append(ring[:-1])
        ends.append(ring[1:])
    start, end = np.concatenate(starts), np.concatenate(ends)
    tree = shapely.STRtree(
        list(shapely.get_parts(shapely.multilinestrings(np.stack((start, end), axis=1))))
    )
    wide = 2 * reach + 1000 * SLACK_MM
    around = shapely.box(
        points[:, 0] - wide,
        points[:, 1] - wide,
        points[:, 0] + wide,
        points[:, 1] + wide,
    )
    which, side = tree.query(around)
    step = end[side] - start[side]
    offset = points[which] - start[side]
    along = (offset * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), 1e-300)
    foot = offset - np.clip(along, 0, 1)[:, None] * step
    depth = np.full(len(points), np.inf)
    np.minimum.at(depth, which, np.hypot(foot[:, 0], foot[:, 1]))
    shapely.prepare(polygon)
    inside = shapely.contains_xy(polygon, points)
    return np.where(inside, depth, -depth)
