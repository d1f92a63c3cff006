import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stonelayout.checks.webs import check_webs
from stonelayout.errors import LayoutError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.template.split import split, split_layers

SHEET = load_catalogue().sheet("thin-flock")


def near_pairs(centres, distance):
    return [
        (i, j)
        for i, j in itertools.combinations(range(len(centres)), 2)
        if math.dist(centres[i], centres[j]) < distance - 3e-6
    ]


def fewest(count, pairs):
    """Try every colouring: the oracle."""
    for colours in range(1, 7):
        for rest in itertools.product(range(colours), repeat=max(count - 1, 0)):
            part = (0, *rest)
            if all(part[i] != part[j] for i, j in pairs):
                return colours
    return 7


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 50), st.integers(0, 50)), min_size=1, max_size=7, unique=True)
)
def test_templates_hold_and_are_the_fewest(tenths):
    centres = np.array(tenths, dtype=float) / 5
    pairs = near_pairs(centres, 2.9)
    best = fewest(len(centres), pairs)
    if best > 6:
        with pytest.raises(LayoutError):
            split(centres, 2.9)
        return
    part = split(centres, 2.9)
    assert all(part[i] != part[j] for i, j in pairs)
    assert part.max() + 1 == best


@pytest.mark.parametrize("seed", range(4))
def test_every_template_passes_the_check_and_loads_are_even(seed):
    rng = np.random.default_rng(seed)
    centres = rng.uniform(0, 60, (250, 2))
    layer = Layer(1, Kind("ss6", "jet", 2.0), centres, 2.5, reason="smaller first")
    other = Layer(2, Kind("ss20", "jet", 4.7), np.array([[0.0, 0.0]]), 5.2)
    parts = split_layers([layer, other], SHEET)
    assert check_webs(layer, SHEET)
    assert all(check_webs(part, SHEET) == [] for part in parts)
    assert list(range(1, len(parts) + 1)) == [part.order for part in parts]
    assert parts[-1].name == f"{len(parts):02d}-ss20-jet"
    assert parts[0].name == f"01-ss6-jet-1of{len(parts) - 1}"
    assert "part 1 of" in parts[0].reason
    counts = [len(part) for part in parts[:-1]]
    assert sum(counts) == 250
    assert max(counts) - min(counts) <= 2
    together = np.concatenate([part.centres for part in parts[:-1]])
    assert sorted(map(tuple, together)) == sorted(map(tuple, centres))


def ring(count, pitch):
    turn = np.arange(count) * 2 * math.pi / count
    radius = pitch / 2 / math.sin(math.pi / count)
    return radius * np.column_stack((np.cos(turn), np.sin(turn)))


@pytest.mark.parametrize(("count", "templates"), [(40, 2), (41, 3)])
def test_a_closed_row_needs_two_templates_or_three_when_odd(count, templates):
    part = split(ring(count, 2.7), 2.9)
    assert part.max() + 1 == templates
    counts = np.bincount(part)
    assert counts.max() - counts.min() <= 2


def test_a_layer_that_holds_is_left_alone():
    layer = Layer(3, Kind("ss6", "jet", 2.0), np.array([[0.0, 0], [3, 0]]), 2.5, reason="why")
    (same,) = split_layers([layer], SHEET)
    assert (same.order, same.templates, same.reason) == (1, 1, "why")
    assert split(np.empty((0, 2)), 2.9).tolist() == []


def test_a_heap_of_holes_is_refused():
    with pytest.raises(LayoutError, match="lay the stones wider"):
        split(np.random.default_rng(0).uniform(0, 2, (30, 2)), 2.9)
