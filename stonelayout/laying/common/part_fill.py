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

from stonelayout.geometry.frames import Frame, frame_of
from stonelayout.geometry.neighbours import ROUNDING, pairs_nearer
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import SLACK_MM, depth_within, discs, inset, polygons
from stonelayout.geometry.symmetry import axes_of_symmetry, mirrored, obstacles_alike
from stonelayout.laying.common.ask import Ask, Laid, Obstacles, Spec
from stonelayout.laying.common.tolerances import EXACT_MM

#: So many parts are remembered, so that a letter is filled once in a name, and in a list of names.
LIKE_PARTS = 256


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


#: Fills one part: centres (n, 2) in its frame, and the size of each (n,).
Fill = Callable[[Part], tuple[Points, npt.NDArray[np.intp]]]
#: Lays a row in a part that has room for no more, None for another part: the ask, its polygon, the
#: part as if it stood alone, the stones laid before.
RowFill = Callable[[Ask, Polygon, Part, Obstacles], Laid | None]


def part_of(polygon: Polygon, frame: Frame, ask: Ask, obstacles: Obstacles) -> Part:
    """Return a polygon of an ask in its own frame, with room for the centres of each size."""
    outline = frame.shape_inward(polygon)
    if not outline.is_valid:
        whole = polygons(shapely.make_valid(outline))
        outline = whole[0] if whole else Polygon()  # a sliver that rounding closed
    distance = obstacles.distance
    local = frame.inward(obstacles.centres) if len(obstacles) else np.empty((0, 2))
    x, y = axes_of_symmetry(outline, ask.sizes[0].pitch)
    mirrors = (
        x and obstacles_alike(local, distance, 0, SLACK_MM),
        y and obstacles_alike(local, distance, 1, SLACK_MM),
    )
    rooms = []
    for k, spec in enumerate(ask.sizes):
        room = shared_with_images(inset(outline, spec.inset(ask.options)), mirrors)
        if len(obstacles):
            room = shapely.difference(room, discs(local, distance[:, k]))
        if room.geom_type == "GeometryCollection":  # what an intersection leaves beside areas
            room = shapely.MultiPolygon(polygons(room))
        rooms.append(room)
    return Part(outline, ask.sizes, tuple(rooms), local, distance, mirrors, frame, ask.options)


def shared_with_images(shape: BaseGeometry, mirrors: tuple[bool, bool]) -> BaseGeometry:
    """Return what a shape has in common with its images about x = 0 and y = 0, where asked."""
    for axis in (0, 1):
        if mirrors[axis]:
            shape = shapely.intersection(shape, mirrored(shape, axis))
    return shape


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


def fill_parts(ask: Ask, fill: Fill, row: RowFill, *, beside: bool = False) -> Laid:
    """Fill each polygon of an ask's region; stones laid before are obstacles where they matter.

    Every part is first filled as if it stood alone, so that like parts look alike; only where
    that brings stones too near to earlier ones it is filled again, up to them. A part for which
    ``row`` has an answer, as wide as one stone (EXACT_MM), gets that. ``beside`` tells that
    ``fill`` keeps symmetry beside earlier stones that have it too.
    """
    centres: list[Points] = [np.empty((0, 2))]
    sizes: list[npt.NDArray[np.intp]] = [np.empty(0, dtype=np.intp)]
    count = len(ask.sizes)
    pitch = np.array([[ask.pitch(i, j) for j in range(count)] for i in range(count)])
    for polygon in polygons(ask.region):
        frame = frame_of(polygon)
        alone = part_of(polygon, frame, ask, Obstacles.none(count))
        earlier = _earlier(ask, polygon, np.concatenate(centres), sizes, pitch)
        single = row(ask, polygon, alone, earlier)
        if single is not None:
            keep = certified(single.centres, single.size, ask, polygon, earlier, EXACT_MM)
            centres.append(single.centres[keep])
            sizes.append(single.size[keep])
            continue
        if all(room.is_empty for room in alone.rooms):
            continue
        found, size = fill(alone)
        if not earlier.clear(frame.outward(found), size).all():
            part = part_of(polygon, frame, ask, earlier)
            found, size = fill(
                part if beside else dataclasses.replace(part, mirrors=(False, False))
            )
        world = frame.outward(found)
        keep = certified(world, size, ask, polygon, earlier)
        centres.append(world[keep])
        sizes.append(size[keep])
    return Laid(np.concatenate(centres), np.concatenate(sizes))


def _earlier(
    ask: Ask,
    polygon: Polygon,
    laid: Points,
    sizes: Iterable[npt.NDArray[np.intp]],
    pitch: Points,
) -> Obstacles:
    """Return the stones that may matter to a polygon."""
    centres, distance = laid, pitch[np.concatenate(list(sizes))]
    if ask.obstacles is not None and len(ask.obstacles):
        centres = np.concatenate((ask.obstacles.centres, centres))
        distance = np.concatenate((ask.obstacles.distance, distance))
    return Obstacles(centres, distance).near(polygon.bounds)


def certified(
    centres: Points,
    size: npt.NDArray[np.intp],
    ask: Ask,
    polygon: Polygon,
    obstacles: Obstacles,
    slack: float = SLACK_MM,
) -> npt.NDArray[np.bool_]:
    """Tell which stones to keep so that all distances hold exactly, shape (n,).

    Pairs and obstacles by ``hypot``, the outline by the distance to its sides; ``slack`` in mm.
    Of a pair that is too near the later one goes.
    """
    keep = np.ones(len(centres), dtype=np.bool_)
    if not len(centres):
        return keep
    least = np.array([spec.inset(ask.options) for spec in ask.sizes])[size]
    keep &= depth_within(polygon, centres, least) >= least - slack
    keep &= obstacles.clear(centres, size)
    pitches = np.array([spec.pitch for spec in ask.sizes])
    pairs, lengths = pairs_nearer(centres, float(pitches.max()))
    apart = (pitches[size[pairs[:, 0]]] + pitches[size[pairs[:, 1]]]) / 2
    for i, j in pairs[lengths < apart * (1 - ROUNDING)]:
        if keep[i]:
            keep[j] = False
    return keep
