"""The lattice pattern against formulas, tables and its own symmetries."""

import math

import numpy as np
import pytest
import shapely
from paths import table
from shapely import affinity
from shapely.geometry import Polygon, box

from stonelayout.geometry.neighbours import pairs_nearer
from stonelayout.laying.common.ask import Ask, Obstacles, Spec
from stonelayout.laying.packing.lattice import lay_lattice

LETTER = Polygon(
    [(0, 0), (30, 0), (30, 7), (8, 7), (8, 15), (24, 15), (24, 22), (8, 22), (8, 40), (0, 40)]
)


def lattice(region, diameter, pitch, obstacles=None, **options):
    ask = Ask(region, (), (Spec(diameter, pitch),), options, obstacles)
    return lay_lattice(ask).centres


def same(first, second):
    order = [np.lexsort(np.round(p, 6).T) for p in (first, second)]
    return np.allclose(first[order[0]], second[order[1]], atol=1e-6)


def holes_per_area(pitch, grid):
    half = 60 * pitch
    points = lattice(box(-half, -half, half, half), 1e-9, pitch, grid=grid, angle=0.0)
    # a triangular window takes the count's edge effect out of the density
    inner = 0.9 * half
    near = np.abs(points).max(axis=1) < inner
    return (1 - np.abs(points[near]) / inner).prod(axis=1).sum() / inner**2


@pytest.mark.parametrize("row", table("perforated_plate_60deg.csv"))
def test_open_area_agrees_with_perforated_plate_table(row):
    # Source: plate-screen table after ISO 7806/ISO 10630 (head of the CSV); tabulated sizes are
    # rounded to preferred numbers, so 3 percentage points are allowed.
    hole, pitch = float(row["hole_mm"]), float(row["pitch_mm"])
    percent = 100 * holes_per_area(pitch, "hex") * math.pi / 4 * hole**2
    assert percent == pytest.approx(float(row["open_area_percent_tabulated"]), abs=3)


@pytest.mark.parametrize(
    ("grid", "percent", "holes"), [("hex", 90.69, 1_154_700), ("square", 78.54, 1_000_000)]
)
def test_density_agrees_with_perforators_formulas(grid, percent, holes):
    # Source: perforators' open-area tables: 60 degree staggered 90.69 (d/p)^2 %, straight
    # 78.54 (d/p)^2 %; holes per square metre 1 154 700 / p^2 and 1 000 000 / p^2.
    pitch = 2.0
    density = holes_per_area(pitch, grid)
    assert density * 1e6 == pytest.approx(holes / pitch**2, rel=2e-4)
    assert 100 * density * math.pi / 4 * pitch**2 == pytest.approx(percent, rel=2e-4)


@pytest.mark.parametrize("k", [2, 5, 11])
def test_triangle_holds_what_olers_inequality_allows(k):
    # Equality case of N. Oler, Canad. Math. Bull. 4 (1961) 153-155: side k - 1, k (k + 1) / 2.
    side = k - 1.0
    triangle = Polygon([(0, 0), (side, 0), (side / 2, side * math.sqrt(3) / 2)])
    for turn in (0, 90, 20):
        n = len(lattice(affinity.rotate(triangle, turn), 1e-12, 1.0))
        assert n == k * (k + 1) // 2


@pytest.mark.parametrize("k", [1, 4, 8])
def test_hexagon_holds_what_olers_inequality_allows(k):
    # Equality case of N. Oler, as above: regular hexagon of side k, 3 k^2 + 3 k + 1.
    t = np.arange(6) * math.pi / 3
    hexagon = Polygon(np.stack((k * np.cos(t), k * np.sin(t)), axis=1))
    for turn in (0, 17):
        n = len(lattice(affinity.rotate(hexagon, turn), 1e-12, 1.0))
        assert n == 3 * k**2 + 3 * k + 1


