"""The graded pattern: sizes kept apart by their own pitches, smaller ones where they help."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon, box

from stonelayout.artwork import Artwork, area_shape
from stonelayout.catalogue import DEFAULT_SHEET, load_catalogue
from stonelayout.job import Pick, Rule
from stonelayout.lay import lay
from stonelayout.patterns.base import Ask, Laid, Obstacles, Spec
from stonelayout.patterns.earned import earned
from stonelayout.patterns.even import lay_even
from stonelayout.patterns.graded import lay_graded

LETTER = Polygon(
    [(0, 0), (40, 0), (40, 13), (14, 13), (14, 22), (34, 22), (34, 35), (14, 35), (14, 52), (0, 52)]
)
SIZES = (Spec(5.0, 5.0), Spec(3.75, 3.75), Spec(2.5, 2.5))


def certify(region, sizes, laid, margin=0.0):
    diameters = np.array([s.diameter for s in sizes])[laid.size]
    pitches = np.array([s.pitch for s in sizes])[laid.size]
    depth = shapely.distance(region.boundary, shapely.points(laid.centres))
    assert (depth >= diameters / 2 + margin - 1e-9).all()
    assert shapely.contains_xy(region, laid.centres).all()
    away = np.hypot(*(laid.centres[:, None] - laid.centres[None]).transpose(2, 0, 1))
    np.fill_diagonal(away, math.inf)
    assert (away >= (pitches[:, None] + pitches[None]) / 2 * (1 - 1e-9)).all()
    return float((math.pi / 4 * diameters**2).sum() / region.area)


def test_three_sizes_are_certified_and_cover_more_than_one():
    laid = lay_graded(Ask(LETTER, (), SIZES, {"quality": "draft"}))
    cover = certify(LETTER, SIZES, laid)
    one = lay_even(Ask(LETTER, (), SIZES[:1], {"quality": "draft"}))
    assert cover > len(one.centres) * math.pi / 4 * 25 / LETTER.area
    counts = np.bincount(laid.size, minlength=3)
    assert counts[0] == len(one.centres)  # the largest size is laid as if it were alone
    assert counts[1:].sum() >= 3


def test_no_place_is_left_for_another_stone_of_any_size():
    laid = lay_graded(Ask(LETTER, (), SIZES, {"quality": "draft"}))
    pitches = np.array([s.pitch for s in SIZES])
    for spec in SIZES:
        room = LETTER.buffer(-spec.diameter / 2 - 1e-3, quad_segs=64)
        reach = (pitches[laid.size] + spec.pitch) / 2 + 1e-3
        taken = shapely.union_all(shapely.buffer(shapely.points(laid.centres), reach, quad_segs=64))
        assert room.difference(taken).is_empty


def test_narrow_part_takes_the_size_that_fits():
    # a keyhole: a wide head for the large size, a slot that only the small size enters
    shape = shapely.union_all([box(0, 0, 24, 24), box(24, 10.5, 60, 13.5)])
    laid = lay_graded(Ask(shape, (), SIZES, {"quality": "draft"}))
    certify(shape, SIZES, laid)
    in_slot = laid.centres[:, 0] > 26
    assert set(laid.size[in_slot]) == {2}
    assert in_slot.sum() >= 12  # 34 mm of slot at 2.5 mm pitch


def test_sizes_are_laid_largest_first_whatever_their_order():
    turned = tuple(reversed(SIZES))
    laid = lay_graded(Ask(LETTER, (), SIZES, {"quality": "draft"}))
    other = lay_graded(Ask(LETTER, (), turned, {"quality": "draft"}))
    assert np.array_equal(laid.centres, other.centres)
    assert np.array_equal(laid.size, 2 - other.size)


@pytest.mark.parametrize("margin", [0.0, 0.6])
def test_margin_and_obstacles_are_kept_for_every_size(margin):
    stands = np.array([[20.0, 6.0], [7.0, 40.0]])
    keep = np.array([[5.2, 4.5, 3.9]] * 2)
    options = {"quality": "draft", "margin": margin}
    laid = lay_graded(Ask(LETTER, (), SIZES, options, Obstacles(stands, keep)))
    certify(LETTER, SIZES, laid, margin)
    away = np.hypot(*(laid.centres[:, None] - stands[None]).transpose(2, 0, 1))
    assert (away >= keep[0][laid.size][:, None] * (1 - 1e-9)).all()


def laid_of(*sizes):
    return Laid(np.arange(2.0 * len(sizes)).reshape(-1, 2), np.array(sizes, dtype=np.intp))


def test_size_with_few_stones_gives_its_places_to_the_next_smaller_that_stays():
    shapes = [laid_of(*[0] * 30, 1, 2, 2), laid_of(*[0] * 30, *[2] * 6, 1)]
    found, gone = earned(shapes, SIZES, 5)
    assert gone == {1: 2}
    assert [np.bincount(one.size, minlength=3).tolist() for one in found] == [
        [30, 0, 3],
        [30, 0, 7],
    ]
    assert np.array_equal(found[0].centres, shapes[0].centres)
    found, gone = earned(shapes, SIZES, 20)
    assert gone == {1: 2, 2: 10}
    assert [len(one.centres) for one in found] == [30, 30]
    assert earned(shapes, SIZES, 1)[1] == {}
    assert earned(shapes, SIZES, 20, cut_anyway=[1, 2])[1] == {}


def test_size_that_a_shape_lives_on_stays():
    shapes = [laid_of(*[0] * 30), laid_of(1, 1, 2)]
    assert earned(shapes, SIZES, 10)[1] == {}
    assert earned([laid_of(1, 1)], SIZES, 10)[1] == {}


@pytest.mark.parametrize(("fewest", "sizes"), [(1, 2), (100, 1)])
def test_layout_of_a_graded_rule_opens_no_template_for_a_few_stones(fewest, sizes):
    catalogue = load_catalogue()
    stones = (catalogue.stone("ss16"), catalogue.stone("ss8"))
    options = {"quality": "draft", "symmetric": True, "margin": 0.0, "fewest": fewest}
    keyhole = shapely.union_all([box(0, 0, 40, 40), box(40, 18.5, 62, 21.5)])
    art = Artwork((area_shape("key", keyhole),), (62.0, 40.0))
    rule = Rule(
        pick=Pick(all=True),
        stones=stones,
        pitches=tuple(stone.diameter + 0.4 for stone in stones),
        colour="crystal",
        pattern="graded",
        options=options,
        key="lay[1]",
        place="job",
    )
    layout = lay(art, [rule], catalogue.sheet(DEFAULT_SHEET))
    assert len(set(layout.kind.tolist())) == sizes
    assert [f.end - f.start for f in layout.fills] == [len(layout)]
    notes = [f for f in layout.findings if f.code == "size-left-out"]
    assert len(notes) == 2 - sizes
    assert all("ss8" in note.message and note.count >= 1 for note in notes)
