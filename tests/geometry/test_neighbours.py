import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from stonelayout.geometry.neighbours import (
    ROUNDING,
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
