"""The graded pattern: sizes kept apart by their own pitches, smaller ones where they help."""

import dataclasses
import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from paths import DATA
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from stonelayout.geometry.frames import Frame
from stonelayout.geometry.mirrors import NONE
from stonelayout.laying.common.ask import Ask, Laid, Obstacles, Spec
from stonelayout.laying.common.part_fill import Part
from stonelayout.laying.lay import lay
from stonelayout.laying.packing.disc_packer import Packer
from stonelayout.laying.packing.even import lay_even
from stonelayout.laying.packing.graded import EFFORTS, GradedEffort, lay_graded, sparse_sizes
from stonelayout.laying.packing.mix_search import Grower
from stonelayout.laying.packing.mix_value import to_smaller
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import Trial, relax
from stonelayout.laying.solvers.room_distance import Walls
from stonelayout.model.artwork import Artwork, area_shape
from stonelayout.model.catalogue import DEFAULT_SHEET, load_catalogue
from stonelayout.model.job import Pick, Rule

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


def bold(letter, size=100.0):
    """Return a letter of tests/data/bold_letters.json, ``size`` mm an em."""
    glyphs = json.loads((DATA / "bold_letters.json").read_text())
    region = Polygon()
    for ring in glyphs["glyphs"][letter]:
        region = region.symmetric_difference(Polygon(np.array(ring) * (size / 2048)))
    return region


def three(diameter, gap=0.0):
    return tuple(Spec(diameter * share, diameter * share + gap) for share in (1, 0.75, 0.5))


# Cover of 3 touching sizes 1, 3/4, 1/2 on an em of 100 mm: the project's own goal, no source.
@pytest.mark.parametrize(("letter", "diameter"), [("B", 6), ("S", 5), ("A", 5), ("&", 4)])
def test_bold_letters_are_covered_to_77_percent(letter, diameter):
    region, sizes = bold(letter), three(diameter)
    laid = lay_graded(Ask(region, (), sizes, {"quality": "good"}))
    assert certify(region, sizes, laid) >= 0.77
    counts = np.bincount(laid.size, minlength=3)
    assert counts[1] > 0
    assert counts[0] > 4 * counts[1:].sum()  # the largest size makes the picture
    small = laid.size > 0
    apart = pairwise_distances(laid.centres[small])
    own = np.array([spec.pitch for spec in sizes])[laid.size[small]]
    beside = apart < 1.3 * (own[:, None] + own) / 2
    assert beside.any(axis=1).mean() >= 0.4  # smaller stones keep company


def pairwise_distances(centres):
    away = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    np.fill_diagonal(away, math.inf)
    return away


def test_own_letter_is_covered_better_than_by_one_size_and_smaller_stones_stand_at_the_edge():
    sizes = three(5.0, 0.4)
    laid = lay_graded(Ask(LETTER, (), sizes, {}))
    one = lay_even(Ask(LETTER, (), sizes[:1], {}))
    alone = len(one.centres) * math.pi / 4 * 25 / LETTER.area
    assert certify(LETTER, sizes, laid) > alone + 0.01
    depth = shapely.distance(LETTER.boundary, shapely.points(laid.centres))
    smaller = laid.size > 0
    own = np.array([spec.diameter for spec in sizes])[laid.size] / 2
    assert (depth[smaller] - own[smaller] < 0.35 * 5.4).mean() > 0.7


def test_best_covers_no_less_than_good(monkeypatch):
    region, sizes = box(0, 0, 23.3, 17.9).difference(box(15, 11, 24, 18)), three(4.0, 0.4)
    good = lay_graded(Ask(region, (), sizes, {"quality": "good"}))
    monkeypatch.setitem(
        EFFORTS, "best", GradedEffort((), 0, 1, 0, 0, 0, 1)
    )  # a look that finds little
    best = lay_graded(Ask(region, (), sizes, {"quality": "best"}))
    assert certify(region, sizes, best) >= certify(region, sizes, good)


HOLED = box(0, 0, 34, 26).difference(Point(12, 13).buffer(6))


