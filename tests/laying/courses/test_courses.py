"""Courses: flush edges, even rows, no place left, exact distances, the same fill wherever it is."""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from paths import DATA
from scipy.spatial import KDTree
from shapely import affinity

from stonelayout.geometry.fill_measures import measure_fill
from stonelayout.geometry.neighbours import nearest_distances
from stonelayout.laying.common.ask import Ask, Obstacles, Spec
from stonelayout.laying.common.outline_smoothing import smoothed_outline
from stonelayout.laying.courses.courses import lay_courses

PITCH, STONE = 3.3, 2.8
GLYPHS = json.loads((DATA / "glyphs.json").read_text())["glyphs"]


def glyph(name, stem):
    """A glyph whose upright stems are so many pitches wide."""
    parts = [shapely.Polygon(rings[0], rings[1:]) for rings in GLYPHS[name]]
    return affinity.scale(shapely.union_all(parts), stem * PITCH, stem * PITCH, origin=(0, 0))


def bar(width, length=16):
    """A bar with room for centres of width times length pitches."""
    return shapely.box(0, 0, length * PITCH + STONE, width * PITCH + STONE)


def lay(region, margin=0.0, obstacles=None, pitch=PITCH):
    ask = Ask(region, (), (Spec(STONE, pitch),), {"margin": margin}, obstacles)
    return lay_courses(ask).centres


def assert_sound(region, centres, margin=0.0, pitch=PITCH):
    assert (nearest_distances(centres) >= pitch * (1 - 1e-9)).all()
    depth = shapely.distance(shapely.points(centres), region.boundary)
    assert depth.min() >= STONE / 2 + margin - 1e-9
    assert shapely.contains_xy(region, centres).all()


def assert_same(first, second, tolerance=1e-6):
    assert len(first) == len(second)
    apart = np.hypot(*(first[:, None] - second[None]).transpose(2, 0, 1)).min(axis=1)
    assert apart.max() < tolerance


def rows_of(heights):
    """Heights in pitches that differ by more than a hundredth, and how many stones are at each."""
    heights = np.sort(heights / PITCH)
    first = np.concatenate(([True], np.diff(heights) > 0.01))
    return heights[first], np.bincount(np.cumsum(first) - 1)


@pytest.mark.parametrize("width", [*range(1, 13), 1.2, 2.4, 3.6, 4.5, 5.3, 6.7, 8.9, 11.7])
def test_a_straight_bar_has_flush_edges_and_even_rows(width):
    region = bar(width)
    centres = lay(region)
    assert_sound(region, centres)
    heights = centres[:, 1] - STONE / 2
    assert abs(heights.min()) < 0.01
    assert abs(heights.max() - width * PITCH) < 0.01
    rows, count = rows_of(heights[np.abs(centres[:, 0] - region.centroid.x) < 5 * PITCH])
    assert len(rows) == math.floor(width + 1e-9) + 1
    gaps = np.diff(rows)
    assert gaps.max() <= gaps.min() * 1.01
    assert count.min() >= 9  # no seam, no bald spot: every row runs through the middle


# a bar turned by less than a fifth of a degree counts as upright, and is laid in what it shares
# with its mirror image
TURNS = st.integers(0, 3).flatmap(
    lambda k: st.floats(90 * k + 0.2, 90 * k + 89.8) | st.just(90.0 * k)
)


@given(st.floats(1, 12), TURNS, st.floats(-300, 300), st.floats(-300, 300))
@settings(max_examples=12, deadline=None)
def test_bars_of_any_width_and_direction_are_sound_and_flush(width, angle, dx, dy):
    region = affinity.translate(affinity.rotate(bar(width, 9), angle), dx, dy)
    centres = lay(region)
    assert_sound(region, centres)
    room = region.buffer(-STONE / 2, join_style="mitre")
    near = shapely.distance(shapely.points(centres), room.boundary)
    # from 1.6 pitches a third row stands in the gaps of the two edges, which are then laid wider:
    # both legs of its triangles are one pitch
    apart = 2 * math.sqrt(max(1 - (width / 2) ** 2, 0)) if width >= 1.6 else 1.0
    least = 2 * 9 if apart <= 1 else 2 * (math.floor(9 / apart - 1e-6) + 1)
    assert (near < 0.01).sum() >= least
    if apart > 1:
        assert len(centres) > 2 * 9 + 2
    assert measure_fill(region, centres, STONE, PITCH).empty < 1 + 1e-6


