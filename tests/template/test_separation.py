import numpy as np
import pytest

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind, Layout
from stonelayout.template.separation import separate

SHEET = load_catalogue().sheet("thin-flock")
KINDS = (
    Kind("ss10", "jet", 2.8),
    Kind("ss6", "sapphire", 2.0),
    Kind("ss20", "red", 4.7),
    Kind("ss6", "crystal", 2.0),
)


def layout(kind):
    centres = np.column_stack((np.arange(len(kind)) * 10.0, np.zeros(len(kind))))
    return Layout((100.0, 50.0), KINDS, centres, np.array(kind, dtype=np.intp), ("a",) * len(kind))


def test_smallest_first_and_then_in_the_jobs_order():
    layers = separate(layout([0, 1, 3, 0, 1]), SHEET)
    assert [one.name for one in layers] == ["01-ss6-sapphire", "02-ss6-crystal", "03-ss10-jet"]
    assert [one.hole for one in layers] == [2.5, 2.5, 3.3]
    assert layers[0].centres.tolist() == [[10.0, 0.0], [40.0, 0.0]]
    assert "order of the job" in layers[0].reason
    assert layers[2].reason == "smaller stones are lifted first"


def test_every_stone_is_in_exactly_one_layer():
    kind = [0, 1, 3, 0, 1, 2, 2, 3]
    layers = separate(layout(kind), SHEET)
    together = np.concatenate([one.centres for one in layers])
    assert sorted(together[:, 0]) == [10.0 * k for k in range(len(kind))]


def test_no_stones_no_layers():
    assert separate(layout([]), SHEET) == ()


@pytest.mark.parametrize(
    ("size", "colour", "name"),
    [
        ("ss6", "Light Rose", "03-ss6-light_rose"),
        ("../../etc", "a/b\\c", "03-etc-a_b_c"),
        ("ss6", "\u00e9", "03-ss6-x"),
    ],
)
def test_names_are_safe_as_file_names(size, colour, name):
    assert name == Layer(3, Kind(size, colour, 2.0), np.empty((0, 2)), 2.5).name


def test_a_divided_layer_says_which_part_it_is():
    assert Layer(2, Kind("ss6", "jet", 2.0), np.empty((0, 2)), 2.5, 1, 2).name == "02-ss6-jet-1of2"