@pytest.mark.parametrize(
    "diameters", [(4.0, 2.5), (4.0, 3.3, 2.6, 2.0), (4.0, 3.9, 3.8)], ids=["two", "four", "alike"]
)
@pytest.mark.parametrize("edge_row", [False, True])
def test_sizes_of_all_kinds_are_certified_in_a_shape_with_a_hole(diameters, edge_row):
    sizes = tuple(Spec(d, d + 0.4) for d in diameters)
    options = {"edge_row": edge_row, "margin": 0.2}
    laid = lay_graded(Ask(HOLED, (), sizes, options))
    cover = certify(HOLED, sizes, laid, 0.2)
    one = lay_even(Ask(HOLED, (), sizes[:1], options))
    assert cover > (len(one.centres) - 1e-6) * math.pi / 4 * 16 / HOLED.area
    assert (laid.size == 0).mean() > 0.5
    for k, spec in enumerate(sizes):  # no place is left for another stone of any size
        pitches = np.array([s.pitch for s in sizes])[laid.size]
        room = HOLED.buffer(-spec.diameter / 2 - 0.2 - 1e-3, quad_segs=64)
        reach = (pitches + spec.pitch) / 2 + 1e-3
        taken = shapely.union_all(shapely.buffer(shapely.points(laid.centres), reach, quad_segs=64))
        left = room.difference(taken)
        # what is left beside a mirror is narrower than a stone with its image
        assert all(max(abs(p.centroid.y - 13), 0) < spec.pitch / 2 for p in polygons_of(left)), k


def polygons_of(shape):
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 0]


def test_edge_row_of_the_largest_size_comes_first():
    sizes = three(4.0, 0.4)
    room = box(0, 0, 41.6, 28.4)  # 9 and 6 pitches of 4.4 mm between the corner stones
    laid = lay_graded(Ask(room, (), sizes, {"edge_row": True}))
    certify(room, sizes, laid)
    depth = shapely.distance(room.boundary, shapely.points(laid.centres[laid.size == 0]))
    assert (depth < 2 + 1e-3).sum() >= 2 * (8 + 5)


def same(first, second):
    """Tell whether two layouts have the same stones of each size, to a micrometre."""
    if not np.array_equal(np.bincount(first.size), np.bincount(second.size)):
        return False
    for k in np.unique(first.size):
        a, b = first.centres[first.size == k], second.centres[second.size == k]
        away = np.hypot(*(a[:, None] - b[None]).transpose(2, 0, 1))
        if away.min(axis=1).max() > 1e-3 or away.min(axis=0).max() > 1e-3:
            return False
    return True


BLOB = Polygon([(0, 0), (31, 3), (36, 17), (20, 25), (13, 19), (2, 22)])


@pytest.mark.parametrize("matrix", [(0, -1, 1, 0, 0, 0), (-1, 0, 0, 1, 0, 0), (1, 0, 0, 1, 77, -5)])
def test_moved_turned_and_mirrored_shapes_get_the_same_fill(matrix):
    sizes = three(4.0, 0.4)
    laid = lay_graded(Ask(BLOB, (), sizes, {}))
    other = lay_graded(Ask(affinity.affine_transform(BLOB, matrix), (), sizes, {}))
    certify(BLOB, sizes, laid)
    turn, move = np.array(matrix[:4]).reshape(2, 2), np.array(matrix[4:])
    assert same(Laid(laid.centres @ turn.T + move, laid.size), other)


def star(tips, outer=26.0, inner=12.0):
    turn = np.arange(2 * tips) * math.pi / tips
    radius = np.where(np.arange(2 * tips) % 2, inner, outer)
    return Polygon(np.stack((np.sin(turn), -np.cos(turn)), axis=1) * radius[:, None])


@pytest.mark.parametrize("quality", ["draft", "good"])
@pytest.mark.parametrize(
    ("region", "flips"),
    [
        (star(5), [[-1, 1]]),
        (shapely.union_all([box(-15, -20, -5, 20), box(5, -20, 15, 20), box(-6, -4, 6, 4)]), None),
    ],
    ids=["star", "H"],
)
def test_symmetric_shapes_get_symmetric_fills(region, flips, quality):
    sizes = three(4.0, 0.4)
    laid = lay_graded(Ask(region, (), sizes, {"quality": quality}))
    certify(region, sizes, laid)
    for flip in flips or [[-1, 1], [1, -1]]:
        assert same(laid, Laid(laid.centres * flip, laid.size))


