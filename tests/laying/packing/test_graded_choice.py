"""Which graded mix is taken, and how its stones stand at the edge and along a seam."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Point, Polygon, box

from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.lay import lay
from stonelayout.laying.packing.disc_packer import Packer
from stonelayout.laying.packing.graded import _unlike, lay_graded
from stonelayout.laying.packing.mix_value import PRICES, value
from stonelayout.laying.solvers.mix import Mix
from stonelayout.model.artwork import Artwork, area_shape
from stonelayout.model.catalogue import DEFAULT_SHEET, load_catalogue
from stonelayout.model.job import Pick, Rule
from stonelayout.model.pattern_options import PATTERNS

SIZES = (Spec(4.0, 4.0), Spec(2.0, 2.0))


DIAMETERS = np.array([spec.diameter for spec in SIZES])


def packer_of(shape, mirrors=NONE):
    rooms = [shape.buffer(-s.diameter / 2, join_style="mitre") for s in SIZES]
    return Packer(rooms, [s.pitch for s in SIZES], mirrors)


def mix_of(*discs):
    table = np.array(discs, dtype=np.float64)
    return Mix(table[:, :2], table[:, 2].astype(np.intp))


def test_smaller_disc_counts_less_where_it_stands_alone_or_inside():
    packer = packer_of(box(-15, -15, 15, 15))
    large = (0.0, 10.0, 0)  # inside
    whole = 4.0**2
    cases = {
        (14.0, 0.0): 4.0 * (1 - PRICES.alone),  # at the wall
        (0.0, 0.0): 4.0 * (1 - PRICES.astray),
    }
    for (x, y), worth in cases.items():
        assert value(packer, DIAMETERS, mix_of(large, (x, y, 1))) == pytest.approx(whole + worth)
    pair = mix_of(large, (0.0, 0.0, 1), (2.0, 0.0, 1))
    assert value(packer, DIAMETERS, pair) == pytest.approx(whole + 8.0 * (1 - PRICES.inside))
    edge = mix_of(large, (14.0, 0.0, 1), (14.0, 2.0, 1))
    assert value(packer, DIAMETERS, edge) == pytest.approx(whole + 8.0)
    assert PRICES.astray > PRICES.alone > PRICES.inside > 0


def test_discs_that_nearly_stand_at_the_wall_count_less_and_are_put_onto_it():
    packer = packer_of(box(-6, -6, 6, 6))
    near = mix_of((-3.4, -4.0, 0), (3.0, -4.0, 0), (0.0, 3.0, 0))  # two at the wall, one 1 mm off
    share = PRICES.ragged / 3
    assert value(packer, DIAMETERS, near) == pytest.approx(3 * 16 * (1 - share))
    seated = packer.seated(near)
    assert seated.centres[2] == pytest.approx([0.0, 4.0], abs=1e-3)
    assert np.array_equal(seated.centres[:2], near.centres[:2])
    assert value(packer, DIAMETERS, seated) == pytest.approx(48)


def test_disc_stays_where_one_it_would_touch_stands_between_it_and_the_wall():
    packer = packer_of(box(-6, -6, 6, 6))
    held = mix_of((0.0, 3.0, 0), (2.7, 5.0, 1))
    assert np.hypot(2.7, 1.0) < 3  # where it would come to when it moves up by 1 mm
    assert np.array_equal(packer.seated(held).centres, held.centres)


def test_disc_slides_along_its_mirror_and_keeps_its_distance_from_its_own_image():
    mirrors = Mirrors.at(0.0)
    packer = packer_of(box(-6, -6, 6, 6), mirrors=mirrors)
    seated = packer.seated(mix_of((0.0, 3.0, 0), (2.0, -3.2, 0)))
    assert seated.centres[0] == pytest.approx([0.0, 4.0], abs=1e-3)
    assert seated.centres[0, 0] == 0.0
    assert seated.centres[1] == pytest.approx([2.0, -4.0], abs=1e-3)


LETTER_A = Polygon(
    [(0, 70), (22, 0), (38, 0), (60, 70), (46, 70), (42, 56), (18, 56), (14, 70)],
    [[(22, 45), (38, 45), (30, 18)]],
)


def test_no_stone_near_the_edge_of_a_letter_is_free_to_move_onto_it():
    sizes = tuple(Spec(d, d) for d in (5.0, 3.75, 2.5))
    laid = lay_graded(Ask(LETTER_A, (), sizes, {}))
    own = np.array([spec.diameter for spec in sizes])[laid.size] / 2
    edge, points = LETTER_A.boundary, shapely.points(laid.centres)
    depth = shapely.distance(edge, points) - own
    near = np.flatnonzero((depth > 0.05) & (depth < 0.34 * 5))
    assert len(near)
    for k in near:
        foot = shapely.get_coordinates(shapely.shortest_line(edge, points[k]))[0]
        way = (foot - laid.centres[k]) / (depth[k] + own[k])
        place = laid.centres[k] + way * (depth[k] - 0.005)
        apart = np.delete(np.hypot(*(laid.centres - place).T) - own, k)
        assert apart.min() < own[k] or edge.distance(Point(place)) < own[k]


def test_of_mixes_with_the_same_counts_one_is_finished():
    packer = packer_of(box(-9, -9, 9, 9))
    full = mix_of((-7, -7, 0), (-3, -7, 0), (1, -7, 0), (5, -7, 0))
    same = Mix(full.centres[::-1] + [0.5, 0.5], full.size)
    other = mix_of((-7, -7, 0), (-3, -7, 0), (1, -7, 0), (4, -8, 1), (6, -8, 1))
    found = _unlike(packer, [other, same, full], lambda mix: value(packer, DIAMETERS, mix))
    assert len(found) == 1  # 56 mm2 of 64 are worth no more work
    assert found[0] is full


QUARTERS = [box(21 * i, 21 * j, 21 * i + 21, 21 * j + 21) for i in (0, 1) for j in (0, 1)]


@pytest.mark.parametrize(
    "regions", [[box(0, 12 * k, 60, 12 * k + 12) for k in range(3)], QUARTERS], ids=["stripes", "4"]
)
def test_rows_run_along_a_seam_of_two_graded_fills(regions):
    catalogue, gap = load_catalogue(), 0.4
    stones = tuple(catalogue.stone(name) for name in ("ss20", "ss12", "ss6"))
    rules = [
        Rule(
            Pick(id=f"s{k}"),
            stones,
            tuple(stone.diameter + gap for stone in stones),
            f"colour {k}",
            "graded",
            PATTERNS["graded"].defaults() | {"fewest": 1},
            "k",
            "p",
        )
        for k in range(len(regions))
    ]
    shapes = tuple(area_shape(f"s{k}", region) for k, region in enumerate(regions))
    layout = lay(Artwork(shapes, (90.0, 90.0)), rules, catalogue.sheet(DEFAULT_SHEET))
    radius = np.array([catalogue.stone(layout.kinds[k].size).diameter / 2 for k in layout.kind])
    source, centres = np.array(layout.source), layout.centres
    assert len(set(layout.kind.tolist())) > len(regions)  # more than one size
    away = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    free = away - radius[:, None] - radius
    np.fill_diagonal(free, math.inf)
    assert free.min() >= gap - 1e-6
    for k, region in enumerate(regions):
        mine = source == f"s{k}"
        x0, y0, x1, y1 = region.bounds
        for axis, line in ((0, x0), (0, x1), (1, y0), (1, y1)):
            if line in (0.0, max(r.bounds[axis + 2] for r in regions)):
                continue  # not a seam
            # edges of stones stand half a gap from the seam, and as many as along a free edge
            depth = np.abs(centres[mine][:, axis] - line) - radius[mine]
            row = depth < 0.5
            assert depth.min() == pytest.approx(gap / 2, abs=2e-3)
            assert np.ptp(depth[row]) < 0.05
            length = 2 * (radius[mine][row] + gap / 2).sum()
            assert length > 0.5 * ((y1 - y0) if axis == 0 else (x1 - x0))
