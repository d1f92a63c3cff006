"""Arms too narrow for two rows: one row on the centre line, and how it joins the two."""

import math

import numpy as np
import pytest
import shapely
from one_shape import lay_edge
from shapely.geometry import LineString, Point, Polygon, box

from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.rows.narrow.narrow_rows import rows_with_arms, too_narrow
from stonelayout.model.artwork import rings

DIAMETER, PITCH = 2.0, 2.4
SS6 = (Spec(DIAMETER, PITCH),)


def edge(region, **options):
    return lay_edge(Ask(region, tuple(rings(region)), SS6, options))


def away(points, others):
    return np.hypot(*(points[:, None] - others[None]).transpose(2, 0, 1))


def least(points):
    apart = away(points, points)
    return apart[~np.eye(len(points), dtype=bool)].min()


def lollipop(width, length=25.0):
    return shapely.union_all(
        [Point(0, 0).buffer(10, quad_segs=90), box(0, -width / 2, 10 + length, width / 2)]
    )


@pytest.mark.parametrize("width", [2.1, 2.6, 3.4, 4.2])
def test_arm_has_one_row_on_its_centre_line_and_joins_the_edge_row_a_pitch_away(width):
    laid = edge(lollipop(width))
    on_arm = laid.centres[laid.centres[:, 0] > 11]
    order = np.argsort(on_arm[:, 0])
    assert len(on_arm) >= 9
    assert np.abs(on_arm[:, 1]).max() < 1e-6
    assert on_arm[order[-1], 0] == pytest.approx(35 - DIAMETER / 2, abs=1e-6)
    steps = np.diff(on_arm[order, 0])
    assert np.ptp(steps) < 1e-9 * PITCH
    assert PITCH * (1 - 1e-9) <= steps[0] < 1.07 * PITCH
    assert least(laid.centres) >= PITCH * (1 - 1e-9)
    axis = laid.centres[np.abs(laid.centres[:, 1]) < 1e-6]
    innermost = axis[axis[:, 0] > 0][np.argmin(axis[axis[:, 0] > 0][:, 0])]
    beside = np.sort(away(innermost[None], laid.centres)[0])[1:4]
    assert np.ptp(beside) < 1e-6  # the next on the arm and one on each side
    assert beside[0] == pytest.approx(steps[0], abs=1e-6)


def test_wide_arm_keeps_its_two_rows():
    laid = edge(lollipop(DIAMETER + PITCH + 0.1))
    on_arm = laid.centres[(laid.centres[:, 0] > 12) & (laid.centres[:, 0] < 33)]
    assert np.abs(np.abs(on_arm[:, 1]) - (PITCH + 0.1) / 2).max() < 1e-6


def test_taper_goes_from_two_rows_to_one_without_a_bare_place():
    wedge = Polygon([(0, -5), (60, -1.1), (60, 1.1), (0, 5)])
    laid = edge(wedge)
    x = np.sort(laid.centres[np.abs(laid.centres[:, 1]) < 1e-6][:, 0])
    x = x[x > 5]
    assert len(x) > 6
    assert np.diff(x).max() < 1.07 * PITCH
    fork = laid.centres[np.abs(laid.centres[:, 1]) > 1e-6]
    nearest = np.sort(away(np.array([[x[0], 0.0]]), fork)[0])[:2]
    assert nearest == pytest.approx([np.diff(x)[0]] * 2, abs=1e-6)
    assert laid.findings == ()


def test_tip_has_a_stone_on_its_centre_line_where_the_next_two_would_be_far():
    star = 40 * np.column_stack(
        [
            np.array([1.0, 0.45] * 5) * np.sin(np.arange(10) * math.pi / 5),
            np.array([1.0, 0.45] * 5) * np.cos(np.arange(10) * math.pi / 5),
        ]
    )
    laid = edge(Polygon(star))
    top = laid.centres[laid.centres[:, 1] > 27]
    on_axis = np.sort(top[np.abs(top[:, 0]) < 1e-6][:, 1])
    assert len(on_axis) == 2
    assert np.diff(on_axis) == pytest.approx([PITCH], rel=1e-6)
    gaps = np.sort(away(laid.centres, laid.centres), axis=1)[:, 1]
    assert gaps.max() < 1.12 * PITCH
    turn = np.array([[math.cos(0.4 * math.pi), -math.sin(0.4 * math.pi)],
                     [math.sin(0.4 * math.pi), math.cos(0.4 * math.pi)]])  # fmt: skip
    assert away(laid.centres @ turn.T, laid.centres).min(axis=1).max() < 1e-5


