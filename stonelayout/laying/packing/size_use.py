"""Sizes that earn their template: a size with too few stones in all is laid without.

One that has none is named.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from stonelayout.laying.common.ask import Laid

#: A size that holds this share of one shape's stones stays, however few they are.
SHARE = 0.25


def unplaced(laid: Sequence[Laid], sizes: int) -> list[int]:
    """Return which of so many sizes have no stone, where stones were laid at all."""
    used = {int(k) for one in laid for k in one.size}
    return [k for k in range(sizes) if used and k not in used]


def unearned(
    laid: Sequence[Laid],
    diameters: Sequence[float],
    fewest: int,
    cut_anyway: Collection[int] = (),
) -> list[tuple[int, int]]:
    """Return sizes that one rule does better without, and how many stones each had.

    A size stays if it has at least ``fewest`` stones on all shapes together, or SHARE of the
    stones of one, if it is in ``cut_anyway`` (its template is cut for earlier rules), or if no
    larger one has stones. Of the others, the one that covers least comes first.
    ``diameters`` in mm, one for each size.
    """
    counts = [sum(int((one.size == k).sum()) for one in laid) for k in range(len(diameters))]
    largest = max((d for d, count in zip(diameters, counts, strict=True) if count), default=0.0)
    few = [
        k
        for k, count in enumerate(counts)
        if 0 < count < fewest
        and diameters[k] < largest
        and k not in cut_anyway
        and not any((one.size == k).sum() >= SHARE * max(1, len(one.size)) for one in laid)
    ]
    few.sort(key=lambda k: (counts[k] * diameters[k] ** 2, -k))
    return [(k, counts[k]) for k in few]
