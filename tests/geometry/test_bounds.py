"""Bounds against the packing tables, Oler's equality cases and a counter-example."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from paths import table
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon, box

from stonelayout.geometry.bounds import expected_most, kappa, oler_bound, proved_bound
from stonelayout.geometry.bounds import truncated_voronoi_bound as voronoi_bound
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.packing.lattice import lay_lattice


def inner_circle(radius):
    """A polygon inside the circle of a radius: a bound for it is at most the circle's."""
    t = np.arange(1440) * math.tau / 1440
    return Polygon(radius * np.stack((np.cos(t), np.sin(t)), axis=1))


def outer_circle(radius):
    return affinity.scale(inner_circle(radius), *[1 / math.cos(math.pi / 1440)] * 2)


@pytest.mark.parametrize("row", table("packings_in_circle.csv"), ids=lambda row: row["n"])
def test_no_best_known_packing_in_a_circle_exceeds_the_bound(row):
    # Source: Packomania registry (E. Specht), as told in the head of the CSV.
    n, ratio = int(row["n"]), float(row["container_to_disc_radius"])
    room = outer_circle(ratio - 1) if n > 1 else shapely.Point(0, 0)
    assert n <= proved_bound(room, 2.0)
    assert n <= voronoi_bound(room, 2.0)
    if n >= 19:  # and it says something
        assert proved_bound(room, 2.0) <= 1.15 * n + 1


@pytest.mark.parametrize("row", table("packings_in_square.csv"), ids=lambda row: row["n"])
def test_no_best_known_packing_in_a_square_exceeds_the_bound(row):
    # Source: Packomania registry (E. Specht), as told in the head of the CSV.
    n, radius = int(row["n"]), float(row["disc_radius_in_unit_square"])
    side = 1 - 2 * radius
    room = box(0, 0, side, side) if n > 1 else shapely.Point(0, 0)
    assert n <= proved_bound(room, 2 * radius)
    assert n <= voronoi_bound(room, 2 * radius)
    if n >= 20:
        assert proved_bound(room, 2 * radius) <= 1.12 * n + 1


@pytest.mark.parametrize("k", [2, 3, 7, 20])
def test_oler_is_met_exactly_by_triangle_and_hexagon(k):
    # Equality cases of N. Oler, Canad. Math. Bull. 4 (1961) 153-155.
    s = k - 1.0
    triangle = Polygon([(0, 0), (s, 0), (s / 2, s * math.sqrt(3) / 2)])
    assert oler_bound(triangle, 1.0) == k * (k + 1) // 2
    t = np.arange(6) * math.pi / 3
    hexagon = Polygon(k * np.stack((np.cos(t), np.sin(t)), axis=1))
    assert oler_bound(hexagon, 1.0) == 3 * k**2 + 3 * k + 1
    ask = Ask(hexagon, (), (Spec(1e-12, 1.0),))
    assert len(lay_lattice(ask).centres) == oler_bound(hexagon, 1.0)


def test_a_segment_holds_its_length_in_pitches_and_one():
    assert oler_bound(shapely.LineString([(0, 0), (7, 0)]), 1.0) == 8


def test_three_thin_arms_break_the_formula_but_not_the_bound():
    # Tips of three arms of length d / sqrt 3 at 120 degrees are d apart: 3 points, where the
    # formula with the region's own area and perimeter gives 2.73.
    t = np.arange(3) * math.tau / 3
    tips = np.stack((np.cos(t), np.sin(t)), axis=1) / math.sqrt(3)
    arms = shapely.union_all(
        [shapely.LineString([(0, 0), tip]).buffer(1e-9, cap_style="flat") for tip in tips]
    )
    assert expected_most(arms, 1.0) < 2.8
    assert proved_bound(arms, 1.0) >= 3


def test_separate_polygons_are_bounded_together_and_apart():
    near = MultiPolygon([box(0, 0, 0.1, 0.1), box(0.2, 0, 0.3, 0.1)])
    far = MultiPolygon([box(0, 0, 0.1, 0.1), box(9, 0, 9.1, 0.1)])
    assert proved_bound(near, 1.0) == 1
    assert proved_bound(far, 1.0) == 2
    assert proved_bound(Polygon(), 1.0) == 0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=3, max_size=9),
    st.integers(0, 2**32 - 1),
)
def test_no_greedy_fill_of_any_region_exceeds_the_bound(corners, seed):
    region = Polygon(np.round(corners, 6)).buffer(0.4)
    rng = np.random.default_rng(seed)
    x0, y0, x1, y1 = region.bounds
    points = rng.uniform((x0, y0), (x1, y1), (400, 2))
    points = points[shapely.contains_xy(region, points)]
    ring = shapely.get_coordinates(region.boundary.segmentize(0.5))
    kept = np.empty((0, 2))
    for p in np.concatenate((ring, points)):
        if not len(kept) or np.hypot(*(kept - p).T).min() >= 2.0:
            kept = np.concatenate((kept, [p]))
    assert len(kept) <= proved_bound(region, 2.0)
    grid = lay_lattice(Ask(region, (), (Spec(1e-9, 2.0),))).centres
    assert len(grid) <= proved_bound(region, 2.0)


def test_kappa_of_best_known_circles():
    # Study figures for N = 37 and 500, from the Packomania radii: 0.17 and 0.31.
    for n, ratio, expected in ((37, 6.758770483144, 0.17), (500, 24.132937623993, 0.31)):
        assert kappa(inner_circle(ratio - 1), 2.0, n) == pytest.approx(expected, abs=0.006)
    assert math.isnan(kappa(Polygon(), 2.0, 0))


def test_trap_pattern_of_68_discs_in_a_square_overlaps():
    # The pattern k^2 + floor(k / 2) at k = 8 gives r = 0.062925, above the best known
    # 0.0625200780 (Graham and Lubachevsky; registry): the discs overlap, so it must not pass.
    row = next(row for row in table("packings_in_square.csv") if row["n"] == "68")
    assert float(row["disc_radius_in_unit_square"]) < 0.062925
    side = 1 - 2 * 0.062925
    found = lay_lattice(Ask(box(0, 0, side, side), (), (Spec(1e-12, 2 * 0.062925),))).centres
    assert len(found) < 68
