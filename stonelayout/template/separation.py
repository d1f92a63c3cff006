"""Separation: one layer of holes for each size and colour, in the order of lifting."""

from __future__ import annotations

import numpy as np

from stonelayout.model.catalogue import Sheet
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Layout


def separate(layout: Layout, sheet: Sheet) -> tuple[Layer, ...]:
    """Return one layer for each kind of stone in the layout, in lifting order.

    The smallest stones are lifted first, because a larger stone stands taller and would hold the
    tape off the sheet (common practice). Kinds of one diameter are lifted in the layout's order:
    with one clearance a stone comes down over another kind's hole whichever goes first, so order
    cannot mend that. Kinds without stones give no layer.
    """
    counts = layout.counts()
    used = [k for k, count in enumerate(counts) if count]
    used.sort(key=lambda k: layout.kinds[k].diameter)
    layers = []
    for order, k in enumerate(used, start=1):
        kind = layout.kinds[k]
        same = [other for other in used if layout.kinds[other].diameter == kind.diameter]
        layers.append(
            Layer(
                order=order,
                kind=kind,
                centres=np.ascontiguousarray(layout.centres[layout.kind == k]),
                hole=round(sheet.hole(kind.diameter), 6),
                reason=(
                    "smaller stones are lifted first"
                    if len(same) == 1
                    else "smaller stones first; within one size in the order of the job"
                ),
            )
        )
    return tuple(layers)
