"""Stones found by place, against a search through all of them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stonelayout.laying.courses.point_grid import PointGrid


def sparse(rng: np.random.Generator, count: int, extent: float) -> np.ndarray:
    """Return points at least 1 apart."""
    kept: list[np.ndarray] = []
    for place in rng.uniform(-extent, extent, (count, 2)):
        if not kept or np.hypot(*(np.array(kept) - place).T).min() >= 1:
            kept.append(place)
    return np.array(kept)


def by_search(stones: np.ndarray, points: np.ndarray) -> np.ndarray:
    away = np.hypot(*(points[:, None] - stones).transpose(2, 0, 1)).min(axis=1)
    return np.where(away < 1, away, np.inf)


@settings(max_examples=60)
@given(
    st.integers(0, 2**32 - 1),
    st.floats(2, 30),
    st.sampled_from([0.0, 1.0, 60.0]),
    st.integers(0, 40),
)
def test_nearest_is_the_nearest_by_search(
    seed: int, extent: float, known: float, taken: int
) -> None:
    """With a grid that wraps round (extent told: 0, 1) and without; stones taken back between."""
    rng = np.random.default_rng(seed)
    stones = sparse(rng, 120, extent)
    points = rng.uniform(-1.2 * extent, 1.2 * extent, (200, 2))
    cells = PointGrid(1.0, known)
    first = max(len(stones) - taken, 1)
    others = sparse(rng, 20, extent)
    others = others[np.isinf(by_search(stones[:first], others))]
    cells.add(stones[:first], 0)
    cells.add(stones[first:], first)
    cells.drop(stones[first:], first)
    cells.add(others, first)
    stones = np.concatenate((stones[:first], others))
    away, who = cells.nearest(points)
    assert away == pytest.approx(by_search(stones, points), abs=1e-12)
    near = np.isfinite(away)
    assert np.hypot(*(stones[who[near]] - points[near]).T) == pytest.approx(away[near], abs=1e-12)
    assert (who[~near] == 0).all()


def test_a_row_at_the_least_distance_finds_itself() -> None:
    """Stones exactly one distance apart, at places that are no round numbers."""
    s = np.arange(2000)
    stones = np.column_stack((np.cos(0.3) * s, np.sin(0.3) * s)) + [0.1, -7.3]
    cells = PointGrid(1.0, 100.0)
    cells.add(stones, 0)
    away, who = cells.nearest(stones)
    assert (away == 0).all()
    assert (who == s).all()
    cells.drop(stones[10:], 10)
    assert np.isinf(cells.nearest(stones[11:])[0]).all()


def test_no_stones_block_nothing() -> None:
    away, who = PointGrid(1.0, 5.0).nearest(np.array([[0.3, 0.4]]))
    assert np.isinf(away).all()
    assert (who == 0).all()
