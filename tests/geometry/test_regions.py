"""Local width and insets against shapes whose widths are known."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from stonelayout.geometry.regions import (
    inset_mitred,
    local_width_range,
    sample_outline,
    shrink_balls,
)


@given(st.floats(2, 40), st.floats(1.5, 8), st.floats(0, 180))
@settings(max_examples=20, deadline=None)
def test_a_bar_is_as_wide_as_it_is(width, ratio, angle):
    region = affinity.rotate(shapely.box(0, 0, width * ratio, width), angle)
    low, high = local_width_range(region)
    assert low == pytest.approx(width, rel=1e-6)
    assert high == pytest.approx(width, rel=0.01)


def test_a_tee_has_two_widths():
    tee = shapely.union_all([shapely.box(0, 0, 40, 6), shapely.box(18, 0, 21, 40)])
    low, high = local_width_range(tee)
    assert low == pytest.approx(3, rel=1e-6)
    assert 6 <= high <= 7.5


def test_a_ring_is_as_wide_as_the_difference_of_its_radii():
    ring = shapely.Point(0, 0).buffer(20, 128).difference(shapely.Point(0, 0).buffer(15, 128))
    low, high = local_width_range(ring)
    assert low == pytest.approx(5, rel=0.01)
    assert high == pytest.approx(5, rel=0.01)


def test_nothing_has_no_width():
    assert local_width_range(shapely.Polygon()) == (0.0, 0.0)


def test_a_triangle_counts_its_largest_disc():
    triangle = shapely.Polygon([(0, 0), (30, 0), (15, 30 * math.sqrt(0.75))])
    low, high = local_width_range(triangle)
    assert high == pytest.approx(30 / math.sqrt(3), rel=0.01)
    assert low <= high


def test_insets_keep_their_distance_and_their_notches():
    ell = shapely.Polygon([(0, 0), (20, 0), (20, 8), (8, 8), (8, 20), (0, 20)])
    room = inset_mitred(ell, 1.5)
    assert shapely.distance(room.boundary, ell.boundary) == pytest.approx(1.5)
    assert [6.5, 6.5] in np.round(shapely.get_coordinates(room), 9).tolist()


def test_samples_face_inside_and_balls_stay_inside():
    ring = shapely.box(0, 0, 30, 20).difference(shapely.box(8, 6, 22, 14))
    outline = sample_outline(ring, 0.5)
    assert shapely.contains_xy(ring, outline.points + 1e-3 * outline.inward).mean() > 0.95
    radius, _, angle = shrink_balls(outline, 2.0, 20.0)
    wide = (angle > 150) & ~outline.corner
    centre = (outline.points + radius[:, None] * outline.inward)[wide]
    depth = shapely.distance(shapely.points(centre), ring.boundary)
    assert depth == pytest.approx(radius[wide], abs=1e-6)