def test_star_of_five_arms_has_the_same_stones_in_each():
    turn = 2 * math.pi / 5
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    region = star(5, 30.0, 13.0)
    laid = lay_graded(Ask(region, (), (Spec(3.9, 4.3), Spec(2.4, 2.8)), {}))
    assert set(laid.size) == {0, 1}
    assert same(laid, Laid(laid.centres @ matrix.T, laid.size))


def test_the_same_again_gives_the_same_bytes():
    from stonelayout.laying.packing.graded import fill_graded

    frame = Frame(np.zeros(2), np.eye(2))
    sizes = three(4.0, 0.4)
    rooms = tuple(shapely.buffer(BLOB, -spec.diameter / 2) for spec in sizes)
    table = np.empty((0, 2))
    part = Part(BLOB, sizes, rooms, table, np.empty((0, 3)), (False, False), frame, {})
    # with a far obstacle: past the memory of like parts
    again = dataclasses.replace(part, obstacles=np.array([[1e6, 1e6]]), distance=np.ones((1, 3)))
    first, second = fill_graded(part), fill_graded(again)
    assert first[0].tobytes() == second[0].tobytes()
    assert first[1].tobytes() == second[1].tobytes()


def test_pocket_between_three_touching_stones_is_that_of_descartes():
    # Descartes' circle theorem (1643; F. Soddy, "The Kiss Precise", Nature 137, 1936): curvatures
    # of four mutually tangent circles satisfy (sum k)^2 = 2 sum k^2
    radii = np.array([3.0, 2.0, 1.5])
    k = 1 / radii
    inner = 1 / (k.sum() + 2 * math.sqrt(k[0] * k[1] + k[1] * k[2] + k[2] * k[0]))
    a, b, c = radii[[0, 0, 1]] + radii[[1, 2, 2]]
    x = (a**2 + b**2 - c**2) / (2 * a)
    stands = np.array([[0.0, 0.0], [a, 0.0], [x, math.sqrt(b**2 - x**2)]])
    for share, count in ((0.98, 1), (1.001, 0)):
        sizes = (Spec(9.0, 9.0), Spec(2 * inner * share, 2 * inner * share))
        keep = radii[:, None] + np.array([[4.5, inner * share]])
        laid = lay_graded(Ask(Polygon(stands), (), sizes, {}, Obstacles(stands, keep)))
        assert laid.size.tolist() == [1] * count
        away = np.hypot(*(stands - laid.centres[:1]).T) - radii if count else inner
        assert np.abs(away - inner).max() < 0.04 * inner


def test_nine_discs_in_a_square_leave_room_for_those_of_the_compact_packing():
    # nine equal discs fill a square of side 6 r as a 3 x 3 grid (best possible: J. Schaer, "The
    # densest packing of 9 circles in a square", Canad. Math. Bull. 8, 1965); between four discs of
    # a square grid one of sqrt(2) - 1 touches all (T. Kennedy, "Compact packings of the plane with
    # two sizes of discs", Discrete Comput. Geom. 35, 2006): none larger fits
    large = 4.0 * (1 - 0.003)
    apart = (12 - large) / 2
    largest = apart * math.sqrt(2) - large
    assert largest == pytest.approx(large * (math.sqrt(2) - 1), rel=0.02)
    grid = np.array([[x, y] for x in (-1, 0, 1) for y in (-1, 0, 1) if x or y]) * apart + 6
    for share, count in ((0.99, 4), (1.01, 0)):
        square, sizes = box(0, 0, 12, 12), (Spec(large, large), Spec(*[largest * share] * 2))
        keep = np.array([[large, (large + largest * share) / 2]] * 8)
        laid = lay_graded(Ask(square, (), sizes, {}, Obstacles(grid, keep)))
        certify(square, sizes, laid)
        assert np.bincount(laid.size, minlength=2).tolist() == [1, count]
        middle = np.abs(laid.centres[laid.size == 1] - 6)
        assert (np.abs(middle - apart / 2) < 0.02).all()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_relaxed_discs_of_unlike_sizes_keep_the_mean_of_their_pitches(seed):
    rng = np.random.default_rng(seed)
    square, pitches = box(0, 0, 12, 12), np.array([4.0, 3.0, 2.0])
    walls = Walls([square.buffer(-p / 2, join_style="mitre") for p in pitches], pitches)
    size = rng.integers(0, 3, 9).astype(np.intp)
    start = rng.uniform(2, 10, (9, 2))
    free = np.ones(9, dtype=np.bool_)
    found, rest = relax([Trial(start, free, NONE, size=size)], walls, 400)[0]
    own = pitches[size]
    away = np.hypot(*(found[:, None] - found[None]).transpose(2, 0, 1)) + 99 * np.eye(9)
    short = np.maximum((own[:, None] + own) / 2 - away, 0).max()
    out = np.maximum(own[:, None] / 2 - np.minimum(found, 12 - found), 0).max()
    assert (max(short, out) < 1e-9) == (rest == 0)