@pytest.mark.parametrize("name", sorted(GLYPHS))
@pytest.mark.parametrize("stem", [1.5, 3.0, 5.0])
def test_letters_have_no_place_left_and_keep_their_distances(name, stem):
    region = glyph(name, stem)
    centres = lay(region)
    assert_sound(region, centres)
    assert measure_fill(region, centres, STONE, PITCH).empty < 1 + 1e-4


@pytest.mark.parametrize("name", ["sans E", "sans S", "sans M", "round e"])
def test_moved_turned_and_mirrored_letters_get_the_same_fill(name):
    region = glyph(name, 4)
    centres = lay(region)
    moved = lay(affinity.translate(region, 123.456, -78.9))
    assert_same(moved - (123.456, -78.9), centres)
    turned = lay(affinity.rotate(region, 90, origin=(0, 0)))
    assert_same(turned @ np.array([[0.0, -1.0], [1.0, 0.0]]), centres)
    mirrored = lay(affinity.scale(region, -1, 1, origin=(0, 0)))
    assert_same(mirrored * (-1, 1), centres)


def test_a_symmetric_shape_gets_a_symmetric_fill():
    heart = shapely.union_all(
        [
            shapely.Point(-9, 0).buffer(11, 64),
            shapely.Point(9, 0).buffer(11, 64),
            shapely.Polygon([(-18, 6), (18, 6), (0, 28)]),
        ]
    )
    centres = lay(heart)
    assert_sound(heart, centres)
    assert_same(centres * (-1, 1), centres)


@pytest.mark.parametrize("stem", [3.7, 5.0, 8.0])
def test_a_letter_that_is_symmetric_to_the_eye_gets_a_symmetric_fill(stem):
    region = glyph("sans M", stem)
    outline = affinity.scale(region, -1, 1, origin=region.centroid)
    assert shapely.hausdorff_distance(region, outline) > 0.01  # the font's M is not quite its image
    centres = lay(region)
    assert_sound(region, centres)
    assert_same(2 * np.array([region.centroid.x, 0.0]) + centres * (-1, 1), centres)


@pytest.mark.parametrize("degrees", [0.05, 0.15, 0.3])
def test_a_bar_that_leans_a_little_keeps_its_edges_flush(degrees):
    centres = lay(affinity.rotate(bar(3.0), degrees, origin=(0, 0)))
    angle = np.radians(degrees)
    across = centres @ (-np.sin(angle), np.cos(angle)) - STONE / 2
    edge = (across < 0.5) | (across > 3 * PITCH - 0.5)
    assert np.minimum(np.abs(across), np.abs(across - 3 * PITCH))[edge].max() < 0.01


def test_two_like_letters_in_one_region_get_like_fills():
    first = glyph("sans R", 3)
    second = affinity.translate(first, 100, 3)
    centres = lay(shapely.union_all([first, second]))
    left = centres[:, 0] < first.bounds[2]
    assert_same(centres[left], centres[~left] - (100, 3))


@pytest.mark.parametrize("width", [1.65, 1.8, 1.95])
def test_a_third_row_stands_in_the_gaps_of_two_far_ones(width):
    region = bar(width)
    centres = lay(region)
    assert_sound(region, centres)
    rows, count = rows_of(centres[:, 1] - STONE / 2)
    assert rows == pytest.approx([0, width / 2, width], abs=1e-3)
    assert count[0] == count[2] == count[1] + 1


def test_a_disc_is_filled_with_rings():
    radius = 5 * PITCH * 1.05
    region = shapely.Point(3, 4).buffer(radius + STONE / 2, 256)
    centres = lay(region)
    assert_sound(region, centres)
    depth = np.hypot(*(centres - (3, 4)).T) / (radius / 5)
    assert np.abs(depth - np.round(depth)).max() < 0.01
    assert len(centres) >= 90  # 2 pi (1 + ... + 5) rounded down, and the middle: 93 at most


