"""Sizes that earn their template: a size with too few stones in all gives way to smaller ones."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence

from .base import Laid, Spec

#: A size that holds this share of one shape's stones stays, however few they are.
SHARE = 0.25


def earned(
    laid: Sequence[Laid], sizes: Sequence[Spec], fewest: int, cut_anyway: Collection[int] = ()
) -> tuple[list[Laid], dict[int, int]]:
    """Return what one rule laid on its shapes without the sizes that have too few stones.

    A size stays if it has at least ``fewest`` stones on all shapes together, or SHARE of the
    stones of one, if it is in ``cut_anyway`` (its template is cut for earlier rules), or if no
    larger one stays. In the places of the others stand stones of the next smaller size, which keep
    all distances; without one the places stay empty. The second answer tells how many stones each
    size that went would have had.
    """
    order = sorted(range(len(sizes)), key=lambda k: -sizes[k].diameter)
    size = [one.size.copy() for one in laid]
    kept, gone = False, {}
    for place, k in enumerate(order):
        count = sum(int((one == k).sum()) for one in size)
        much = any((one == k).sum() >= SHARE * max(1, len(one)) for one in size)
        if not count or count >= fewest or much or k in cut_anyway or not kept:
            kept = kept or count > 0
            continue
        gone[k] = count
        for one in size:
            one[one == k] = order[place + 1] if place + 1 < len(order) else -1
    if not gone:
        return list(laid), gone
    found = [
        dataclasses.replace(one, centres=one.centres[new >= 0], size=new[new >= 0])
        for one, new in zip(laid, size, strict=True)
    ]
    return found, gone
