"""A row of several sizes: one path that runs on the curve of each size in turn."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString

from stonelayout.geometry.points import Points
from stonelayout.geometry.polylines import Polyline
from stonelayout.geometry.symmetry import NEARLY_MM, with_its_image
from stonelayout.laying.rows.tracks.row_curves import axis_of
from stonelayout.laying.rows.tracks.size_runs import SizeRuns, Sizes, Track, size_runs_of

#: Places at which a stretch of one curve is held against another's.
_PROBES = 9
#: The curve of another size may be so many times as long as the smallest size's, or shorter, as
#: inner rows are near tips.
_DETOUR, _SHORTCUT = 1.6, 3.0


def joined(
    base: Polyline,
    places: Points,
    sizes: Sizes,
    curves: list[list[Polyline]],
    pitches: Points,
    reach: float,
) -> tuple[Track, Sizes]:
    """Return a path that runs on each size's own curve in turn, and its sizes (n,).

    ``base`` is a curve of the smallest size with ``sizes`` (n,) at ``places`` (n,) mm along it;
    ``curves[i]`` are those of size i, which lie within ``reach`` mm of it. Where none goes with
    the base a smaller size is taken.
    """
    smallest = len(pitches) - 1
    for _ in range(len(pitches) * len(places)):
        size_runs = size_runs_of(places, sizes, pitches)
        stops = np.append(size_runs.start[1:], base.length)
        cuts = list(
            zip(size_runs.start.tolist(), stops.tolist(), size_runs.size.tolist(), strict=True)
        )
        if len(cuts) == 1:
            path = _whole(base, curves[cuts[0][2]], 2 * reach)
            if path is not None:
                size_runs = SizeRuns(np.zeros(1), size_runs.size, path.length, pitches)
                return Track(path, size_runs), sizes
            found: list[Polyline | None] = [None]
        else:
            found = [_part(base, cuts, k, curves, pitches, reach) for k in range(len(cuts))]
        parts = [part for part in found if part is not None]
        if len(parts) == len(cuts):
            return _symmetric(base, _track(parts, size_runs.size, base.closed, pitches)), sizes
        for (low, high, size), part in zip(cuts, found, strict=True):
            if part is None:
                smaller = min(size + 1, smallest)
                sizes = np.where((places >= low) & (places <= high), smaller, sizes)
    size_runs = SizeRuns(np.zeros(1), np.array([smallest]), base.length, pitches)
    return Track(base, size_runs), np.full(len(places), smallest)


def _symmetric(base: Polyline, track: Track) -> Track:
    """Return a track as symmetric as its base curve, to the last digit."""
    axis, size_runs = axis_of(base), track.size_runs
    if axis is None or size_runs is None or (size_runs.size != size_runs.size[::-1]).any():
        return track
    cuts = size_runs.start[1:]
    back = size_runs.length - cuts[::-1]
    # curves of unlike sizes are flattened each for itself
    if not np.allclose(cuts, back, rtol=0, atol=NEARLY_MM):
        return track
    path = with_its_image(track.path.between(0.0, track.path.length / 2), *axis)
    start = np.concatenate(([0.0], (cuts + back) / 2 * (path.length / size_runs.length)))
    return Track(path, SizeRuns(start, size_runs.size, path.length, size_runs.pitches), track.depth)


def _whole(base: Polyline, paths: list[Polyline], apart: float) -> Polyline | None:
    """Return the curve that goes with all of a base curve, if one does."""
    spots = shapely.points(base.at(np.linspace(0.0, base.length, _PROBES)))
    for path in sorted(paths, key=lambda path: round(abs(path.length - base.length), 6)):
        if path.closed != base.closed or base.length >= _DETOUR * path.length:
            continue
        if bool((shapely.distance(LineString(path.points), spots) < apart).all()):
            return path
    return None


def _part(
    base: Polyline,
    cuts: list[tuple[float, float, int]],
    k: int,
    curves: list[list[Polyline]],
    pitches: Points,
    reach: float,
) -> Polyline | None:
    """Return the stretch of run k on its own size's curve, shorter where it leads to a larger."""
    low, high, size = cuts[k]
    before = cuts[k - 1][2] if k or base.closed else size
    after = cuts[(k + 1) % len(cuts)][2] if k + 1 < len(cuts) or base.closed else size
    low += float(pitches[size]) if before < size else 0.0
    high -= float(pitches[size]) if after < size else 0.0
    if size == len(pitches) - 1:
        return base.between(low, high)
    ends, length = base.at([low, high]), high - low
    middle = shapely.points(base.at(np.linspace(low, high, _PROBES)))
    nearest, best = 2 * reach, None
    for path in [way for curve in curves[size] for way in (curve, curve.turned())]:
        line = LineString(path.points)
        start, stop = (float(line.project(shapely.Point(spot))) for spot in ends)
        spots = path.at([start, stop])
        if float(np.hypot(*(spots - ends).T).max()) > reach:
            continue
        if path.closed and stop <= start:
            stop += path.length
        if start < stop and length / _SHORTCUT < stop - start < length * _DETOUR:
            part = path.between(start, stop)
            away = float(shapely.distance(LineString(part.points), middle).max())
            if away < nearest - NEARLY_MM:
                nearest, best = away, part
    return best


def _track(parts: list[Polyline], sizes: Sizes, closed: bool, pitches: Points) -> Track:
    """Join the stretches by straight ramps, which belong to the smaller size."""
    path = Polyline.of(np.concatenate([part.points for part in parts]), closed)
    start, at = [0.0], 0.0
    for k, part in enumerate(parts[:-1]):
        at += part.length
        ramp = float(np.hypot(*(parts[k + 1].points[0] - part.points[-1])))
        start.append(at + (ramp if sizes[k + 1] < sizes[k] else 0.0))
        at += ramp
    size = sizes.copy()
    end = float(np.hypot(*(parts[0].points[0] - parts[-1].points[-1]))) if closed else 0.0
    if closed and end > 1e-9 and sizes[0] > sizes[-1]:
        start.append(path.length - end)
        size = np.append(size, sizes[0])
    return Track(path, SizeRuns(np.array(start), size, path.length, pitches))
