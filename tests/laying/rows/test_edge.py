"""The edge pattern: where rows run, and that they follow the artwork when it moves."""

import json

import numpy as np
import pytest
import shapely
from one_shape import lay_edge
from paths import DATA
from shapely.geometry import Polygon

from stonelayout.laying.common.ask import Ask, Obstacles, Spec
from stonelayout.model.artwork import Line, rings

SS6 = (Spec(2.0, 2.4),)
BLOB = np.array([[0, 0], [30, -3], [38, 12], [22, 17], [27, 31], [5, 26]], dtype=float)


def filled(points, **options):
    region = Polygon(points)
    return Ask(region, tuple(rings(region)), SS6, options)


def distances(points, others):
    return np.hypot(*(points[:, None] - others[None]).transpose(2, 0, 1)).min(axis=1)


def test_row_stands_inside_a_filled_shape_by_half_a_stone():
    laid = lay_edge(filled(BLOB))
    depth = shapely.distance(shapely.points(laid.centres), Polygon(BLOB).exterior)
    assert len(laid.centres) > 40
    assert np.allclose(depth, 1.0, atol=1e-5)
    assert shapely.contains_xy(Polygon(BLOB), laid.centres).all()


@pytest.mark.parametrize(("where", "depth"), [("on", 0.0), ("inside", 1.25), ("outside", -1.25)])
def test_where(where, depth):
    laid = lay_edge(filled(BLOB, where=where, margin=0.25))
    shape = Polygon(BLOB)
    found = shapely.distance(shapely.points(laid.centres), shape.exterior)
    inside = shapely.contains_xy(shape, laid.centres)
    assert np.allclose(found, abs(depth), atol=1e-5)
    if depth:
        assert (inside == (depth > 0)).all()


def test_a_drawn_line_gets_its_row_on_itself_with_a_stone_at_each_end():
    line = Line(np.array([[0.0, 0.0], [30.0, 10.0]]), closed=False)
    laid = lay_edge(Ask(None, (line,), SS6))
    assert distances(line.points, laid.centres).max() < 1e-9


def test_parallel_rows_are_a_pitch_apart():
    laid = lay_edge(filled([[0, 0], [40, 0], [40, 30], [0, 30]], rows=2))
    depth = shapely.distance(
        shapely.points(laid.centres), Polygon([[0, 0], [40, 0], [40, 30], [0, 30]]).exterior
    )
    assert set(np.round(depth, 6)) == {1.0, 3.4}


def test_no_room_is_said():
    laid = lay_edge(filled([[0, 0], [40, 0], [40, 1.5], [0, 1.5]]))
    assert not len(laid.centres)
    assert [finding.code for finding in laid.findings] == ["row-without-room"]


MOVES = {
    "moved": lambda p: p + [123.4, -56.7],
    "turned": lambda p: p[:, ::-1] * [-1, 1],
    "turned twice": lambda p: -p,
    "mirrored": lambda p: p * [-1, 1],
    "mirrored diagonally": lambda p: p[:, ::-1],
}


@pytest.mark.parametrize("move", MOVES.values(), ids=MOVES.keys())
@pytest.mark.parametrize("smooth", [False, True])
def test_rows_follow_the_artwork(move, smooth):
    points = BLOB
    if smooth:
        t = np.linspace(0, 2 * np.pi, 500, endpoint=False)
        points = np.column_stack((25 * np.cos(t) + 3 * np.sin(2 * t), 14 * np.sin(t + 0.4)))
    plain = lay_edge(filled(points)).centres
    moved = lay_edge(filled(move(points))).centres
    assert len(plain) == len(moved)
    assert distances(move(plain), moved).max() < 1e-6


@pytest.mark.parametrize("smooth", [False, True])
def test_start_and_direction_do_not_matter(smooth):
    points = BLOB
    if smooth:
        t = np.linspace(0, 2 * np.pi, 500, endpoint=False)
        points = np.column_stack((25 * np.cos(t) + 3 * np.sin(2 * t), 14 * np.sin(t + 0.4)))
    for other in (np.roll(points, 3, axis=0), points[::-1]):
        one = lay_edge(Ask(None, (Line(points, closed=True),), SS6)).centres
        two = lay_edge(Ask(None, (Line(other, closed=True),), SS6)).centres
        assert len(one) == len(two)
        assert distances(one, two).max() < 1e-6


