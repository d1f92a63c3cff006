"""Bisection finds where a condition changes, on either side, one place or many at once."""

import math

import numpy as np
import pytest

from stonelayout.geometry.bisection import edges, least_that_fits, narrowed, narrowed_at_once


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_bracket_is_narrowed_to_where_the_condition_stops_to_hold(sign):
    limit = math.sqrt(2.0)
    yes, no = narrowed(lambda s: sign * s <= limit, 0.0, sign * 2.0)
    assert sign * yes <= limit < sign * no
    assert abs(no - yes) < 1e-12
    assert narrowed(lambda s: sign * s <= limit, 0.0, sign * 2.0, halvings=3) == (
        sign * 1.25,
        sign * 1.5,
    )


@pytest.mark.parametrize("limit", [0.1, 1 / 3, 0.999])
def test_many_places_at_once_come_to_the_same_bracket(limit):
    yes, no = narrowed_at_once(lambda s: s >= limit, 1.0, 0.0)
    assert no < limit <= yes
    assert (yes, no) == pytest.approx(narrowed(lambda s: s >= limit, 1.0, 0.0, 36), abs=1e-15)


def test_every_change_of_a_condition_is_found():
    def inside(s):
        return np.sin(s) > 0

    places = np.linspace(1.0, 20.0, 40)
    found = edges(inside, places, inside(places))
    assert found == pytest.approx(np.pi * np.arange(1, 7), abs=1e-12)
    assert not len(edges(inside, places[:2], inside(places[:2])))


def test_the_least_place_that_fits_is_never_short():
    def spare(s):
        return s**3 - 2 if s > 0.5 else math.nan

    found = least_that_fits(spare, 0.0, 3.0)
    assert 0 <= spare(found) < 1e-9
    assert least_that_fits(spare, 2.0, 3.0) == 2.0
    assert least_that_fits(spare, 0.0, 1.0) is None
    assert least_that_fits(lambda _: math.nan, 0.0, 1.0) is None
