"""The sizes of stones that several rows share."""

from __future__ import annotations

import itertools

import numpy as np

from stonelayout.geometry.intersections import SNAP_MM, Contacts
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.laying.rows.tracks.size_runs import LEAST_END_RUN, SizeRuns, Sizes, Track

#: So many stones between smaller ones, where others were left out, look like a mistake.
_LONE = 2


def agreed_sizes(tracks: list[Track], contacts: Contacts) -> list[list[int]]:
    """Return the size of the stone at each shared place.

    It is the largest that two of the rows' arms have there: a row that goes on counts twice.
    """
    spots = [np.empty((0, 2))]
    sizes: list[int] = []
    arms: list[int] = []
    for track, places in zip(tracks, contacts.places, strict=True):
        at = np.array(places)
        inside = track.path.closed | ((at > SNAP_MM) & (at < track.path.length - SNAP_MM))
        spots.append(track.path.at(at))
        sizes.extend([0] * len(at) if track.size_runs is None else track.size_runs.at(at).tolist())
        arms.extend(np.where(inside, 2, 1).tolist())
    near: list[set[int]] = [{k} for k in range(len(sizes))]
    for i, j in pairs_nearer(np.concatenate(spots), SNAP_MM)[0].tolist():
        near[i].add(j)
        near[j].add(i)
    agreed = []
    for group in near:
        found = sorted(size for k in group for size in [sizes[k]] * arms[k])
        agreed.append(found[min(1, len(found) - 1)])
    ends = np.cumsum([0, *(len(places) for places in contacts.places)]).tolist()
    return [agreed[a:b] for a, b in itertools.pairwise(ends)]


def stub_size_runs(size_runs: SizeRuns | None, agreed: list[int]) -> SizeRuns | None:
    """Return the sizes along a row; a stub of a few stones takes the size of its joint."""
    if size_runs is None or not agreed or size_runs.stones(0.0, size_runs.length) >= LEAST_END_RUN:
        return size_runs
    return size_runs.only(max(*agreed, int(size_runs.size.max())))


def without_lone_sizes(size: Sizes, closed: bool) -> Sizes:
    """Return the sizes (n,) of a row, one or two stones between smaller ones as small as these."""
    size = size.copy()
    cuts = np.flatnonzero(size != np.roll(size, 1)) if closed else np.flatnonzero(np.diff(size)) + 1
    if not closed:
        cuts = np.concatenate(([0], cuts, [len(size)]))
    elif len(cuts):
        cuts = np.append(cuts, cuts[0] + len(size))
    for start, stop in itertools.pairwise(cuts.tolist()):
        beside = (
            [start - 1, stop] if closed else [k for k in (start - 1, stop) if 0 <= k < len(size)]
        )
        around = size[np.array(beside, dtype=np.intp) % max(len(size), 1)]
        if stop - start <= _LONE and len(around) and bool((around > size[start % len(size)]).all()):
            size[np.arange(start, stop) % len(size)] = around.min()
    return size
