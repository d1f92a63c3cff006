"""Separation: one layer of holes for each size and colour, in the order of lifting."""

from __future__ import annotations

import numpy as np

from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Layout

from .lifting import lifting_order


def separate(layout: Layout, sheet: Sheet) -> tuple[Layer, ...]:
    """Return one layer for each kind of stone in the layout, in lifting order.

    Kinds without stones give no layer.
    """
    used = [k for k, count in enumerate(layout.counts()) if count]
    diameters = [layout.kinds[k].diameter for k in used]
    layers = []
    for order, k in enumerate((used[i] for i in lifting_order(diameters)), start=1):
        kind = layout.kinds[k]
        layers.append(
            Layer(
                order=order,
                kind=kind,
                centres=np.ascontiguousarray(layout.centres[layout.kind == k]),
                hole=round(sheet.hole(kind.diameter), 6),
                reason=(
                    "smaller stones are lifted first"
                    if diameters.count(kind.diameter) == 1
                    else "smaller stones first; within one size in the order of the job"
                ),
            )
        )
    return tuple(layers)
