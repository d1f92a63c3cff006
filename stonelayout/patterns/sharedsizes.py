"""The sizes of stones that several rows share."""

from __future__ import annotations

import itertools

import numpy as np

from stonelayout.neighbours import pairs_nearer

from .contacts import SNAP_MM, Contacts
from .gauge import LEAST_END_RUN, Gauge, Track


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
        sizes.extend([0] * len(at) if track.gauge is None else track.gauge.at(at).tolist())
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


def stub_gauge(gauge: Gauge | None, agreed: list[int]) -> Gauge | None:
    """Return the gauge of a row; a stub of a few stones takes the size of the joint it leaves."""
    if gauge is None or not agreed or gauge.stones(0.0, gauge.length) >= LEAST_END_RUN:
        return gauge
    return gauge.only(max(*agreed, int(gauge.size.max())))
