"""How near stones of two layers may stand."""

from __future__ import annotations

from stonelayout.model.catalogue import Sheet, Stone

#: Room between two stones of unlike layers when they are as large as their sizes get, in mm.
LEAST_GAP_MM = 0.1


def least_distance(first: Stone, second: Stone, sheet: Sheet) -> float:
    """Return the least centre distance in mm between stones of two layers.

    The largest stones of both sizes stay clear of each other, and a stone already on the tape
    stays clear of the other layer's hole: its radius plus that hole's radius.
    """
    touching = (first.max + second.max) / 2 + LEAST_GAP_MM
    over_hole = max(
        (first.diameter + sheet.hole(second.diameter)) / 2,
        (second.diameter + sheet.hole(first.diameter)) / 2,
    )
    return max(touching, over_hole)
