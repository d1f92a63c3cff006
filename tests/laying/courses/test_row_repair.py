"""Knots: loose stones make room where rows meet, and rows stay what they are."""

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

from stonelayout.geometry.fill_measures import largest_empty
from stonelayout.geometry.mirrors import NONE, Mirrors
from stonelayout.geometry.neighbours import nearest_distances
from stonelayout.geometry.regions import inset_mitred
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.courses.courses import lay_courses
from stonelayout.laying.courses.gap_fill import fill_remaining
from stonelayout.laying.courses.occupancy import Occupancy
from stonelayout.laying.courses.row_repair import EDGE, GIVE, TURNS, loosen, row_directions

NOTHING = np.empty((0, 2))


def in_rows(centres, along):
    return row_directions(centres, along, 1.0).any(axis=1)


def glyph(name):
    text = (DATA / "glyphs.json").read_text(encoding="utf-8")
    parts = json.loads(text)["glyphs"][name]
    return shapely.union_all([shapely.Polygon(rings[0], rings[1:]) for rings in parts])


def standing_in(room, centres, mirrors=NONE, obstacles=NOTHING, distance=()):
    found = Occupancy(room, 1.0, mirrors, obstacles, np.array(distance))
    found.put(np.asarray(centres, dtype=float))
    return found


def grid(columns, rows, step=1.0):
    i, j = np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij")
    return step * np.column_stack((i.ravel(), j.ravel())).astype(float)


def torn(seed, size=8.0):
    """A square whose outline has its stones, and loose ones strewn over its inside."""
    rng = np.random.default_rng(seed)
    room = shapely.box(0, 0, size, size)
    edge = np.linspace(0, size, round(size) + 1)
    rim = {(x, y) for x in edge for y in edge if {x, y} & {0.0, size}}
    occupancy = standing_in(room, sorted(rim))
    for place in rng.uniform(1, size - 1, (400, 2)):
        occupancy.add(place[None])
    fill_remaining(occupancy)
    return room, occupancy


def test_grids_and_rings_stand_in_rows():
    along = np.tile([1.0, 0.0], (40, 1))
    assert in_rows(grid(8, 5), along).all()
    angle = np.arange(30) * math.tau / 30
    ring = np.column_stack((np.cos(angle), np.sin(angle))) * 30 / math.tau * 1.05
    assert in_rows(np.concatenate((ring, ring * 1.25)), np.tile([1.0, 0.0], (60, 1))).all()


def test_a_short_row_counts_only_along_the_outline():
    # five in line, with strewn stones beside them so that none stands in single file
    line = np.column_stack((np.arange(5.0), np.zeros(5)))
    beside = np.array([[0.4, 1.0], [1.7, 1.05], [2.6, 1.2], [3.8, 0.9], [0.3, -1.1], [3.3, -1.0]])
    beside = np.concatenate((beside, [[1.55, -1.1]]))
    centres = np.concatenate((line, beside))
    straight = in_rows(centres, np.tile([1.0, 0.0], (12, 1)))
    across = in_rows(centres, np.tile([0.0, 1.0], (12, 1)))
    assert straight[:5].all()
    assert not across[1:4].any()


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10_000))
def test_room_is_made_without_touching_the_outline_or_any_distance(seed):
    room, occupancy = torn(seed)
    before = occupancy.centres.copy()
    added = loosen(occupancy)
    after = occupancy.centres
    assert len(after) == len(before) + added
    assert added >= 0
    assert nearest_distances(after).min() >= 1 - 1e-9
    assert shapely.intersects_xy(room, after).all()
    away = np.asarray(KDTree(after).query(before)[0])
    edge = shapely.distance(shapely.points(before), room.boundary) < EDGE
    assert away[edge].max() == 0
    rowed = in_rows(before, np.zeros_like(before))  # whatever the outline nearby
    assert (
        not rowed.any()
        or away[rowed].max() <= np.hypot(GIVE, max(turn.slide for turn in TURNS)) + 1e-9
    )


def test_most_torn_fillings_have_room_for_more():
    added = [loosen(torn(seed)[1]) for seed in range(3)]
    assert sum(count > 0 for count in added) >= 2


def test_what_is_in_rows_stays():
    room = shapely.box(0, 0, 7, 4)
    occupancy = standing_in(room, grid(8, 5))
    assert loosen(occupancy) == 0
    assert np.array_equal(occupancy.centres, grid(8, 5))


def test_room_is_made_alike_on_both_sides_of_an_axis():
    mirrors = Mirrors.at(0.0)
    room = shapely.box(-6, 0, 6, 7)
    occupancy = standing_in(room, NOTHING, mirrors)
    rng = np.random.default_rng(3)
    for place in rng.uniform((-6, 0), (6, 7), (500, 2)):
        occupancy.add(place[None])
    fill_remaining(occupancy)
    assert loosen(occupancy) > 0
    assert mirrors.keep(occupancy.centres)
    assert nearest_distances(occupancy.centres).min() >= 1 - 1e-9


def test_room_is_not_taken_from_obstacles():
    rng = np.random.default_rng(5)
    obstacles = np.array([[3.0, 3.0], [6.0, 4.0]])
    occupancy = standing_in(shapely.box(0, 0, 9, 7), NOTHING, NONE, obstacles, (1.4, 1.1))
    for place in rng.uniform((0, 0), (9, 7), (500, 2)):
        occupancy.add(place[None])
    fill_remaining(occupancy)
    assert loosen(occupancy) > 0
    away = np.hypot(*(occupancy.centres[:, None] - obstacles).transpose(2, 0, 1))
    assert (away >= np.array([1.4, 1.1]) - 1e-9).all()


@pytest.mark.parametrize("name", ["sans K", "sans A", "sans M"])
def test_no_place_is_left_that_the_eye_would_fill(name):
    # 0.97 and 0.98 pitches without loosening
    pitch, stone = 3.3, 2.8
    letter = affinity.scale(glyph(name), 8 * pitch, 8 * pitch, origin=(0, 0))
    centres = lay_courses(Ask(letter, (), (Spec(stone, pitch),), {"margin": 0.0})).centres
    assert largest_empty(inset_mitred(letter, stone / 2), centres) < 0.9 * pitch


@pytest.mark.parametrize("width", [1, 2, 3, 4, 5])
def test_rings_of_a_whole_number_of_pitches_get_all_their_rows(width):
    """The two sides of a ring are polygons, and agree on its width only nearly."""
    pitch, stone = 3.3, 2.8
    outer = 9 * pitch
    ring = shapely.difference(
        shapely.Point(0, 0).buffer(outer, 128),
        shapely.Point(0, 0).buffer(outer - width * pitch - stone, 128),
    )
    centres = lay_courses(Ask(ring, (), (Spec(stone, pitch),), {"margin": 0.0})).centres
    radius = (outer - stone / 2 - np.hypot(*centres.T)) / pitch
    rows = np.bincount(np.round(radius).astype(int), minlength=width + 1)
    assert len(rows) == width + 1
    # each row is nearly full: its circumference in pitches
    full = math.tau * ((outer - stone / 2) / pitch - np.arange(width + 1))
    assert (rows >= 0.85 * full).all()
    assert (np.abs(radius - np.round(radius)) < 0.25).mean() > 0.95