def test_stones_stay_inside_and_apart():
    hole = LETTER.difference(shapely.Point(4, 30).buffer(1.2))
    points = lattice(hole, 2.0, 2.3, margin=0.3)
    assert len(points) > 40
    outline = hole.boundary
    assert min(outline.distance(shapely.Point(p)) for p in points) >= 1.3 - 1e-9
    assert all(hole.contains(shapely.Point(p)) for p in points)
    assert not len(pairs_nearer(points, 2.3)[0])


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("mirror", [1, -1])
def test_moved_turned_mirrored_artwork_gets_the_same_fill(turn, mirror):
    def carry(shape):
        shape = affinity.scale(shape, mirror, 1, origin=(0, 0))
        return affinity.translate(affinity.rotate(shape, turn, origin=(0, 0)), 31.7, -112.3)

    points = lattice(LETTER, 2.0, 2.3)
    moved = lattice(carry(LETTER), 2.0, 2.3)
    assert len(moved) == len(points)
    expected = shapely.get_coordinates(carry(shapely.multipoints(points)))
    assert same(moved, expected)


def test_two_like_letters_in_one_shape_get_like_fills():
    both = shapely.union_all([LETTER, affinity.translate(LETTER, 41.234, 3.21)])
    points = lattice(both, 2.0, 2.3)
    first = points[points[:, 0] < 35]
    second = points[points[:, 0] >= 35]
    assert same(first + np.array([41.234, 3.21]), second)


def test_symmetric_shape_gets_symmetric_fill():
    t = np.linspace(0, 2 * math.pi, 200, endpoint=False)
    y = 13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)
    heart = Polygon(np.stack((16 * np.sin(t) ** 3 + 50, 20 - y), axis=1))
    points = lattice(heart, 2.0, 2.3)
    assert same(points, points * [-1, 1] + [100, 0])


def test_angle_is_kept():
    points = lattice(box(0, 0, 40, 30), 2.0, 2.5, angle=20.0)
    steps = points[1:] - points[:-1]
    row = steps[np.isclose(np.hypot(*steps.T), 2.5, atol=1e-6)]
    angles = np.mod(np.degrees(np.arctan2(row[:, 1], row[:, 0])), 60)
    assert len(row) > 50
    assert np.allclose(angles, 20, atol=1e-5)


def test_fills_up_to_earlier_stones():
    stands = np.array([[10.0, 10.0], [21.0, 12.0], [-30.0, 5.0]])
    keep = np.full((3, 1), 3.0)
    region = box(0, 0, 30, 20)
    points = lattice(region, 2.0, 2.3, Obstacles(stands, keep))
    gaps = np.hypot(*(points[:, None] - stands[None]).transpose(2, 0, 1))
    assert gaps.min() >= 3.0 - 1e-9
    free = lattice(region, 2.0, 2.3)
    removed = (np.hypot(*(free[:, None] - stands[None]).transpose(2, 0, 1)) >= 3).all(axis=1)
    assert len(points) >= removed.sum()


def test_far_obstacle_changes_nothing():
    free = lattice(LETTER, 2.0, 2.3)
    far = Obstacles(np.array([[200.0, 0.0]]), np.array([[2.3]]))
    assert np.array_equal(free, lattice(LETTER, 2.0, 2.3, far))


def test_shape_too_narrow_gets_nothing_and_small_one_gets_one():
    assert len(lattice(box(0, 0, 30, 1.9), 2.0, 2.3)) == 0
    assert len(lattice(shapely.Point(3, 4).buffer(1.4), 2.0, 2.3)) == 1
    assert len(lattice(None, 2.0, 2.3)) == 0


def test_a_part_too_thin_for_a_stone_gets_none():
    assert len(lattice(box(0, 0, 30, 1), 2.0, 3.0)) == 0


def test_lines_that_a_mirror_leaves_beside_the_room_are_no_room():
    """A symmetric ring's room and its mirror image share stretches of outline."""
    ring = shapely.LineString([(-40, -50), (40, -50), (33, 20), (0, 60), (-33, 20), (-40, -50)])
    assert len(lattice(ring.buffer(5.2), 2.8, 3.75)) > 50