def test_symmetric_outline_gets_a_symmetric_row():
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    heart = np.column_stack(
        (
            16 * np.sin(t) ** 3,
            -(13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)),
        )
    )
    centres = lay_edge(filled(heart * 1.6 + [7, 3])).centres
    assert distances((centres - [7, 3]) * [-1, 1] + [7, 3], centres).max() < 1e-6


def test_rows_give_way_to_obstacles_and_say_so():
    line = Line(np.array([[0.0, 0.0], [48.0, 0.0]]), closed=False)
    obstacles = Obstacles(np.array([[20.0, 0.5]]), np.array([[2.4]]))
    laid = lay_edge(Ask(None, (line,), SS6, obstacles=obstacles))
    away = np.hypot(*(laid.centres - [20.0, 0.5]).T)
    assert away.min() == pytest.approx(2.4, abs=1e-6)
    assert [finding.code for finding in laid.findings] == ["row-stones-removed"]


def test_end_of_a_narrow_tooth_has_one_stone_in_its_middle():
    tooth = [[0, 0], [30, 0], [30, 12], [17, 12], [17, 20], [13, 20], [13, 12], [0, 12]]
    centres = lay_edge(filled(tooth)).centres
    end = centres[centres[:, 1] > 18.5]
    assert np.allclose(end, [[15, 19]], atol=1e-6)


def test_narrow_tooth_has_its_stones_in_single_file_and_both_sides_alike():
    tooth = [[0, 0], [30, 0], [30, 15], [17.4, 15], [16.6, 21], [13.4, 21], [12.6, 15], [0, 15]]
    laid = lay_edge(filled(np.array(tooth)))
    high = laid.centres[laid.centres[:, 1] > 16]
    assert len(high) == 2
    assert np.allclose(high[:, 0], 15, atol=1e-6)
    assert distances(laid.centres * [-1, 1] + [30, 0], laid.centres).max() < 1e-6
    apart = np.hypot(*(laid.centres[:, None] - laid.centres[None]).transpose(2, 0, 1))
    assert np.sort(apart, axis=1)[:, 1].min() >= 2.4 * (1 - 1e-9)
    assert shapely.distance(shapely.points(laid.centres), Polygon(tooth).exterior).min() > 0.9999
    assert laid.findings == ()


def test_inner_rows_give_way_to_outer_ones():
    bars = [shapely.box(0, 0, 10, 40), shapely.box(24, 0, 34, 40), shapely.box(0, 15, 34, 25)]
    region = shapely.union_all(bars)
    asks = [Ask(region, tuple(rings(region)), SS6, {"rows": rows}) for rows in (1, 2)]
    outer, both = (lay_edge(ask).centres for ask in asks)
    assert len(both) > 1.5 * len(outer)
    assert distances(outer, both).max() < 1e-6


@pytest.mark.parametrize("name", ["sans A", "sans M", "sans 8"])
def test_rows_of_a_letter_that_is_symmetric_to_the_eye_are_alike_on_both_sides(name):
    text = (DATA / "glyphs.json").read_text(encoding="utf-8")
    parts = [shapely.Polygon(p[0], p[1:]) for p in json.loads(text)["glyphs"][name]]
    region = shapely.transform(shapely.union_all(parts), lambda points: points * 3.7 * 3.3)
    image = shapely.transform(region, lambda points: points * (-1, 1))
    middle = shapely.centroid(region).x
    image = shapely.transform(image, lambda points: points + (2 * middle, 0))
    assert shapely.hausdorff_distance(region, image) > 0.002  # as fonts are: nearly symmetric
    centres = lay_edge(Ask(region, tuple(rings(region)), (Spec(2.8, 3.3),))).centres
    assert distances(centres * (-1, 1) + (2 * middle, 0), centres).max() < 0.1
    depth = shapely.distance(shapely.points(centres), shapely.boundary(region))
    assert np.abs(depth - 1.4).max() < 0.06


def test_both_corners_of_a_short_edge_keep_their_stones():
    wide = 3.7 * 2.4  # too long for four chords, so that three of 1.23 pitches are left
    corners = np.array([[-wide / 2, 0], [wide / 2, 0], [wide / 2 + 12, 30], [-wide / 2 - 12, 30]])
    region = Polygon(corners).buffer(1.0, join_style="mitre", mitre_limit=5)
    centres = lay_edge(Ask(region, tuple(rings(region)), SS6)).centres
    top = np.sort(centres[np.abs(centres[:, 1]) < 1e-3, 0])
    assert np.allclose(top, np.linspace(-wide / 2, wide / 2, 4), atol=1e-3)