def test_rows_run_straight_beside_a_row_laid_before():
    upper, lower = shapely.box(0, 0, 40, 14), shapely.box(0, 14, 40, 28)
    first = lay(upper)
    second = lay(lower, obstacles=Obstacles(first, np.full((len(first), 1), PITCH)))
    edge = second[second[:, 1] < 14 + PITCH]
    assert len(edge) == 12
    assert np.ptp(edge[:, 1]) < 1e-6
    assert edge[:, 1].min() - first[:, 1].max() == pytest.approx(PITCH)


def test_margin_moves_stones_inside():
    region = glyph("sans E", 4)
    centres = lay(region, margin=0.7)
    assert_sound(region, centres, 0.7)
    depth = shapely.distance(shapely.points(centres), region.boundary)
    assert depth.min() == pytest.approx(STONE / 2 + 0.7)


def test_stones_laid_before_keep_their_distance():
    region = bar(6)
    earlier = np.array([[x, -1.0] for x in np.arange(2.0, 50.0, 3.4)])
    obstacles = Obstacles(earlier, np.full((len(earlier), 1), 3.0))
    centres = lay(region, obstacles=obstacles)
    assert_sound(region, centres)
    apart = np.hypot(*(centres[:, None] - earlier[None]).transpose(2, 0, 1))
    assert apart.min() >= 3.0 * (1 - 1e-9)
    assert len(centres) > 70


def test_a_shape_too_small_gets_nothing_and_a_stone_sized_one_gets_one():
    assert len(lay(shapely.box(0, 0, 2, 9))) == 0
    assert len(lay(shapely.box(0, 0, 3.0, 3.0))) == 1
    assert len(lay(shapely.Polygon())) == 0
    assert len(lay(shapely.Polygon([(0, 0), (10, 1e-12), (20, 0), (10, -1e-12)]))) == 0


def test_the_same_ask_gives_the_same_bytes():
    region = glyph("sans K", 3.7)
    assert lay(region).tobytes() == lay(region).tobytes()


def noisy(region, amount, seed=3):
    """A region whose outline is noisy as a traced one does: normal noise of ``amount`` mm."""
    rng = np.random.default_rng(seed)
    ring = shapely.get_coordinates(shapely.segmentize(region.exterior, 0.3))[:-1]
    return shapely.make_valid(shapely.Polygon(ring + rng.normal(0, amount, ring.shape)))


@pytest.mark.parametrize("width", [2, 3.2, 5])
def test_rows_of_a_noisy_bar_are_as_straight_as_those_of_a_clean_one(width):
    clean, region = bar(width + 0.1), noisy(bar(width + 0.1), 0.05)
    centres = lay(region)
    assert_sound(region, centres)
    assert measure_fill(region, centres, STONE, PITCH).empty < 1 + 1e-4
    inner = np.abs(centres[:, 0] - clean.centroid.x) < 6 * PITCH
    heights = np.sort((centres[inner, 1] - STONE / 2) / PITCH)
    rows = np.split(heights, np.flatnonzero(np.diff(heights) > 0.3) + 1)
    assert len(rows) == math.floor(width + 0.1) + 1
    assert max(np.ptp(row) for row in rows) < 0.07
    assert len(centres) > 0.9 * len(lay(clean))  # the tremble may cost a stone in each row


def test_corners_of_a_noisy_outline_stay_corners():
    square = shapely.box(0, 0, 40, 30)
    smooth, strayed = smoothed_outline(noisy(square, 0.06), PITCH)
    assert shapely.hausdorff_distance(smooth, square) < 0.25
    assert 0 < strayed < 0.3
    assert smoothed_outline(square, PITCH) == (square, 0.0)


