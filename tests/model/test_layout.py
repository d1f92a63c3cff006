import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from stonelayout.errors import LayoutError
from stonelayout.model.layout import Kind, Layout

KINDS = (Kind("ss6", "crystal", 2.0), Kind("ss10", "navy", 2.8))


def layout(centres, kind):
    return Layout((100.0, 80.0), KINDS, np.array(centres), np.array(kind), ("a",) * len(kind))


def test_the_file_is_the_contract():
    text = layout([[1.0, 2.5], [3.25, -0.0]], [0, 1]).to_json()
    assert text == (
        '{"version": 1, "unit": "mm", "size": [100.0, 80.0], "kinds": [{"size": "ss6", '
        '"colour": "crystal", "diameter": 2.0}, {"size": "ss10", "colour": "navy", '
        '"diameter": 2.8}], "centres": [[1.0, 2.5], [3.25, 0.0]], "kind": [0, 1], '
        '"source": ["a", "a"]}\n'
    )


@given(arrays(np.float64, st.tuples(st.integers(0, 30), st.just(2)), elements=st.floats(-1e4, 1e4)))
def test_reading_back_is_exact_to_a_nanometre(centres):
    made = layout(centres.reshape(-1, 2), [0] * len(centres))
    read = Layout.from_json(made.to_json())
    assert np.abs(read.centres - made.centres).max(initial=0) <= 0.5000001e-6
    assert read.to_json() == made.to_json()
    assert (read.kinds, read.size, read.source) == (made.kinds, made.size, made.source)


def broken(**changes):
    data = json.loads(layout([[1, 2]], [0]).to_json())
    data.update(changes)
    return json.dumps(data)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("{", "layout.json:1: not JSON"),
        ("[]", "not a layout"),
        ("[" * 100_000, "nested too deep"),
        (broken(version=2), '"version" is 2'),
        (broken(unit="in"), '"unit" must be "mm"'),
        (broken(size=[0, 80]), '"size" must be positive'),
        (broken(size=[1]), '"size" must hold pairs'),
        (
            broken(kinds=[{"size": "ss6", "colour": "x", "diameter": 0}]),
            "diameter must be positive",
        ),
        (broken(kinds=[{"size": "ss6", "colour": "x", "diameter": "2"}]), "must be a number"),
        (broken(kinds=[{"size": 6, "colour": "x", "diameter": 2}]), "must be words"),
        (broken(centres=[[1, float("inf")]]), "not finite"),
        (broken(centres=[[1, 2, 3]]), '"centres" must hold pairs'),
        (broken(centres=[[1, 10**400]]), '"centres" must hold pairs'),
        (broken(kind=[2]), '"kind" must hold whole numbers'),
        (broken(kind=[-1]), '"kind" must hold whole numbers'),
        (broken(kind=[True]), '"kind" must hold whole numbers'),
        (broken(kind=[]), "same length"),
        (broken(source=[3]), '"source" must hold shape ids'),
        (broken(source="a"), '"source" is missing or not a list'),
    ],
)
def test_a_wrong_file_is_refused_by_the_name_of_what_is_wrong(text, expected):
    with pytest.raises(LayoutError) as caught:
        Layout.from_json(text, "layout.json")
    assert expected in str(caught.value)
    assert str(caught.value).startswith("layout.json")
