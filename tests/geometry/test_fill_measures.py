"""Measures of fills against grids whose figures are known."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from stonelayout.geometry.fill_measures import largest_empty, measure_fill, psi6, row_order, spread


def grid(columns, rows, step=1.0, rise=1.0, shift=0.0):
    return np.array(
        [(i * step + shift * (j % 2), j * rise) for j in range(rows) for i in range(columns)],
        dtype=float,
    )


HEX = grid(30, 30, rise=math.sqrt(3) / 2, shift=0.5)


def test_spread_of_grids_and_of_unequal_pairs():
    assert spread(HEX) == pytest.approx(0, abs=1e-12)
    # nearest distances 1, 1, 3, 3: mean 2, deviation 1
    assert spread(np.array([[0, 0], [1, 0], [10, 0], [13, 0.0]])) == pytest.approx(0.5)
    assert math.isnan(spread(np.zeros((1, 2))))


def test_six_fold_order_of_a_hexagonal_grid_is_one_inside():
    inner = (np.abs(HEX - HEX.mean(axis=0)) < 10).all(axis=1)
    assert psi6(HEX, 1.0) > 0.93
    assert psi6(HEX[inner] * 3, 3.0) > 0.9
    # four-fold neighbours cancel: exp(6i phi) over 0, 90, 180, 270 degrees
    assert psi6(grid(20, 20, rise=1.2, step=1.2), 1.0) < 0.2
    assert psi6(np.array([[0, 0], [1, 0], [2, 0.0]]), 1.0) == 0.0
    assert math.isnan(psi6(np.empty((0, 2)), 1.0))


def test_row_order_counts_stones_between_two_neighbours_along_the_outline():
    bar = box(-0.5, -0.5, 9.5, 0.5)
    row = grid(10, 1)
    assert row_order(bar, row, 1.0) == pytest.approx(0.8)  # the two ends have one neighbour
    tilted = row * [1, 0] + np.stack((np.zeros(10), np.tile([0, 0.4], 5)), axis=1)
    assert row_order(box(-0.5, -0.5, 9.5, 0.9), tilted, 1.0) == 0
    assert row_order(bar, row * [1.4, 1], 1.0) == 0


def test_three_stones_of_unlike_sizes_may_have_no_place_alike_far_from_all():
    room = shapely.box(-9, -9, 9, 9)
    centres, keep = np.array([[-0.3, 2.6], [-3.8, -4.0], [-2.2, -1.0]]), np.array([9.0, 0.2, 9.0])
    with np.errstate(all="raise"):
        found = largest_empty(room, centres, keep)
    places = np.stack(np.meshgrid(*[np.linspace(-9, 9, 361)] * 2), axis=-1).reshape(-1, 2)
    away = np.hypot(*(places[:, None] - centres).transpose(2, 0, 1)) / keep
    assert found == pytest.approx(away.min(axis=1).max(), abs=0.02)


def test_largest_empty_disc_inside_and_on_the_outline():
    room = box(0, 0, 4, 4)
    assert largest_empty(room, grid(5, 5)) == pytest.approx(math.sqrt(0.5))
    gap = np.delete(grid(5, 5), 12, axis=0)
    assert largest_empty(room, gap) == pytest.approx(1.0)
    edge = np.delete(grid(5, 5), 2, axis=0)
    assert largest_empty(room, edge) == pytest.approx(1.0, abs=1e-3)
    assert largest_empty(room, np.array([[0.0, 0.0]])) == pytest.approx(math.hypot(4, 4))
    assert largest_empty(room, np.empty((0, 2))) == math.inf
    assert largest_empty(shapely.Polygon(), grid(2, 2)) == 0


def test_measure_fill_puts_them_together():
    found = measure_fill(box(-1, -1, 5, 5), grid(5, 5), 2.0, 1.0)
    assert found.placed == 25
    assert 25 < found.bound <= 33
    assert found.rows > 0.4
    report = found.as_dict()
    assert list(report) == ["placed", "bound", "kappa", "spread", "psi6", "rows", "empty"]
    assert report["empty"] == pytest.approx(math.sqrt(0.5), abs=1e-4)
    nothing = measure_fill(box(0, 0, 1, 1), np.empty((0, 2)), 2.0, 2.0).as_dict()
    assert nothing["spread"] is None
    assert nothing["bound"] == 0