def test_the_row_of_a_thin_arm_runs_through_the_stem_to_its_far_edge():
    stem = shapely.box(0, 0, 1.35 * PITCH + STONE, 12 * PITCH + STONE)
    arm = shapely.box(0, 6 * PITCH, 7 * PITCH, 6.6 * PITCH + STONE)
    region = shapely.union(stem, arm)
    centres = lay(region)
    assert_sound(region, centres)
    level = 6.3 * PITCH + STONE / 2
    row = np.sort(centres[np.abs(centres[:, 1] - level) < 0.02 * PITCH, 0])
    assert row[0] == pytest.approx(STONE / 2, abs=0.01)
    assert row[-1] == pytest.approx(7 * PITCH - STONE / 2, abs=0.01)
    assert np.ptp(np.diff(row)) < 0.01 * PITCH
    others = centres[np.abs(centres[:, 1] - level) > 0.5 * PITCH, 0]
    flush = np.minimum(np.abs(others - STONE / 2), np.abs(others - STONE / 2 - 1.35 * PITCH))
    assert flush.max() < 0.01
    heights = np.sort(centres[np.abs(centres[:, 0] - STONE / 2) < 0.01, 1])
    assert np.diff(heights).max() < 1.3 * PITCH


def test_a_row_between_two_stones_beside_it_keeps_off_both_alike():
    # a stem of two rows between two thin arms: its short right edge is paired with the left one
    stem = shapely.box(0, 0, 1.35 * PITCH + STONE, 3.4 * PITCH + 0.5 * PITCH + STONE)
    arms = [shapely.box(0, y * PITCH, 6 * PITCH, (y + 0.5) * PITCH + STONE) for y in (0, 3.4)]
    centres = lay(shapely.union_all([stem, *arms]))
    edge = centres[np.abs(centres[:, 0] - STONE / 2 - 1.35 * PITCH) < 0.01, 1]
    middle = (3.4 + 0.5) * PITCH / 2 + STONE / 2
    assert len(edge) == 2
    assert edge.mean() == pytest.approx(middle, abs=0.01 * PITCH)
    assert np.ptp(edge) < 1.35 * PITCH


@pytest.mark.parametrize("wide", [3.5, 4.5, 6.2])
def test_rows_of_a_taper_change_in_number_without_a_hole(wide):
    ends = [(0, wide), (20, 1.0)]
    corners = [(x * PITCH, y * (w * PITCH + STONE) / 2) for x, w in ends for y in (-1, 1)]
    region = shapely.MultiPoint(corners).convex_hull
    centres = lay(region)
    assert_sound(region, centres)
    assert_same(centres * (1, -1), centres)
    # the middle row runs on with equal steps, from where it starts to near where rows are two
    middle = np.sort(centres[np.abs(centres[:, 1]) < 1e-6, 0])
    tail = middle[middle > 6 * PITCH]
    steps = np.diff(tail[tail > tail[-1] - 5.5 * PITCH]) / PITCH
    assert len(steps) >= 4
    assert steps.max() < 1.3
    figures = measure_fill(region, centres, STONE, PITCH)
    assert figures.rows > 0.8


def test_a_row_closes_up_to_its_last_stone():
    ends = [(0, 2.5), (20, 1.0)]
    corners = [(x * PITCH, y * (w * PITCH + STONE) / 2) for x, w in ends for y in (-1, 1)]
    centres = lay(shapely.MultiPoint(corners).convex_hull)
    middle = np.sort(centres[np.abs(centres[:, 1]) < 1e-6, 0])
    assert len(middle) >= 9
    assert np.diff(middle).max() < 1.2 * PITCH


def test_the_row_of_a_crossbar_runs_straight_through_the_stem():
    stem = shapely.box(0, 0, 1.8 * PITCH + STONE, 12 * PITCH + STONE)
    low, high = 3 * PITCH, 3.6 * PITCH + STONE
    region = shapely.union(stem, shapely.box(-2.2 * PITCH, low, 5 * PITCH, high))
    centres = lay(region)
    assert_sound(region, centres)
    row = np.sort(centres[np.abs(centres[:, 1] - (low + high) / 2) < 0.02 * PITCH, 0])
    assert row[0] == pytest.approx(-2.2 * PITCH + STONE / 2, abs=0.01)
    assert row[-1] == pytest.approx(5 * PITCH - STONE / 2, abs=0.01)
    assert np.diff(row).max() < 1.2 * PITCH


@pytest.mark.parametrize("wide", [0.05, 0.3, 0.8])
def test_a_thin_stroke_with_round_ends_gets_one_even_row(wide):
    line = shapely.LineString([(2.0, 30.0), (29.0, 3.0), (56.0, 30.0)])
    region = line.buffer(wide * PITCH / 2 + STONE / 2, 32)
    centres = lay(region)
    assert_sound(region, centres)
    figures = measure_fill(region, centres, STONE, PITCH)
    assert figures.empty < 1 + 1e-4
    assert shapely.distance(shapely.points(centres), line).max() < (wide / 2 + 0.02) * PITCH
    assert figures.spread < 0.08


