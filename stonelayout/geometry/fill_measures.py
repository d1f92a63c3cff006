"""How a fill looks, in figures: spread, six-fold order, rows, the largest empty place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .bounds import kappa, proved_bound
from .neighbours import nearest_distances
from .points import Points
from .polylines import Polyline
from .regions import sides_of

#: A neighbour counts for six-fold order within this many pitches.
NEIGHBOUR = 1.5
#: A stone stands in a row when it has a neighbour on either side within so many pitches, and
#: within so many degrees of the direction of the nearest outline.
ROW_REACH, ROW_DEGREES = 1.3, 10.0
#: Step in pitches of the samples along a room's outline, for the largest empty disc.
STEP = 0.05


@dataclass(frozen=True)
class FillMeasures:
    """Figures of one filled shape.

    ``placed`` stones; ``bound`` no layout can exceed (proved); ``kappa`` an estimate of how
    dense the fill is (bounds.kappa); ``spread`` the coefficient of variation of the distances to
    the nearest neighbour; ``psi6`` the mean six-fold bond order, 1 for a perfect 60 degree grid;
    ``rows`` the share of stones in row order; ``empty`` the radius of the largest empty disc
    centred in the room, in pitches: below 1 no other stone fits.
    """

    placed: int
    bound: int
    kappa: float
    spread: float
    psi6: float
    rows: float
    empty: float

    def as_dict(self) -> Mapping[str, float | None]:
        """Return the figures as they stand in reports; None where one is not defined."""
        found: dict[str, float | None] = {"placed": self.placed, "bound": self.bound}
        for name in ("kappa", "spread", "psi6", "rows", "empty"):
            value = getattr(self, name)
            found[name] = round(value, 4) if math.isfinite(value) else None
        return found


def measure_fill(
    region: BaseGeometry, centres: Points, diameter: float, pitch: float, margin: float = 0.0
) -> FillMeasures:
    """Measure stones of one size, centres (n, 2) in mm, on the polygons of a region."""
    room = shapely.buffer(region, -(diameter / 2 + margin), quad_segs=64)
    return FillMeasures(
        placed=len(centres),
        bound=proved_bound(room, pitch),
        kappa=kappa(room, pitch, len(centres)),
        spread=spread(centres),
        psi6=psi6(centres, pitch),
        rows=row_order(region, centres, pitch),
        empty=largest_empty(room, centres) / pitch,
    )


def spread(centres: Points, pitches: Points | None = None) -> float:
    """Return the coefficient of variation of nearest-neighbour distances; nan below 2 stones.

    Stones of several sizes have ``pitches`` (n,) in mm, and a distance counts as a share of what
    the two stones keep, the mean of their pitches.
    """
    if len(centres) < 2:
        return math.nan
    near = nearest_distances(centres) if pitches is None else _nearest_shares(centres, pitches)
    return float(near.std() / near.mean())


def _nearest_shares(centres: Points, pitches: Points) -> Points:
    """Return for each stone the least distance to another as a share of what they keep, (n,)."""
    from scipy.spatial import KDTree

    found = np.full(len(centres), np.inf)
    for own in np.unique(pitches):
        mine = np.flatnonzero(pitches == own)
        for other in np.unique(pitches):
            tree = KDTree(centres[pitches == other])
            nearest = 2 if own == other else 1  # the nearest of its own size is the stone itself
            away = np.asarray(tree.query(centres[mine], k=[nearest])[0])[:, 0]
            found[mine] = np.minimum(found[mine], away / ((own + other) / 2))
    return found


def psi6(centres: Points, pitch: float) -> float:
    """Return the mean over stones of |mean of exp(6i phi)| over Delaunay neighbours in reach.

    phi is the bearing of a neighbour within NEIGHBOUR pitches. A stone without one counts 0; nan
    for no stones.
    """
    from scipy.spatial import Delaunay, QhullError

    if not len(centres):
        return math.nan
    try:
        starts, ends = Delaunay(centres).vertex_neighbor_vertices
    except (QhullError, ValueError):
        return 0.0  # fewer than three stones, or all on one line
    first = np.repeat(np.arange(len(centres)), np.diff(starts))
    step = centres[ends] - centres[first]
    near = np.hypot(step[:, 0], step[:, 1]) < NEIGHBOUR * pitch
    first, step = first[near], step[near]
    turn = np.exp(6j * np.arctan2(step[:, 1], step[:, 0]))
    count = np.bincount(first, minlength=len(centres))
    real = np.bincount(first, turn.real, len(centres))
    imaginary = np.bincount(first, turn.imag, len(centres))
    return float((np.hypot(real, imaginary) / np.maximum(count, 1)).mean())


def row_order(region: BaseGeometry, centres: Points, pitch: float) -> float:
    """Return the share of stones that stand in a row along the nearest outline; nan for none.

    See ROW_REACH and ROW_DEGREES; a stone needs its neighbour on both sides.
    """
    from scipy.spatial import KDTree

    if not len(centres):
        return math.nan
    sides = sides_of(region)
    tree = shapely.STRtree(list(shapely.get_parts(shapely.multilinestrings(sides))))
    nearest = tree.nearest(shapely.points(centres))
    along = sides[nearest, 1] - sides[nearest, 0]
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    pairs = KDTree(centres).query_pairs(ROW_REACH * pitch, output_type="ndarray")
    pairs = np.concatenate((pairs, pairs[:, ::-1]))
    step = centres[pairs[:, 1]] - centres[pairs[:, 0]]
    share = (step * along[pairs[:, 0]]).sum(axis=1) / np.hypot(step[:, 0], step[:, 1])
    least = math.cos(math.radians(ROW_DEGREES))
    ahead = np.bincount(pairs[share >= least, 0], minlength=len(centres)) > 0
    behind = np.bincount(pairs[share <= -least, 0], minlength=len(centres)) > 0
    return float((ahead & behind).mean())


def largest_empty(room: BaseGeometry, centres: Points, keep: Points | None = None) -> float:
    """Return the largest distance in mm from a point of the room to the nearest stone.

    With ``keep`` (n,) in mm, the distances that one more stone would keep from each, distances
    count as shares of these: below 1 it fits nowhere. Inside, the maximum stands where three
    stones are equally far; on the outline it is sampled, then refined. 0 for an empty room, inf
    for no stones.
    """
    if room.is_empty:
        return 0.0
    if not len(centres):
        return math.inf
    weights = np.ones(len(centres)) if keep is None else keep
    places = _between_three(centres, weights)
    shapely.prepare(room)
    places = places[shapely.contains_xy(room, places)] if len(places) else places
    best = float(_shares(places, centres, weights).max(initial=0.0))
    step = STEP * float(np.median(nearest_distances(centres))) if len(centres) > 1 else STEP
    for line in shapely.get_parts(shapely.boundary(room)):
        coordinates = shapely.get_coordinates(line)
        rings = np.linspace(0, line.length, max(8, math.ceil(line.length / step)) + 1)
        path = Polyline.of(coordinates)
        far = _shares(np.concatenate((path.at(rings), coordinates)), centres, weights)
        top = rings[np.argsort(-far[: len(rings)], kind="stable")[:8]]
        fine = (top[:, None] + np.linspace(-1, 1, 81) * rings[1]).ravel() % line.length
        refined = _shares(path.at(fine), centres, weights)
        best = max(best, float(far.max()), float(refined.max()))
    return best


def _shares(places: Points, centres: Points, weights: Points) -> Points:
    """Return the least distance from each place to a stone, over the stone's weight, shape (m,)."""
    from scipy.spatial import KDTree

    found = np.full(len(places), np.inf)
    for weight in np.unique(weights) if len(places) else ():
        tree = KDTree(centres[weights == weight])
        found = np.minimum(found, np.asarray(tree.query(places)[0]) / weight)
    return found


