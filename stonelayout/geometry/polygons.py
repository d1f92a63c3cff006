"""Polygons of a region: apart, inset, about discs, and how deep points lie in them."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.points import Points

#: Arcs of an inset are chords, which leaves the room for centres too large by at most
#: (1 - cos(pi / (4 * 256))) = 4.7e-6 of the radius: a hundredth of a micrometre.
ARC_SEGMENTS = 256
#: A centre may lie this far outside its room, in mm: rounding, and no more.
SLACK_MM = 1e-9


def polygons(region: BaseGeometry | None) -> list[Polygon]:
    """Return the polygons of a region, largest first, then from top left."""
    if region is None or region.is_empty:
        return []
    found = [g for g in shapely.get_parts(region) if g.geom_type == "Polygon" and g.area > 0]
    return sorted(found, key=lambda g: (-round(g.area, 6), *np.round(g.bounds, 6).tolist()))


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