@pytest.mark.parametrize("seed", range(4))
def test_no_place_is_left_in_thin_crooked_shapes(seed):
    rng = np.random.default_rng(seed)
    line = shapely.LineString(np.cumsum(rng.normal(0, 9, (7, 2)), axis=0))
    region = shapely.union(line.buffer(STONE * 0.62), line.centroid.buffer(3 * PITCH))
    region = max(shapely.get_parts(region), key=lambda g: g.area)
    centres = lay(region)
    assert_sound(region, centres)
    assert measure_fill(region, centres, STONE, PITCH).empty < 1 + 1e-4


def test_like_letters_are_filled_once(monkeypatch):
    from stonelayout.laying.courses import courses

    laid = []
    inner = courses._fill_room
    monkeypatch.setattr(courses, "_fill_room", lambda *a, **k: laid.append(1) or inner(*a, **k))
    word = [affinity.translate(glyph("sans K", 3.25), 96 * k, 16 * k) for k in range(4)]
    centres = lay(shapely.MultiPolygon(word))
    assert len(laid) < len(word)  # their last digits may differ
    before = len(laid)
    assert lay(shapely.MultiPolygon(word)).tobytes() == centres.tobytes()
    assert len(laid) == before
    lay(word[0], margin=0.1)
    assert len(laid) == before + 1


def test_no_stone_of_a_curved_outline_is_lost_to_rounding():
    # y of a heart by sums of cosines; the insets of its chords lie outside by 4e-8 mm
    t = np.arange(360) * math.tau / 360
    y = 13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)
    heart = shapely.Polygon(np.stack((32 * np.sin(t) ** 3, -2 * y), axis=1))
    centres = lay(heart)
    assert_sound(heart, centres)
    assert measure_fill(heart, centres, STONE, PITCH).empty < 1 + 1e-4


@pytest.mark.parametrize("wide", [0.5, 2.0, 3.0])
def test_a_stem_keeps_its_rows_where_a_bar_butts(wide):
    """Six rows run through the junction with a bar as if it were not there."""
    stem = shapely.box(0, 0, 5.2 * PITCH + STONE, 15.1 * PITCH + STONE)
    y = 7.3 * PITCH
    arm = shapely.box(0, y, 13 * PITCH, y + wide * PITCH + STONE)
    alone = lay(stem)
    joined = lay(shapely.union(stem, arm))
    assert len(alone) == 6 * 16
    in_stem = joined[joined[:, 0] < 5.2 * PITCH + STONE / 2 + 1e-3]
    assert len(in_stem) == len(alone)
    assert KDTree(in_stem).query(alone)[0].max() < 1e-3
    assert len(joined) >= len(alone) + 6 * (math.floor(wide) + 1)


def test_a_stem_goes_on_to_the_outline_opposite_where_a_serif_leaves_it():
    stem = shapely.box(0, 0, 4 * PITCH + STONE, 14 * PITCH + STONE)
    serif = shapely.box(-4 * PITCH, 0, 0, 0.4 * PITCH + STONE)
    centres = lay(shapely.union(stem, serif))
    column = np.sort(centres[np.abs(centres[:, 0] - STONE / 2) < 0.01, 1]) - STONE / 2
    assert column == pytest.approx(np.arange(15) * PITCH, abs=1e-6)
    outside = centres[centres[:, 0] < STONE / 2 - 0.01]
    assert len(outside) == 4
    assert outside[:, 1] == pytest.approx(STONE / 2 + 0.2 * PITCH, abs=1e-3)


def test_both_sides_of_a_stem_stay_in_step_at_a_crossing():
    """Thin arms on both sides: left to its own, each side would have another phase."""
    stem = shapely.box(0, 0, 1.1 * PITCH + STONE, 12.6 * PITCH + STONE)
    y = 5.3 * PITCH
    arms = shapely.box(-6 * PITCH, y, 7 * PITCH, y + 0.3 * PITCH + STONE)
    centres = lay(shapely.union(stem, arms))
    left = np.sort(centres[np.abs(centres[:, 0] - STONE / 2) < 0.01, 1])
    right = np.sort(centres[np.abs(centres[:, 0] - STONE / 2 - 1.1 * PITCH) < 0.01, 1])
    assert len(left) >= 10
    assert left == pytest.approx(right, abs=0.02 * PITCH)