def _between_three(centres: Points, weights: Points) -> Points:
    """Return places (m, 2) equally far from three neighbours, distances over their weights."""
    from scipy.spatial import Delaunay, QhullError

    try:
        corners = Delaunay(centres).simplices if len(centres) > 2 else np.empty((0, 3), np.intp)
    except QhullError:
        corners = np.empty((0, 3), np.intp)  # all on one line: the maximum is on the outline
    a, w = centres[corners], weights[corners] ** 2
    origin = a[:, 0]
    # |x - a_i|^2 = t w_i, less the first of them, is linear in x and t; x is put into the first
    rows = -2 * (a[:, 1:] - a[:, :1])
    right = -((a[:, 1:] - a[:, :1]) ** 2).sum(axis=2)
    level = w[:, 1:] - w[:, :1]
    plain = np.linalg.det(rows) != 0
    rows, right, level, origin, w = (t[plain] for t in (rows, right, level, origin, w))
    fixed, slope = np.moveaxis(
        np.linalg.solve(rows, np.stack((right, level), axis=2)), 2, 0
    )  # x = fixed + t slope
    square, mixed = (slope**2).sum(axis=1), 2 * (fixed * slope).sum(axis=1) - w[:, 0]
    root = np.sqrt(np.maximum(mixed**2 - 4 * square * (fixed**2).sum(axis=1), 0.0))
    # the smaller root t, written so that it holds for equal weights too; some have none
    down = root - mixed
    some = down > 0
    t = 2 * (fixed[some] ** 2).sum(axis=1) / down[some]
    found: Points = origin[some] + fixed[some] + t[:, None] * slope[some]
    return found
