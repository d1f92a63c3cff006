"""Shapes that touch: stones keep their distance, borders are straight, order is no matter."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon, box

from stonelayout.geometry.fill_measures import largest_empty
from stonelayout.geometry.neighbours import crossing_pairs
from stonelayout.laying.lay import lay
from stonelayout.laying.shared_borders import BorderedRegion, EdgeStone, inset_shared_borders
from stonelayout.model.artwork import Artwork, area_shape
from stonelayout.model.catalogue import DEFAULT_SHEET, load_catalogue
from stonelayout.model.job import Pick, Rule
from stonelayout.model.pattern_options import PATTERNS

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet(DEFAULT_SHEET)
GAP = 0.5


def laid(regions, pattern="courses", sizes=None, order=None, **options):
    """Lay each region in a colour of its own, in the order given; returns centres by region."""
    order = range(len(regions)) if order is None else order
    sizes = sizes or ["ss10"] * len(regions)
    rules = []
    for k in order:
        stone = CATALOGUE.stone(sizes[k])
        given = PATTERNS[pattern].defaults() | options
        pitch = stone.diameter + GAP
        rules.append(
            Rule(Pick(id=f"s{k}"), (stone,), (pitch,), f"colour {k}", pattern, given, "k", "p")
        )
    shapes = tuple(area_shape(f"s{k}", region) for k, region in enumerate(regions))
    layout = lay(Artwork(shapes, (200.0, 200.0)), rules, SHEET)
    source = np.array(layout.source)
    return [layout.centres[source == f"s{k}"] for k in range(len(regions))]


def sides(regions, sizes):
    found = []
    for k, (region, size) in enumerate(zip(regions, sizes, strict=True)):
        diameter = CATALOGUE.stone(size).diameter
        found.append(BorderedRegion(region, (EdgeStone((diameter + GAP) / 2, diameter / 2),), k))
    return found


def pitch_of(first="ss10", second="ss10"):
    return (CATALOGUE.stone(first).diameter + CATALOGUE.stone(second).diameter) / 2 + GAP


def same(first, second, within=1e-6):
    """Tell whether two sets of places are the same but for ``within`` mm."""
    if len(first) != len(second):
        return False
    return not len(first) or len(crossing_pairs(first, second, within)[0]) == len(first)


P = pitch_of()
CURVE = np.column_stack((x := np.linspace(0, 44, 60), 16 + 4 * np.sin(x / 7)))
ARTS = {
    "stripes": [box(0, 14 * k, 60, 14 * k + 14) for k in range(3)],
    "wave": [
        Polygon([*CURVE, (44, 0), (0, 0)]),
        Polygon([*CURVE, (44, 32), (0, 32)]),
    ],
    "quarters": [box(13 * i, 13 * j, 13 * i + 13, 13 * j + 13) for i in (0, 1) for j in (0, 1)],
    "bar on legs": [box(0, 0, 60, 20), box(15, 20, 35, 40), box(40, 20, 60, 40)],
    "ring": [
        shapely.Point(0, 0).buffer(25, 64) - shapely.Point(0, 0).buffer(14, 64),
        shapely.Point(0, 0).buffer(14, 64),
    ],
    "hairline": [box(0, 0, 20, 20), box(20.2, 0, 40, 20)],
}


@pytest.mark.parametrize("art", ARTS)
@pytest.mark.parametrize(("pattern", "edge_row"), [("courses", None), ("lattice", True)])
def test_seam_is_as_tight_as_the_inside_whatever_the_order(art, pattern, edge_row):
    regions = ARTS[art]
    options = {} if edge_row is None else {"edge_row": edge_row}
    found = laid(regions, pattern, **options)
    order = list(range(len(regions)))[::-1]
    for first, second in zip(found, laid(regions, pattern, order=order, **options), strict=True):
        assert same(first, second)
    union = shapely.union_all([region.buffer(0.11) for region in regions]).buffer(-0.11)
    for i in range(len(regions)):
        for j in range(i):
            _, lengths = crossing_pairs(found[i], found[j], 1.5 * P)
            border = shapely.intersection(regions[i].buffer(0.25), regions[j].buffer(0.25))
            if border.length / 2 < 2 * P:
                continue
            assert lengths.min() >= P * (1 - 1e-9)
            assert len(lengths) >= border.length / 2 / P - 2  # no row stands further off
    # no empty place of two rows along a border
    seams = union - shapely.union_all([region.buffer(-P) for region in regions])
    inside = seams.intersection(union.buffer(-P))
    assert largest_empty(inside, np.concatenate(found)) < 1.0 * P


def test_first_rows_are_flush_with_a_straight_seam_half_a_pitch_away():
    for found, ends in zip(laid(ARTS["stripes"]), ((14,), (14, 28), (28,)), strict=True):
        for end in ends:
            rows = np.abs(found[:, 1] - end)
            assert rows.min() == pytest.approx(P / 2, abs=1e-6)
            assert (np.abs(rows - P / 2) < 1e-6).sum() == 18


def test_like_stripes_get_like_fills_and_the_flag_is_symmetric():
    top, middle, bottom = laid(ARTS["stripes"])
    assert same(top, [0, 42] + bottom * [1, -1])
    assert same(middle, [0, 42] + middle * [1, -1])


def test_halves_of_a_symmetric_drawing_mirror_each_other():
    half = Polygon([(0, 0), (9, -9), (20, -5), (22, 6), (12, 22), (0, 34)])
    left, right = laid([half, affinity.scale(half, -1, 1, origin=(0, 0))])
    assert len(left) > 20
    assert same(left, right * [-1, 1], 0.02)  # arcs about the border's end are chords


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 0, 2), (2, 1, 0)])
@pytest.mark.parametrize("width", [2.8, 3.0, 2 * P, 1.95 * P])
def test_thin_stripe_keeps_its_rows_and_its_neighbours_make_room(width, order):
    diameter = P - GAP
    width = max(width, diameter)
    regions = [box(0, 0, 60, 15), box(0, 15, 60, 15 + width), box(0, 15 + width, 60, 30 + width)]
    found = laid(regions, order=order)
    assert len(found[1]) == (36 if width > P else 18)
    for field in (found[0], found[2]):
        assert len(field) == 72
        _, lengths = crossing_pairs(found[1], field, 1.2 * P)
        assert lengths.min() >= P * (1 - 1e-9)
        assert lengths.min() <= 1.04 * P


def test_side_that_goes_on_beyond_a_seam_keeps_its_row_straight():
    bar, *legs = laid(ARTS["bar on legs"])
    assert same(bar, laid([ARTS["bar on legs"][0]])[0])
    assert all(len(leg) == 36 for leg in legs)


def test_unlike_sizes_keep_the_mean_of_their_pitches():
    sizes = ["ss6", "ss10", "ss16"]
    found = laid([box(0, 0, 18, 40), box(18, 0, 40, 40), box(40, 0, 66, 40)], sizes=sizes)
    for k in (0, 1):
        asked = pitch_of(sizes[k], sizes[k + 1])
        _, lengths = crossing_pairs(found[k], found[k + 1], 1.3 * asked)
        assert asked * (1 - 1e-9) <= lengths.min() <= 1.02 * asked


def test_later_of_two_that_overlap_loses_what_they_share():
    square, disc = box(0, 0, 40, 32), shapely.Point(40, 16).buffer(13, 64)
    lower, upper = laid([square, disc], order=(1, 0))
    assert same(upper, laid([disc])[0])
    assert shapely.distance(disc, shapely.points(lower)).min() >= P / 2
    assert same(lower * [1, -1] + [0, 32], lower)


def test_region_that_an_earlier_one_covers_is_told_so():
    stone = CATALOGUE.stone("ss10")
    shapes = (area_shape("a", box(0, 0, 30, 30)), area_shape("b", box(5, 5, 20, 20)))
    options = PATTERNS["courses"].defaults()
    rules = [Rule(Pick(id=k), (stone,), (P,), k, "courses", options, k, "p") for k in "ab"]
    layout = lay(Artwork(shapes, (40.0, 40.0)), rules, SHEET)
    (finding,) = [f for f in layout.findings if f.code == "shape-without-stones"]
    assert "the stones of a stand there" in finding.message


def test_shapes_that_stand_apart_are_left_alone():
    regions = [box(0, 0, 10, 10), box(10.6, 0, 20, 10), shapely.Point(40, 40).buffer(5)]
    given = sides(regions, ["ss10"] * 3)
    for side, region in zip(given, inset_shared_borders(given), strict=True):
        assert region.equals(side.region)


def test_regions_of_one_owner_have_no_shared_border():
    whole = [BorderedRegion(box(0, 0, 10, 10), (EdgeStone(1.65, 1.4),), "a")] * 2
    assert all(region.equals(box(0, 0, 10, 10)) for region in inset_shared_borders(whole))


@settings(max_examples=8, deadline=None)
@given(
    turn=st.floats(0, 180),
    cut=st.floats(-4, 4),
    gap=st.sampled_from([0.0, 0.001, 0.05, 0.2, 0.45]),
    sizes=st.tuples(*[st.sampled_from(["ss6", "ss10", "ss16"])] * 2),
    lifted=st.floats(0, 3),
)
def test_stones_keep_their_distance_across_any_border(turn, cut, gap, sizes, lifted):
    """Two parts of a square parted by a bent cut; in any order; moved and turned, the same."""
    square = box(-11, -11, 11, 11)
    knife = [(-40, -60), (-40, cut), (0, cut + lifted), (40, cut), (40, -60)]
    below = affinity.rotate(Polygon(knife), turn, origin=(0, 0))
    regions = [square & below, square - below.buffer(gap, join_style="mitre")]
    found = laid(regions, sizes=list(sizes))
    asked = pitch_of(*sizes)
    assert not len(crossing_pairs(*found, asked * (1 - 1e-8))[0])
    for k in (0, 1):
        depth = shapely.distance(regions[k].boundary, shapely.points(found[k]))
        assert shapely.contains_xy(regions[k], found[k]).all()
        assert depth.min() >= CATALOGUE.stone(sizes[k]).diameter / 2 - 1e-6
    for one, other in zip(found, laid(regions, sizes=list(sizes), order=(1, 0)), strict=True):
        assert same(one, other)
    turned = [affinity.affine_transform(region, (0, -1, 1, 0, 64, 32)) for region in regions]
    shared = inset_shared_borders(sides(regions, sizes))
    for one, other in zip(shared, inset_shared_borders(sides(turned, sizes)), strict=True):
        moved = affinity.affine_transform(one, (0, -1, 1, 0, 64, 32))
        assert shapely.symmetric_difference(moved, other).area <= 1e-6