def test_a_ring_with_spokes_as_thin_as_a_stone_keeps_its_outer_row():
    ring = shapely.Point(0, 0).buffer(12 * PITCH, 64) - shapely.Point(0, 0).buffer(8 * PITCH, 64)
    spokes = [
        affinity.rotate(
            shapely.box(11 * PITCH, -STONE / 2 - 0.1, 16 * PITCH, STONE / 2 + 0.1), a, origin=(0, 0)
        )
        for a in (10, 100, 190, 280)
    ]
    region = shapely.union_all([ring, *spokes])
    centres = lay(region)
    assert_sound(region, centres)
    radius = np.hypot(*centres.T)
    on = np.abs(radius - 12 * PITCH + STONE / 2) < 0.02
    angle = np.sort(np.arctan2(centres[on, 1], centres[on, 0]))
    steps = np.diff(np.append(angle, angle[0] + 2 * math.pi))
    assert on.sum() >= 0.97 * 2 * math.pi * (12 - STONE / PITCH / 2)
    assert steps.max() < 1.05 * steps.min()


@pytest.mark.parametrize(("stem", "foot"), [(4.01, 4.01), (5.02, 4.03), (7.02, 6.03)])
def test_rows_turn_round_a_notch(stem, foot):
    """An L of whole pitches takes as many stones as its grid has places."""
    upright = shapely.box(0, 0, stem * PITCH + STONE, 16.1 * PITCH + STONE)
    flat = shapely.box(0, 0, 14.1 * PITCH + STONE, foot * PITCH + STONE)
    across, down = int(stem) + 1, int(foot) + 1
    assert len(lay(shapely.union(upright, flat))) == across * 17 + down * (15 - across)


def regular(sides: int, side: float, turned: float = 0.0) -> shapely.Geometry:
    """Return a regular polygon whose inset by half a stone has sides of ``side`` pitches."""
    angle = np.arange(sides) * 2 * math.pi / sides
    radius = side * PITCH / (2 * math.sin(math.pi / sides))
    radius += STONE / 2 / math.cos(math.pi / sides)
    points = np.column_stack((np.sin(angle), -np.cos(angle))) * radius
    return affinity.rotate(shapely.Polygon(points), turned, origin=(0, 0))


@pytest.mark.parametrize("turned", [0, 11, 45])
@pytest.mark.parametrize("rows", [4, 7, 12])
def test_squares_get_rows_and_columns(turned, rows):
    centres = lay(regular(4, rows - 0.9, turned))
    assert len(centres) == rows * rows


@pytest.mark.parametrize("turned", [0, 8, 30])
@pytest.mark.parametrize("row", [5, 6, 7, 15])
def test_triangles_and_hexagons_get_the_densest_lattice(turned, row):
    """Oler (1961): no more than the n-th triangular number of points a unit apart lie in an
    equilateral triangle of side n - 1, nor in a hexagon of side n - 1 more than the n-th centred
    hexagonal number (3 n (n - 1) + 1)."""
    assert len(lay(regular(3, row - 1 + 1e-4, turned))) == row * (row + 1) // 2
    if row < 10:
        assert len(lay(regular(6, row - 1 + 1e-4, turned))) == 3 * row * (row - 1) + 1


def test_a_star_has_five_arms_alike():
    angle = np.arange(10) * math.pi / 5
    radius = np.where(np.arange(10) % 2 == 0, 42.0, 18.2)
    star = shapely.Polygon(np.column_stack((np.sin(angle), -np.cos(angle))) * radius[:, None])
    centres = lay(star)
    assert_sound(star, centres)
    c, s = math.cos(2 * math.pi / 5), math.sin(2 * math.pi / 5)
    turned = centres @ np.array([[c, s], [-s, c]])
    assert KDTree(centres).query(turned)[0].max() < 1e-6
