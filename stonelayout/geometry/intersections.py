"""Where curves cross, touch, or run on the same line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString

from .bisection import edges
from .points import Points
from .polylines import Polyline

#: Curves nearer than this, in mm, touch: twice the chord error of flattened artwork, and as much
#: again for drawings that were rounded when saved.
TOUCH_MM = 0.02
#: The end of a shared stretch is known no better than this, in mm, where curves part slowly.
SNAP_MM = 0.2
#: Curves that touch for longer than this, in pitches, share an edge; shorter, a point.
SHARED = 0.75
#: Halvings of a sixteenth of a pitch at the end of a stretch: to about 1e-9 mm, as many places are
#: looked at and SNAP_MM is what is known of them.
_HALVINGS = 27
#: Shared places nearer along a path than this, in pitches, are one.
SAME_PLACE = 0.2


@dataclass
class Contacts:
    """For each path: places shared with others (arc lengths), and stretches laid by another."""

    places: list[list[float]] = field(default_factory=list)
    given: list[list[tuple[float, float]]] = field(default_factory=list)


def find_contacts(
    paths: Sequence[Polyline], pitch: float, corners_at: Sequence[Points]
) -> Contacts:
    """Find the crossings, touching points and shared stretches of paths, each with its own too.

    ``corners_at`` holds the arc lengths of each path's corners: ends of shared stretches are
    taken there where one is at hand. A shared stretch is given to the first of its paths; the
    others get its ends as places.
    """
    contacts = Contacts([[] for _ in paths], [[] for _ in paths])
    _crossings(paths, contacts)
    lines = [LineString(p.points if len(p.points) > 1 else p.points[[0, 0]]) for p in paths]
    boxes = np.array([[*p.points.min(axis=0), *p.points.max(axis=0)] for p in paths])
    tree = shapely.STRtree(shapely.box(*boxes.T))
    first, second = tree.query(shapely.box(*(boxes + [-TOUCH_MM, -TOUCH_MM, TOUCH_MM, TOUCH_MM]).T))
    for i, j in sorted(zip(first.tolist(), second.tolist(), strict=True)):
        if i < j and paths[i].length and paths[j].length:
            _touching(paths, lines, (i, j), pitch, contacts, corners_at)
    for k, path in enumerate(paths):
        contacts.places[k] = _thinned(path, contacts.places[k], pitch)
    return contacts


def _crossings(paths: Sequence[Polyline], contacts: Contacts) -> None:
    """Add the points where sides of paths cross each other."""
    owner = np.concatenate([np.full(len(p.points) - 1, k) for k, p in enumerate(paths)])
    if not len(owner):
        return
    start = np.concatenate([p.points[:-1] for p in paths])
    stop = np.concatenate([p.points[1:] for p in paths])
    along = np.concatenate([p.along[:-1] for p in paths])
    step = stop - start
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    i, j = shapely.STRtree(boxes).query(boxes)
    once = i < j
    i, j = i[once], j[once]
    cross = step[i, 0] * step[j, 1] - step[i, 1] * step[j, 0]
    size = np.hypot(*step[i].T) * np.hypot(*step[j].T)
    slanted = np.abs(cross) > 1e-3 * size
    i, j, cross = i[slanted], j[slanted], cross[slanted]
    away = start[j] - start[i]
    t = (away[:, 0] * step[j, 1] - away[:, 1] * step[j, 0]) / cross
    u = (away[:, 0] * step[i, 1] - away[:, 1] * step[i, 0]) / cross
    slack = 1e-9
    hit = (t >= -slack) & (t <= 1 + slack) & (u >= -slack) & (u <= 1 + slack)
    for a, b, ta, ub in zip(i[hit], j[hit], t[hit], u[hit], strict=True):
        sa = float(along[a] + ta * np.hypot(*step[a]))
        sb = float(along[b] + ub * np.hypot(*step[b]))
        one, two = int(owner[a]), int(owner[b])
        if one == two:
            gap = abs(sa - sb)
            length = paths[one].length
            if min(gap, length - gap if paths[one].closed else gap) < 1e-6:
                continue
        contacts.places[one].append(sa)
        contacts.places[two].append(sb)


def _touching(
    paths: Sequence[Polyline],
    lines: Sequence[LineString],
    pair: tuple[int, int],
    pitch: float,
    contacts: Contacts,
    corners_at: Sequence[Points],
) -> None:
    """Add the points and stretches where two paths touch."""
    one, two = pair
    for s0, s1 in _near_stretches(paths[two], lines[one], pitch):
        if s1 - s0 > SHARED * pitch:
            contacts.given[two].append((s0, s1))
            ends = [s0, s1] if s1 - s0 < paths[two].length * (1 - 1e-9) else []
        else:
            ends = [(s0 + s1) / 2]
            if any(s0 - TOUCH_MM <= s <= s1 + TOUCH_MM for s in contacts.places[two]):
                continue
        ends = [_snapped(s, corners_at[two]) for s in ends]
        contacts.places[two].extend(ends)
        for spot in paths[two].at(ends):
            on_one = shapely.line_locate_point(lines[one], shapely.Point(spot))
            contacts.places[one].append(_snapped(float(on_one), corners_at[one]))


def _snapped(s: float, corners_at: Points) -> float:
    """Return the corner next to a place, or the place itself."""
    if len(corners_at):
        nearest = float(corners_at[np.argmin(np.abs(corners_at - s))])
        if abs(nearest - s) <= SNAP_MM:
            return nearest
    return s


def _near_stretches(path: Polyline, line: LineString, pitch: float) -> list[tuple[float, float]]:
    """Return the stretches of a path that lie within TOUCH_MM of a line, ends refined."""
    count = max(8, int(path.length / (pitch / 16)))
    s = np.unique(np.concatenate((np.linspace(0, path.length, count), path.along)))
    shapely.prepare(line)

    def near(at: Points) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        spots = np.asarray(shapely.points(path.at(at)))
        return np.asarray(shapely.dwithin(line, spots, TOUCH_MM))

    flags = near(s)
    if not flags.any():
        return []
    if flags.all():
        return [(0.0, path.length)]
    cuts = edges(near, s, flags, _HALVINGS).tolist()
    if flags[0]:
        cuts.insert(0, 0.0)
    if flags[-1]:
        cuts.append(path.length)
    found = list(zip(cuts[::2], cuts[1::2], strict=True))
    if path.closed and len(found) > 1 and flags[0] and flags[-1]:
        found = [*found[1:-1], (found[-1][0], found[0][1] + path.length)]
    return found


def _thinned(path: Polyline, places: list[float], pitch: float) -> list[float]:
    """Merge places that are one into their mean."""
    if path.closed:
        places = [s % path.length for s in places]
    groups: list[list[float]] = []
    for s in sorted(places):
        if groups and s - groups[-1][0] < SAME_PLACE * pitch:
            groups[-1].append(s)
        else:
            groups.append([s])
    if len(groups) > 1 and path.closed:
        late = [s - path.length for s in groups[-1]]
        if groups[0][0] - late[0] < SAME_PLACE * pitch:
            groups[0] = late + groups[0]
            groups.pop()
    found = [sum(group) / len(group) for group in groups]
    return sorted(s % path.length for s in found) if path.closed else found
