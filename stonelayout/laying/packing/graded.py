"""The ``graded`` pattern: the largest size first, smaller ones where it leaves room."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.points import Points
from stonelayout.geometry.polygons import discs
from stonelayout.laying.common.ask import Ask, Laid
from stonelayout.laying.common.fill_symmetry import symmetric_room, symmetries
from stonelayout.laying.common.part_fill import Part, fill_parts, remembered
from stonelayout.laying.courses.edge_row import edge_row, without_row
from stonelayout.laying.rows.middle_row import middle_row
from stonelayout.laying.solvers.mix import Mix

from . import even
from .disc_packer import Evening, Packer, Pressing
from .gap_pockets import fill_pockets
from .lattice import best_lattice
from .mix_search import Grower
from .mix_value import raggedness, value, yielding


@dataclass(frozen=True)
class GradedEffort:
    """How long to look.

    Grids are pressed that have ``excess`` discs too many (as for `even`), ``discs`` in all; the
    ``kept`` mixes that cover most are evened by ``evenings`` pushes and grown in ``sweeps``, each
    place ``tries`` times; ``steps`` of one relaxation.
    """

    excess: tuple[float, ...]
    discs: int
    kept: int
    evenings: int
    sweeps: int
    tries: int
    steps: int


EFFORTS = {
    "good": GradedEffort((0.2, 0.3, 0.1, 0.15, 0.25), 900, 1, 1, 2, 1, 220),
    "best": GradedEffort((0.2, 0.3, 0.1, 0.15, 0.25, 0.4), 6000, 4, 3, 6, 3, 300),
}
#: At each excess one grid is taken for each of so many angles, then others stretched to the room.
_ANGLES, _LOOK = 3, dataclasses.replace(even.EFFORTS["good"], grids=5, few=10, batches=0)
#: Small fills are cheap: mixes of so many discs in all are kept, but not more than so many.
_KEPT_DISCS, _MOST_KEPT = 240, 4
#: Mixes that are worth less than this share of the best are not finished.
_HOPE = 0.97
#: A fill with turns covers at least this share of the fullest; one with two axes even.FAIR.
FAIR = 0.965
PRESSING = Pressing(rounds=60, wait=1, falling=0.0, share=20.0, most=0.06, fullest=False)
#: One push that does not fade, with discs pinned once. With the fading pushes of ``even`` an E gets
#: 93 stones for 95 and a heart 104 for 108, though a star and an A are covered better (0.769 to
#: 0.792, 0.758 to 0.767).
EVENING = Evening((0.3,), draw=1.0, push=1.0, renewed=False)
#: A size that holds this share of one shape's stones stays, however few they are.
AMPLE = 0.25
#: Where the largest size has so few stones, its even fill is tried too.
_FEW = 40


def lay_graded(ask: Ask) -> Laid:
    """Lay as much of the largest size as fits, smaller ones where its order meets the edge.

    A stone fits between three touching stones only below 0.155 of their size, so smaller sizes
    go where the larger ones do not: along the edge, into tips and narrow strokes. Options as for
    ``even``; sizes are taken largest first, whatever their order.
    """
    return fill_parts(ask, fill_graded, middle_row, beside=True)


@remembered
def fill_graded(part: Part) -> tuple[Points, npt.NDArray[np.intp]]:
    """Fill one part with all sizes, behind an edge row if asked (part_fill.Fill)."""
    order = sorted(range(len(part.sizes)), key=lambda k: -part.sizes[k].diameter)
    order = [k for k in order if not part.rooms[k].is_empty]
    own = _of_sizes(part, order)
    row = np.empty((0, 2))
    if part.options.get("edge_row"):
        row = edge_row(own)
        own = without_row(own, row)
    left = [k for k, room in enumerate(own.rooms) if not room.is_empty]
    mix = Mix.of(row)
    if left:
        rest = _best_fill(_of_sizes(own, left))
        for k in range(len(left)):
            mix = mix.with_more(rest.centres[rest.size == k], left[k])
    return mix.centres, np.array(order, dtype=np.intp)[mix.size]


def _of_sizes(part: Part, sizes: list[int]) -> Part:
    return dataclasses.replace(
        part,
        sizes=tuple(part.sizes[k] for k in sizes),
        rooms=tuple(part.rooms[k] for k in sizes),
        distance=part.distance[:, sizes],
    )


def _best_fill(part: Part) -> Mix:
    """Return the fill of the highest symmetry that covers about as much as the best."""
    mirrors = symmetries(part) if part.options.get("symmetric", True) else (NONE,)
    quality = part.options.get("quality", "good")
    if quality == "draft" or len(part.sizes) == 1 or _thin_or_many(part, mirrors[-1]):
        largest = even.fill_evenly(_of_sizes(part, [0]))
        mix = Mix.of(largest)
        kept = next((found for found in mirrors if found.keep(largest)), NONE)
        return _filled_up(part, mix, kept)
    # the best of a longer look may cover less
    efforts = [EFFORTS[name] for name in ("good", "best")[: 1 + (quality == "best")]]
    squares = np.array([spec.diameter**2 for spec in part.sizes])

    def covered(mix: Mix) -> float:
        return float(squares[mix.size].sum())

    fills = [max((_filled(part, found, one) for one in efforts), key=covered) for found in mirrors]
    most = max(map(covered, fills))
    shares = [even.FAIR if len(found.group) <= 4 else FAIR for found in mirrors]
    return next(m for m, share in zip(fills, shares, strict=True) if covered(m) >= share * most)


def _thin_or_many(part: Part, mirrors: Mirrors) -> bool:
    """Tell whether the largest size fits in one row at most, or is too much to press."""
    pitch = part.sizes[0].pitch
    if part.room.area < even.THIN * pitch * part.room.length:
        return True
    return not 2 <= len(best_lattice(part.room, pitch, mirrors=mirrors.axes)) <= even.MANY


def _filled(part: Part, mirrors: Mirrors, effort: GradedEffort) -> Mix:
    pitch = part.sizes[0].pitch
    rooms = tuple(symmetric_room(room, mirrors, even.ROUGH * pitch) for room in part.rooms)
    part = dataclasses.replace(part, rooms=rooms)
    packer = Packer(rooms, [spec.pitch for spec in part.sizes], mirrors)
    diameters = np.array([spec.diameter for spec in part.sizes])

    def worth(mix: Mix) -> float:
        return value(packer, diameters, mix)

    grid = best_lattice(part.room, pitch, mirrors=mirrors.axes)
    looks = [dataclasses.replace(_LOOK, excess=(excess,)) for excess in effort.excess]
    grids = [even.full_grids(part.room, grid, pitch, look, mirrors.axes) for look in looks]
    starts = [g for some in grids for g in some[:_ANGLES]]
    starts += [g for some in grids for g in some[_ANGLES:]]
    starts = starts[: max(2, effort.discs // max(1, len(grid)))]
    near = (even.ONTO if len(mirrors) > 1 else 1e-6) * pitch
    between = [mirrors.between(start, near) for start in starts]
    pressed = packer.press(between, PRESSING, lambda mix: yielding(packer, mix))
    if len(grid) <= _FEW:
        grid = even.fill_evenly(_of_sizes(part, [0]))
    plain = mirrors.between(grid, 1e-6 * pitch) if mirrors.keep(grid) else grid[:0]
    pressed.append(Mix.of(plain))
    kept = max(effort.kept, min(_MOST_KEPT, _KEPT_DISCS // max(1, len(grid))))
    fills = []
    for mix in _unlike(packer, pressed, worth)[:kept]:
        grown = _grown(packer, diameters, mix, effort)
        fills.append(packer.seated(_completed(part, grown, mirrors)))
    best = max(fills, key=worth)
    traded, done = Grower(packer, diameters, effort.steps, effort.tries).trade(best)
    if done:
        traded = _evened(packer, traded, effort)
        best = max(best, packer.seated(_completed(part, traded, mirrors)), key=worth)
    return _filled_up(part, best.everywhere(mirrors), mirrors)


def _unlike(packer: Packer, mixes: list[Mix], worth: Callable[[Mix], float]) -> list[Mix]:
    """Return mixes, the best first, but none with as many discs of each size as a better one."""
    found: dict[tuple[int, ...], Mix] = {}
    values = [worth(mix) for mix in mixes]
    for k in np.argsort(-np.array(values), kind="stable"):
        if values[k] < _HOPE * max(values):
            break
        mix = mixes[k]
        counts = np.bincount(mix.size, packer.mirrors.copies(mix.centres), len(packer.pitches))
        found.setdefault(tuple(counts.astype(int)), mix)
    return list(found.values())


def _completed(part: Part, mix: Mix, mirrors: Mirrors) -> Mix:
    """Return discs between mirrors with those added, of all sizes, that there is room for."""
    filled = _filled_up(part, mix.everywhere(mirrors), mirrors)
    return filled[mirrors.onto(filled.centres, 0.0)[1]]


def _filled_up(part: Part, mix: Mix, mirrors: Mirrors) -> Mix:
    """Put stones of all sizes, the largest first, where there is room for them as it is."""
    pitches = np.array([spec.pitch for spec in part.sizes])
    for k, room in enumerate(part.rooms):
        if len(mix.size):
            room = shapely.difference(
                room, discs(mix.centres, (pitches[mix.size] + pitches[k]) / 2)
            )
        mix = mix.with_more(fill_pockets(_of_sizes(part, [k]), room, mirrors), k)
    return mix


def _evened(packer: Packer, mix: Mix, effort: GradedEffort) -> Mix:
    return packer.evened(
        mix, EVENING, effort.evenings, effort.steps, lambda one: raggedness(packer, one)
    )


def _grown(packer: Packer, diameters: Points, mix: Mix, effort: GradedEffort) -> Mix:
    if not len(mix):
        return mix
    mix = _evened(packer, mix, effort)
    grower = Grower(packer, diameters, effort.steps, effort.tries)
    for turn in range(effort.sweeps):
        mix, done = grower.sweep(mix, grow=not turn)
        if not done:
            break
    return _evened(packer, mix, effort)


def unused_sizes(laid: Sequence[Laid], sizes: int) -> list[int]:
    """Return which of so many sizes have no stone, where stones were laid at all."""
    used = {int(k) for one in laid for k in one.size}
    return [k for k in range(sizes) if used and k not in used]


def sparse_sizes(
    laid: Sequence[Laid],
    diameters: Sequence[float],
    fewest: int,
    cut_anyway: Collection[int] = (),
) -> list[tuple[int, int]]:
    """Return sizes that one rule does better without, and how many stones each had.

    A size stays if it has at least ``fewest`` stones on all shapes together, or AMPLE of the
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
        and not any((one.size == k).sum() >= AMPLE * max(1, len(one.size)) for one in laid)
    ]
    few.sort(key=lambda k: (counts[k] * diameters[k] ** 2, -k))
    return [(k, counts[k]) for k in few]
