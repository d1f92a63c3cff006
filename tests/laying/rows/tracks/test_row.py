"""Rows: exact pitch, corners, tips, whole numbers on closed curves."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from one_shape import lay_edge
from scipy.special import ellipeinc
from shapely.geometry import box

from stonelayout.geometry.equal_chords import divide, equal_chords, most_equal
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.rows.tracks.row import lay_row, row_corners, row_spans
from stonelayout.model.artwork import rings

PITCH = 2.4


def ring(radius, count=720):
    t = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return Polyline.of(np.column_stack((np.cos(t), np.sin(t))) * radius, closed=True)


def spread(row):
    chords = row.chords
    return float(chords.std() / chords.mean())


@pytest.mark.parametrize("count", [5, 12, 60, 997])
def test_circle_has_the_chord_of_a_regular_polygon(count):
    # Euclid, Elements IV: the side of a regular n-gon in a circle of radius R is 2 R sin(pi / n).
    radius = 40.0
    side = 2 * radius * math.sin(math.pi / count)
    row = lay_row(ring(radius, count * 20), side)
    assert len(row.at) == count
    assert np.allclose(row.chords, side, rtol=1e-9, atol=0)


def test_one_pitch_more_and_the_circle_takes_one_stone_less():
    side = 2 * 40 * math.sin(math.pi / 60)
    row = lay_row(ring(40, 3600), side * 1.0001)
    assert len(row.at) == 59
    assert np.ptp(row.chords) < 1e-9 * side


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 8])
def test_regular_polygons_have_no_spread(sides):
    k = np.arange(sides)
    corners = np.column_stack((np.cos(2 * np.pi * k / sides), np.sin(2 * np.pi * k / sides)))
    side = 2 * math.sin(math.pi / sides)
    row = lay_row(Polyline.of(corners * (10 * PITCH / side), closed=True), PITCH)
    assert len(row.at) == 10 * sides
    assert np.allclose(row.chords, PITCH, rtol=1e-9, atol=0)
    assert row.pinned.sum() == sides


def test_logarithmic_spiral_keeps_a_constant_ratio():
    # Points of a logarithmic spiral r = a e^(b t) at equal steps of t are similar triangles, so
    # chords there grow by the same factor; equal chords must then sit at shrinking steps of t,
    # at most as many as the arc length sqrt(1 + b^2) / b * (r1 - r0) allows.
    b = 0.15
    t = np.linspace(0, 6 * math.pi, 40_000)
    r = 3 * np.exp(b * t)
    row = lay_row(Polyline.of(np.column_stack((r * np.cos(t), r * np.sin(t)))), PITCH)
    arc = math.sqrt(1 + b * b) / b * (r[-1] - r[0])
    assert arc / PITCH * 0.97 < len(row.at) - 1 <= arc / PITCH
    assert np.ptp(row.chords) < 1e-9 * PITCH
    turns = np.unwrap(np.arctan2(*row.centres.T[::-1]))
    steps = np.abs(np.diff(turns))
    assert (np.diff(steps) < 0).all()
    assert np.allclose(steps[40:] * np.hypot(*row.centres[40:-1].T), PITCH, rtol=0.03)


def test_chords_of_an_ellipse_sum_to_less_than_its_arc():
    # Perimeter 4 a E(e^2): scipy.special.ellipeinc.
    a, b = 30.0, 10.0
    t = np.linspace(0, 2 * math.pi, 4000, endpoint=False)
    row = lay_row(Polyline.of(np.column_stack((a * np.cos(t), b * np.sin(t))), closed=True), PITCH)
    arc = 4 * a * ellipeinc(math.pi / 2, 1 - (b / a) ** 2)
    assert 0.99 * arc < row.chords.sum() < arc
    assert np.ptp(row.chords) < 1e-9 * PITCH
    assert row.chords.min() >= PITCH
    flipped = row.centres * [1, -1]
    away = np.hypot(*(flipped[:, None] - row.centres[None]).transpose(2, 0, 1)).min(axis=1)
    assert away.max() < 1e-6


def test_corner_stones_and_spread_of_a_cornered_outline():
    outline = Polyline.of([[0, 0], [61.3, 0], [61.3, 43.7], [30, 55.1], [0, 43.7]], closed=True)
    row = lay_row(outline, PITCH)
    assert row.pinned.sum() == 5
    for corner in outline.points:
        assert np.hypot(*(row.centres - corner).T).min() < 1e-9
    assert row.chords.min() >= PITCH * (1 - 1e-9)
    assert spread(row) <= 0.03


def test_spread_with_four_corners_and_a_hundred_stones_is_within_a_percent():
    row = lay_row(Polyline.of([[0, 0], [97.3, 0], [90.1, 52.4], [3.3, 47.9]], closed=True), PITCH)
    assert len(row.at) >= 100
    assert row.pinned.sum() == 4
    assert row.chords.min() >= PITCH * (1 - 1e-9)
    assert spread(row) <= 0.01


def test_rounded_corner_is_a_corner_and_noise_is_not():
    quarter = np.radians(np.linspace(0, 90, 24))
    parts = [
        np.column_stack((np.cos(quarter + k * np.pi / 2), np.sin(quarter + k * np.pi / 2))) * 2
        + [(13, 8), (-13, 8), (-13, -8), (13, -8)][k]
        for k in range(4)
    ]
    assert lay_row(Polyline.of(np.concatenate(parts), closed=True), PITCH).pinned.sum() == 4
    rng = np.random.default_rng(3)
    points = ring(25, 700).points[:-1]
    noisy = Polyline.of(points + rng.normal(0, 0.05, points.shape), closed=True)
    row = lay_row(noisy, PITCH)
    assert not row.pinned.any()
    assert np.ptp(row.chords) < 1e-9 * PITCH


def test_stones_beside_a_sharp_tip_keep_their_distance():
    half = math.radians(20)
    tip = Polyline.of(
        [
            [-40 * math.sin(half), 40 * math.cos(half)],
            [0, 0],
            [40 * math.sin(half), 40 * math.cos(half)],
        ]
    )
    row = lay_row(tip, PITCH)
    middle = int(np.argmin(np.hypot(*row.centres.T)))
    assert np.hypot(*row.centres[middle]) < 1e-9
    assert np.hypot(*(row.centres[middle + 1] - row.centres[middle - 1])) >= PITCH * (1 - 1e-9)


def test_blunt_corner_gives_way_where_a_side_is_too_short():
    path = Polyline.of([[0, 0], [20, 0], [21.5, 1.5], [21.5, 20]])
    row = lay_row(path, PITCH)
    assert row.chords.min() >= PITCH * (1 - 1e-9)
    assert row.chords.max() < 1.2 * PITCH


def test_open_line_ends_with_stones_and_a_dot_is_one():
    row = lay_row(Polyline.of([[1, 1], [25, 1]]), PITCH)
    assert np.allclose(row.centres[[0, -1]], [[1, 1], [25, 1]])
    assert len(row.at) == 11
    assert len(lay_row(Polyline.of([[1, 1]]), PITCH).at) == 1
    assert len(lay_row(Polyline.of([[1, 1], [1.5, 1]]), PITCH).at) == 1


def test_newton_and_divider_agree():
    t = np.linspace(0, 3, 400)
    path = Polyline.of(np.column_stack((20 * t, 8 * np.sin(2 * t))))
    newton = equal_chords(path, 20)
    walked = divide(path, 20, 1.0)
    assert np.allclose(newton[0], walked[0], atol=1e-8)
    assert newton[1] == pytest.approx(walked[1], rel=1e-10)


@pytest.mark.parametrize("a", [1, 2, 3])
@pytest.mark.parametrize("b", [1, 3, 4])
def test_loops_and_cusps_have_even_spans(a, b):
    # Lissajous curves: with a = b a line run to and fro, else loops, some with cusps at their ends
    t = np.linspace(0, 2 * math.pi, 400)
    path = Polyline.of(14 * np.column_stack((np.sin(a * t + 0.3), np.cos(b * t))))
    row = lay_row(path, PITCH)
    assert row.chords.min() >= PITCH * (1 - 1e-9)
    assert len(row.at) > 0.7 * path.length / PITCH
    for first, last in itertools.pairwise(np.flatnonzero(row.pinned)):
        steps = np.hypot(*np.diff(row.centres[first : last + 1], axis=0).T)[1:-1]
        assert not len(steps) or np.ptp(steps) <= 1e-9 * PITCH


COORDINATE = st.floats(-15, 15, allow_nan=False, width=32)
SPANS = st.lists(st.tuples(COORDINATE, COORDINATE), min_size=1, max_size=8)


@settings(max_examples=200, deadline=None)
@given(SPANS, st.booleans(), st.sampled_from(["plain", "doubled", "back"]))
def test_any_span_gets_a_row(points, closed, kind):
    table = np.array(points)
    if kind == "doubled":
        table = np.repeat(table, 2, axis=0)
    elif kind == "back":
        table = np.concatenate((table, table[::-1]))
    path = Polyline.of(table, closed)
    row = lay_row(path, PITCH)
    assert len(row.at) >= 1
    assert np.isfinite(row.centres).all()
    assert (np.diff(row.at) > 0).all()
    assert (row.chords >= PITCH * (1 - 1e-9)).all()
    places, chord = most_equal(Polyline.of(table[:4]), PITCH)
    if len(places):
        steps = np.hypot(*np.diff(Polyline.of(table[:4]).at(places), axis=0).T)
        assert np.allclose(steps, chord, rtol=1e-9, atol=0)


def test_rings_of_one_outline_are_spaced_alike():
    # A side of 36.5 mm takes 15 steps of 2.433 mm, one of 10.9 mm takes 4 of 2.725: the hole
    # cannot come nearer to the pitch, so the outer square comes nearer to the hole, with 14.
    outer, hole = box(0, 0, 38.5, 38.5), box(14.8, 14.8, 23.7, 23.7)
    row = Polyline.of([[0, 0], [36.5, 0], [36.5, 36.5], [0, 36.5]], closed=True)
    inner = Polyline.of([[0, 0], [10.9, 0], [10.9, 10.9], [0, 10.9]], closed=True)
    assert np.allclose(lay_row(row, PITCH).chords, 36.5 / 15)
    beside = row_spans(inner, PITCH, row_corners(inner, PITCH), [])
    assert np.allclose(lay_row(row, PITCH, beside=beside).chords, 36.5 / 14)

    def on_outer_square(region):
        laid = lay_edge(Ask(region, tuple(rings(region)), (Spec(2.0, PITCH),)))
        depth = shapely.distance(shapely.points(laid.centres), outer.exterior)
        return int((np.abs(depth - 1) < 1e-6).sum())

    assert on_outer_square(outer) == 4 * 15
    assert on_outer_square(outer - hole) == 4 * 14