def packer_of(square, sizes):
    rooms = [square.buffer(-s.diameter / 2, join_style="mitre") for s in sizes]
    return Packer(rooms, [s.pitch for s in sizes])


def grower_of(square, sizes):
    return Grower(packer_of(square, sizes), np.array([s.diameter for s in sizes]), 300, 1)


def test_way_to_the_next_smaller_disc_is_told_for_discs_of_all_sizes():
    packer = packer_of(box(-9, -4, 9, 4), (Spec(4.0, 4.0), Spec(3.0, 3.0)))
    row = np.array([[-6.0, 0.0], [-2.0, 0.0], [2.0, 0.0], [6.0, 0.0]])
    away = to_smaller(packer, Mix(row, np.array([0, 1, 0, 1])))
    assert away == pytest.approx([4.0, 8.0, 4.0, 8.0])
    assert np.isinf(to_smaller(packer, Mix.of(row))).all()


def test_vacancy_at_the_edge_takes_a_disc_when_its_neighbours_can_move():
    sizes = (Spec(4.0, 4.0), Spec(2.6, 2.6))
    tight = Mix.of(np.array([[-3.05, 0.0], [3.05, 0.0]]))
    for half, count in ((5.4, 3), (5.05, 2)):
        mix, done = grower_of(box(-half, -2.1, half, 2.1), sizes).sweep(tight)
        assert len(mix.size) == count == 2 + done
        away = pairwise_distances(mix.centres)
        own = np.array([4.0, 2.6])[mix.size]
        assert (away >= (own[:, None] + own) / 2 - 1e-9).all()


def test_no_room_is_made_for_a_smaller_disc_inside():
    # between four discs of 4 mm there is room for one of 1.66 mm; they could move aside for 2.6
    corners = np.array([[-2.0, -2.0], [2.0, -2.0], [-2.0, 2.0], [2.0, 2.0]])
    tight = Mix.of(corners)
    for diameter, count in ((2.6, 4), (1.6, 5)):
        sizes = (Spec(4.0, 4.0), Spec(diameter, diameter))
        mix, _ = grower_of(box(-4.4, -4.4, 4.4, 4.4), sizes).sweep(tight)
        assert len(mix.size) == count


def test_smaller_disc_inside_trades_places_with_a_larger_one_at_the_edge():
    sizes = (Spec(4.0, 4.0), Spec(3.0, 3.0))
    grid = np.array([[x, y] for x in (-4.05, 0, 4.05) for y in (-4.05, 0, 4.05)])
    inside = Mix(grid, (np.arange(9) == 4).astype(np.intp))
    mix, done = grower_of(box(-6.05, -6.05, 6.05, 6.05), sizes).trade(inside)
    assert done == 1
    assert mix.size[4] == 0
    assert mix.size.sum() == 1
    assert np.abs(mix.centres[mix.size == 1]).max() > 4
    away = pairwise_distances(mix.centres)
    own = np.array([4.0, 3.0])[mix.size]
    assert (away >= (own[:, None] + own) / 2 - 1e-9).all()


def test_disc_grows_by_one_size_where_its_neighbours_let_it():
    sizes = (Spec(4.0, 4.0), Spec(3.0, 3.0))
    mix = Mix(np.array([[-1.2, 0.0], [2.3, 0.0]]), np.array([0, 1]))
    grown, done = grower_of(box(-4.2, -2.1, 4.2, 2.1), sizes).sweep(mix)
    assert done == 1
    assert grown.size.tolist() == [0, 0]
    assert np.hypot(*(grown.centres[0] - grown.centres[1])) >= 4.0