def test_crossbar_between_stems_is_a_row_of_its_own():
    letter = shapely.union_all([box(0, 0, 6, 30), box(24, 0, 30, 30), box(0, 13, 30, 16.5)])
    laid = edge(letter)
    bar = laid.centres[(laid.centres[:, 0] > 8) & (laid.centres[:, 0] < 22)]
    assert np.abs(bar[:, 1] - 14.75).max() < 1e-6
    assert away(laid.centres * [-1, 1] + [30, 0], laid.centres).min(axis=1).max() < 1e-6
    assert least(laid.centres) >= PITCH * (1 - 1e-9)


def test_shape_that_is_narrow_all_over_gets_a_spine():
    arms = [LineString([(0, 0), (40, 0)]), LineString([(20, 0), (20, 30)])]
    region = shapely.union_all([arm.buffer(1.5, cap_style="flat") for arm in arms])
    laid = edge(region)
    on_line = shapely.distance(shapely.points(laid.centres), shapely.union_all(arms))
    assert on_line.max() < 0.01
    assert away(np.array([[20.0, 0.0]]), laid.centres).min() < 0.01


def test_round_a_hole_the_outer_row_stays_whole_where_two_hardly_collide():
    band = Point(0, 0).buffer(20, quad_segs=180) - Point(0, 0).buffer(
        18 - 0.9 * PITCH, quad_segs=180
    )
    laid = edge(band)
    radius = np.hypot(*laid.centres.T)
    outer = laid.centres[radius > 18.9]
    assert len(outer) == int(math.pi / math.asin(PITCH / 2 / 19))
    narrow = Point(0, 0).buffer(20, quad_segs=180) - Point(0, 0).buffer(17, quad_segs=180)
    radius = np.hypot(*edge(narrow).centres.T)
    assert np.ptp(radius) < 0.01


def test_waist_has_one_stone():
    bow = Polygon([(-15, -12), (0, -1.5), (15, -12), (15, 12), (0, 1.5), (-15, 12)])
    laid = edge(bow)
    assert away(np.zeros((1, 2)), laid.centres).min() < 1e-6
    beside = np.sort(np.hypot(*laid.centres.T))[1:5]
    assert beside == pytest.approx([PITCH] * 4, abs=1e-6)


def test_part_narrower_than_a_stone_is_said():
    laid = edge(lollipop(1.6))
    assert [(finding.code, finding.count) for finding in laid.findings] == [
        ("stroke-too-narrow", 1)
    ]
    x, y = laid.findings[0].at
    assert x > 10
    assert abs(y) < 0.8
    assert too_narrow(box(0, 0, 20, 20), 1.0, PITCH) == []


@pytest.mark.parametrize(
    "move",
    [lambda p: p + [31.7, -8.3], lambda p: p[:, ::-1] * [-1, 1], lambda p: p * [-1, 1]],
    ids=["moved", "turned", "mirrored"],
)
def test_arms_follow_the_artwork(move):
    t = np.linspace(0, 1, 400)
    middle = np.column_stack((60 * t, 9 * np.sin(5 * t)))
    half = 0.9 + 4 * np.sin(math.pi * t) ** 2
    normal = np.column_stack((-np.gradient(middle[:, 1]), np.gradient(middle[:, 0])))
    normal /= np.hypot(*normal.T)[:, None]
    ring = np.concatenate(
        (middle + half[:, None] * normal, (middle - half[:, None] * normal)[::-1])
    )
    plain = edge(Polygon(ring)).centres
    moved = edge(Polygon(move(ring))).centres
    assert len(plain) == len(moved)
    assert away(move(plain), moved).min(axis=1).max() < 1e-6
    assert least(plain) >= PITCH * (1 - 1e-9)


def test_shape_without_arms_keeps_its_rings():
    region = box(0, 0, 40, 30) - box(10, 10, 30, 20)
    tracks = rows_with_arms(region, 1.0, PITCH)
    assert [track.depth for track in tracks] == [0, 1]
    assert [track.path.length for track in tracks] == pytest.approx([132, 60 + 2 * math.pi])
    assert all(track.path.closed for track in tracks)
    assert rows_with_arms(box(0, 0, 1, 1), 1.0, PITCH) == []
