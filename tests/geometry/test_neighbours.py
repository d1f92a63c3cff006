import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from stonelayout.geometry.neighbours import (
    ROUNDING,
    clear_of,
    crossing_pairs,
    nearest_distances,
    pairs_nearer,
)

points = arrays(
    np.float64, st.tuples(st.integers(0, 40), st.just(2)), elements=st.floats(0, 20, width=32)
)


def brute(first, second, distance, same):
    found = []
    for i, a in enumerate(first):
        for j, b in enumerate(second):
            if (not same or i < j) and np.hypot(*(a - b)) < distance * (1 - ROUNDING):
                found.append((i, j))
    return found


@given(points, st.floats(0.1, 5))
@settings(deadline=None)
def test_all_pairs_and_only_they(centres, distance):
    pairs, lengths = pairs_nearer(centres, distance)
    assert [tuple(pair) for pair in pairs.tolist()] == brute(centres, centres, distance, True)
    assert (lengths < distance).all()


@given(points, points, st.floats(0.1, 5))
@settings(deadline=None)
def test_all_crossing_pairs_and_only_they(first, second, distance):
    pairs, _ = crossing_pairs(first, second, distance)
    assert [tuple(pair) for pair in pairs.tolist()] == brute(first, second, distance, False)


def test_a_grid_at_exactly_the_distance_is_clean():
    grid = np.array([(x * 0.1, y * 0.1) for x in range(30) for y in range(30)])
    assert len(pairs_nearer(grid, 0.1)[0]) == 0
    assert np.allclose(nearest_distances(grid), 0.1)


def test_one_point_has_no_neighbour():
    assert nearest_distances(np.zeros((1, 2))).tolist() == [np.inf]


def test_clear_of_is_exact_at_the_limit():
    points = np.array([[3.0, 0.0], [2.999999, 0.0], [0.0, -3.0], [10.0, 0.0]])
    origin = np.zeros((1, 2))
    assert clear_of(points, origin, np.array([3.0])).tolist() == [True, False, True, True]
    sizes = np.array([1, 1, 0, 0])
    assert clear_of(points, origin, np.array([[3.1, 2.9]]), sizes).tolist() == [
        True,
        True,
        False,
        True,
    ]
    assert clear_of(points, np.empty((0, 2)), np.empty((0, 2)), sizes).all()