def laid_of(*sizes):
    return Laid(np.arange(2.0 * len(sizes)).reshape(-1, 2), np.array(sizes, dtype=np.intp))


DIAMETERS = [spec.diameter for spec in SIZES]


def test_sizes_with_few_stones_are_left_out_least_cover_first():
    shapes = [laid_of(*[0] * 30, 1, 2, 2), laid_of(*[0] * 30, *[2] * 6, 1)]
    assert sparse_sizes(shapes, DIAMETERS, 5) == [(1, 2)]
    assert sparse_sizes(shapes, DIAMETERS, 20) == [(1, 2), (2, 8)]  # 2 x 3.75^2 < 8 x 2.5^2
    assert sparse_sizes(shapes, DIAMETERS, 1) == []
    assert sparse_sizes(shapes, DIAMETERS, 20, cut_anyway=[1, 2]) == []


def test_size_that_a_shape_lives_on_stays():
    shapes = [laid_of(*[0] * 30), laid_of(1, 1, 2)]
    assert sparse_sizes(shapes, DIAMETERS, 10) == []
    assert sparse_sizes([laid_of(1, 1)], DIAMETERS, 10) == []


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


def test_layout_without_a_size_is_laid_as_if_the_size_were_not_listed():
    catalogue = load_catalogue()
    names = ("ss16", "ss12", "ss8")
    region = shapely.union_all(
        [box(0, 0, 30, 30), box(30, 13.2, 38, 16.8), box(38, 13.7, 54, 16.3)]
    )
    art = Artwork((area_shape("key", region),), (54.0, 30.0))

    def layout_of(*names, fewest):
        stones = tuple(catalogue.stone(name) for name in names)
        options = {"quality": "draft", "symmetric": True, "margin": 0.0, "fewest": fewest}
        pitches = tuple(stone.diameter + 0.4 for stone in stones)
        rule = Rule(Pick(all=True), stones, pitches, "crystal", "graded", options, "k", "p")
        return lay(art, [rule], catalogue.sheet(DEFAULT_SHEET))

    everything = layout_of(*names, fewest=1)
    count = {
        kind.size: int((everything.kind == k).sum()) for k, kind in enumerate(everything.kinds)
    }
    assert 0 < count["ss12"] < 5 <= count["ss8"]
    less = layout_of(*names, fewest=5)
    assert np.array_equal(less.centres, layout_of("ss16", "ss8", fewest=1).centres)
    assert [f.message for f in less.findings if f.code == "size-left-out"] == [
        f"k does without ss12, which would have had only {count['ss12']} "
        f"stone{'s' if count['ss12'] > 1 else ''}; fewest = 1 uses every size"
    ]


def test_a_size_that_finds_no_place_is_named():
    catalogue = load_catalogue()
    stones = tuple(catalogue.stone(name) for name in ("ss16", "ss12"))
    pitches = tuple(stone.diameter + 0.4 for stone in stones)
    wide = 3 * pitches[0] + stones[0].diameter
    art = Artwork((area_shape("bar", box(0, 0, wide, stones[0].diameter + 0.01)),), (wide, 5.0))
    options = {"quality": "draft", "symmetric": True, "margin": 0.0, "fewest": 10}
    rule = Rule(Pick(all=True), stones, pitches, "crystal", "graded", options, "lay[1]", "job")
    layout = lay(art, [rule], catalogue.sheet(DEFAULT_SHEET))
    assert {layout.kinds[k].size for k in layout.kind} == {"ss16"}
    assert [f.message for f in layout.findings if f.code == "size-not-used"] == [
        "lay[1] uses no ss12: no place was left that it would fill better than the other sizes"
    ]


def test_room_without_corners_beside_one_with_corners_has_none_that_is_nearest():
    walls = Walls([box(0, 0, 9, 9), Point(4.5, 4.5).buffer(4, 64)], np.array([2.0, 1.0]))
    points = np.array([[0.5, 0.25], [0.5, 0.25]])
    away, which = walls.nearest_corner(points, np.array([0, 1]))
    assert away[0] == pytest.approx(math.hypot(0.5, 0.25), abs=1e-3)
    assert away[1] == np.inf
    assert len(walls.corners[which]) == 2
