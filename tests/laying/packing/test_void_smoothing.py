"""What makes an even fill neat: holes shared out, stones seated, trembling outlines calmed."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon, box

from stonelayout.geometry.fill_measures import psi6
from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.packing import even as even_module
from stonelayout.laying.packing.disc_packer import Packer
from stonelayout.laying.packing.even import lay_even
from stonelayout.laying.packing.lattice import lay_lattice
from stonelayout.laying.packing.void_smoothing import smoothed
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import relax
from stonelayout.laying.solvers.room_distance import WALL_MARGIN

T = np.linspace(0, math.tau, 400, endpoint=False)


def even(region, diameter, pitch):
    return lay_even(Ask(region, (), (Spec(diameter, pitch),))).centres


def loose_grid():
    """Rows of a grid 4 % wider than the pitch 1, in a box, with one disc taken out."""
    i, j = np.meshgrid(np.arange(12), np.arange(12))
    grid = np.stack((1.04 * (i + j % 2 / 2), 0.9 * j), axis=-1).reshape(-1, 2) + 0.05
    hole = np.hypot(*(grid - [6.0, 5.0]).T).argmin()
    return box(0, 0, 12.1, 10.0), np.delete(grid, hole, axis=0)


def test_a_hole_is_shared_out_among_its_neighbours():
    room, grid = loose_grid()
    packer, grid = Packer([room], [1.0]), Mix.of(grid)
    assert packer.widest(grid) > 0.99
    after = smoothed(packer, grid)
    assert len(after) == len(grid)
    assert packer.widest(after) < 0.85
    assert not len(pairs_nearer(after.centres, 1.0)[0])
    assert packer.wall.inside(after.centres).all()


def test_what_needs_no_smoothing_stays():
    room = box(0, 0, 6, 6)
    i, j = np.meshgrid(np.arange(7), np.arange(7))
    grid = np.stack((i + j % 2 / 2, j * 0.866026), axis=-1).reshape(-1, 2)
    grid = grid[grid[:, 0] <= 6]
    packer = Packer([room], [1.0])
    assert np.array_equal(smoothed(packer, Mix.of(grid)).centres, grid)


def test_stones_that_nearly_stand_at_the_wall_are_put_onto_it_where_they_are_free():
    room = box(0, -3, 6, 3)
    free, blocked, blocker, on_axis = (0.2, 2.0), (0.2, -1.0), (0.0, -1.99), (5.8, 0.0)
    packer = Packer([room], [1.0], Mirrors.at(math.pi / 2))
    mirrored = packer.seated(Mix.of(np.array([free, on_axis, (3.0, 2.9)]))).centres
    assert mirrored[0] == pytest.approx([WALL_MARGIN, 2.0], abs=1e-9)
    assert mirrored[1] == pytest.approx([6 - WALL_MARGIN, 0.0], abs=1e-9)
    assert mirrored[1, 1] == 0.0
    assert mirrored[2] == pytest.approx([3.0, 3 - WALL_MARGIN], abs=1e-9)
    packer = Packer([room], [1.0])
    plain = packer.seated(Mix.of(np.array([free, blocked, blocker]))).centres
    assert plain[0, 0] == pytest.approx(WALL_MARGIN, abs=1e-9)
    assert tuple(plain[1]) == blocked


def test_stones_are_pinned_to_corners_only_as_far_as_they_keep_their_distance():
    room = box(-3, 0, 3, 0.95)
    both = np.array([[-2.95, 0.02], [-2.9, 0.93], [2.96, 0.01], [0.0, 0.5]])
    packer, free = Packer([room], [1.0]), np.array([True, True, False, True])
    trial = packer.pinned(Mix.of(both), free)
    assert trial.centres[0] == pytest.approx([-3, 0], abs=2e-4)
    assert tuple(trial.centres[1]) == tuple(both[1])  # its corner is 0.95 from the first
    assert tuple(trial.centres[2]) == tuple(both[2])  # it was to hold still
    assert trial.free.tolist() == [False, True, False, True]
    ((found, rest),) = relax([trial], packer.wall, 300)
    assert rest == 0
    assert not len(pairs_nearer(found, 1.0)[0])


def test_stones_are_pinned_to_corners_only_as_far_as_they_keep_off_their_images():
    house = Polygon([(-0.45, 3), (-0.45, 0), (0.0, -1), (0.45, 0), (0.45, 3)])
    packer = Packer([house], [1.0], Mirrors.at(0.0))
    start = np.array([[0.0, -0.93], [0.4, 2.95], [0.0, 1.0]])
    trial = packer.pinned(Mix.of(start), np.ones(3, dtype=bool))
    assert trial.centres[0, 0] == 0.0
    assert trial.centres[0, 1] == pytest.approx(-1, abs=1e-3)
    assert tuple(trial.centres[1]) == tuple(start[1])  # its image would be 0.9 from it
    assert trial.free.tolist() == [False, True, True]


def test_no_stone_is_lost_at_the_ends_of_a_bar_hardly_too_narrow_for_two_rows():
    # 33.8 x 2.2 mm for centres: two rows at 2.4 mm hold 15 and 14
    assert len(even(box(0, 0, 36, 4.2), 2.0, 2.4)) == 29


def trembling_disc():
    rng = np.random.default_rng(3)
    circle = 12 * np.stack((np.cos(T), np.sin(T)), axis=1)
    return Polygon(circle + rng.normal(0, 0.06, circle.shape))


@pytest.mark.parametrize(
    ("lay", "edge_row"), [(lay_even, False), (lay_even, True), (lay_lattice, True)]
)
def test_a_trembling_outline_gets_a_crisp_edge_inside_the_true_outline(lay, edge_row):
    region = trembling_disc()
    points = lay(Ask(region, (), (Spec(2.6, 3.0),), {"edge_row": edge_row})).centres
    assert shapely.distance(region.boundary, shapely.points(points)).min() >= 1.3 - 1e-9
    assert shapely.contains_xy(region, points).all()
    assert not len(pairs_nearer(points, 3.0)[0])
    radius = np.hypot(*points.T)
    edge = radius[radius > radius.max() - 0.35 * 3.0]
    assert len(edge) >= 18
    # 0.08 to 0.15 mm when stones follow the outline as it trembles
    assert np.quantile(edge, 0.9) - np.quantile(edge, 0.1) < 0.05


def test_star_of_four_gets_four_like_arms():
    a = np.arange(8) * math.pi / 4
    radius = np.where(np.arange(8) % 2, 10.12, 22.0)[:, None]
    points = even(Polygon(radius * np.stack((np.cos(a), np.sin(a)), axis=1)), 2.8, 3.2)
    turned = points @ [[0, 1], [-1, 0]]
    away = np.hypot(*(points[:, None] - turned[None]).transpose(2, 0, 1)).min(axis=1)
    assert len(points) >= 60
    assert away.max() < 1e-6


def test_two_axes_give_way_where_one_is_tidier_and_holds_more():
    points = even(box(-16.5, -10.5, 16.5, 10.5), 2.0, 2.4)
    kept = [
        np.hypot(*(points[:, None] - (points * flip)[None]).transpose(2, 0, 1)).min(axis=1).max()
        for flip in ([-1, 1], [1, -1])
    ]
    assert min(kept) < 1e-6  # still its own mirror image about one axis
    assert len(points) >= 126  # the best fill of both axes holds 124, and looks restless
    assert psi6(points, 2.4) > 0.84


def test_best_stops_when_the_proved_bound_is_reached(monkeypatch):
    # Oler's bound is reached by a hexagon of 2 rings: 19 discs
    a = np.arange(6) * math.pi / 3
    room = Polygon(2 * np.stack((np.cos(a), np.sin(a)), axis=1) * (1 + 1e-6))

    def never(*_):
        raise AssertionError("searched although no more can fit")

    monkeypatch.setattr(even_module, "search", never)
    monkeypatch.setattr(even_module.Inserter, "sweep", never)
    ask = Ask(room, (), (Spec(1e-9, 1.0),), {"quality": "best", "symmetric": False})
    assert len(lay_even(ask).centres) == 19
    tight = dataclasses.replace(ask, sizes=(Spec(1e-9, 1.02),))
    with pytest.raises(AssertionError, match="searched"):
        lay_even(tight)
