"""How rules, shapes and obstacles meet; the patterns have tests of their own."""

import importlib
import math

import numpy as np
import pytest
import shapely
from shapely import box

from stonelayout.documents.fill_report import fill_entries
from stonelayout.errors import JobError, LayoutError
from stonelayout.findings import Finding
from stonelayout.geometry.bounds import proved_bound
from stonelayout.geometry.fill_measures import measure_fill
from stonelayout.geometry.neighbours import nearest_distances
from stonelayout.laying.common.ask import Laid, Obstacles
from stonelayout.laying.lay import MAKERS, lay
from stonelayout.laying.layer_distance import least_distance
from stonelayout.laying.picking import matches, pick_shapes
from stonelayout.model.artwork import Artwork, area_shape
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.job import Pick, Rule, pitch_for
from stonelayout.model.pattern_options import PATTERNS
from stonelayout.svg import read_svg

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")


def rule(pick, size="ss10", colour="crystal", pattern="lattice", key="lay[1]", **options):
    from stonelayout.model.pattern_options import PATTERNS

    stone = CATALOGUE.stone(size)
    defaults = PATTERNS[pattern].defaults()
    return Rule(
        pick, (stone,), (pitch_for(stone, SHEET),), colour, pattern, defaults | options, key, "j:1"
    )


def artwork(*shapes, size=(120.0, 80.0)):
    return Artwork(shapes, size, file="art.svg")


def square(name, x, y, side=30.0, **rest):
    return area_shape(name, box(x, y, x + side, y + side), **rest)


@pytest.mark.parametrize(
    ("pick", "expected"),
    [
        (Pick(all=True), ["a", "b"]),
        (Pick(layer="waves"), ["b"]),
        (Pick(layer="g7"), ["b"]),
        (Pick(fill="#ff0000"), ["a"]),
        (Pick(stroke="none"), ["a", "b"]),
        (Pick(id="a", fill="#ff0000"), ["a"]),
        (Pick(id="a", fill="#000000"), []),
    ],
)
def test_a_pick_takes_what_has_everything_it_names(pick, expected):
    art = artwork(
        square("a", 0, 0, fill="#ff0000"), square("b", 40, 0, layer="waves", layer_id="g7")
    )
    assert [shape.id for shape in art.shapes if matches(pick, shape)] == expected


def test_every_empty_pick_is_listed_with_the_nearest_name():
    art = artwork(square("hull", 0, 0, layer="boat"))
    with pytest.raises(JobError) as caught:
        pick_shapes(art, [rule(Pick(layer="boot")), rule(Pick(id="hull", fill="#ff0000"))])
    assert list(caught.value.problems) == [
        'j:1: lay[1].pick: no shape in art.svg has layer "boot"; unknown layer "boot"; did you '
        "mean boat?",
        'j:1: lay[1].pick: no shape in art.svg has id "hull" and fill "#ff0000"; unknown fill '
        '"#ff0000"; did you mean #000000?',
    ]


def test_shapes_that_no_rule_picks_are_reported():
    layout = lay(artwork(square("a", 0, 0), square("b", 40, 0)), [rule(Pick(id="a"))], SHEET)
    left = [f for f in layout.findings if f.code == "shape-not-picked"]
    assert [(f.layer, f.severity) for f in left] == [("b", "warning")]
    assert set(layout.source) == {"a"}


def test_later_rules_give_way_and_say_so():
    art = artwork(square("a", 0, 0), square("b", 20, 0))
    layout = lay(art, [rule(Pick(id="a")), rule(Pick(id="b"), "ss6", "navy")], SHEET)
    first = layout.centres[layout.kind == 0]
    second = layout.centres[layout.kind == 1]
    alone = lay(artwork(square("a", 0, 0)), [rule(Pick(id="a"))], SHEET)
    assert np.array_equal(first, alone.centres)
    gaps = np.hypot(*(first[:, None] - second[None]).transpose(2, 0, 1))
    assert gaps.min() >= least_distance(CATALOGUE.stone("ss10"), CATALOGUE.stone("ss6"), SHEET)


def test_least_distance_keeps_stones_and_holes_clear():
    ss6, ss10 = CATALOGUE.stone("ss6"), CATALOGUE.stone("ss10")
    found = least_distance(ss6, ss10, SHEET)
    assert found == least_distance(ss10, ss6, SHEET)
    assert found > (ss6.max + ss10.max) / 2
    assert found >= ss6.diameter / 2 + SHEET.hole(ss10.diameter) / 2


def test_obstacles_clear_is_exact_at_the_limit():
    obstacles = Obstacles(np.array([[0.0, 0.0]]), np.array([[3.0]]))
    laid = Laid.of([[3.0, 0.0], [2.999999, 0.0], [0.0, -3.0], [10.0, 0.0]])
    assert obstacles.clear(laid.centres, laid.size).tolist() == [True, False, True, True]


def test_nothing_fits_anywhere():
    with pytest.raises(LayoutError, match=r"art\.svg: no stone fits anywhere"):
        lay(artwork(square("a", 0, 0, side=2.0)), [rule(Pick(all=True))], SHEET)


def test_a_shape_too_small_for_its_stone_is_named():
    layout = lay(artwork(square("a", 0, 0), square("b", 40, 0, 2.0)), [rule(Pick(all=True))], SHEET)
    bare = [f for f in layout.findings if f.code == "shape-without-stones"]
    assert [f.layer for f in bare] == ["b"]
    assert isinstance(bare[0], Finding)
    assert shapely.Point(bare[0].at).within(box(40, 0, 42, 2))


def test_rows_of_one_rule_share_a_stone_where_they_cross():
    from stonelayout.model.artwork import Line, Shape

    lines = [
        Shape("a", stroke="#000000", outline=(Line(np.array([[10.0, 40], [90, 40]]), False),)),
        Shape("b", stroke="#000000", outline=(Line(np.array([[50.0, 10], [50, 70]]), False),)),
    ]
    layout = lay(artwork(*lines), [rule(Pick(all=True), "ss6", pattern="edge")], SHEET)
    pitch = pitch_for(CATALOGUE.stone("ss6"), SHEET)
    assert np.isclose(layout.centres, [50, 40]).all(axis=1).sum() == 1
    assert nearest_distances(layout.centres).min() >= pitch * (1 - 1e-9)
    assert {"a", "b"} == set(layout.source)


def test_the_rest_is_what_no_earlier_rule_has_taken():
    art = artwork(square("a", 0, 0), square("b", 40, 0))
    rules = [rule(Pick(id="a")), rule(Pick(rest=True), "ss6", "navy")]
    assert [[shape.id for shape in shapes] for shapes in pick_shapes(art, rules)] == [["a"], ["b"]]
    assert not lay(art, rules, SHEET).findings


def test_a_shape_that_an_earlier_rule_has_filled_is_no_fault():
    art = artwork(square("a", 0, 0))
    layout = lay(art, [rule(Pick(id="a")), rule(Pick(all=True), "ss10", "navy")], SHEET)
    assert [f.severity for f in layout.findings if f.code == "shape-without-stones"] in (
        ["note"],
        [],
    )
    assert "warning" not in {f.severity for f in layout.findings}


def test_a_first_shape_that_takes_no_stone_does_not_stop_the_rest():
    layout = lay(artwork(square("a", 0, 0, 2.0), square("b", 40, 0)), [rule(Pick(all=True))], SHEET)
    assert set(layout.source) == {"b"}


def test_fills_are_measured_for_each_rule_and_shape():
    art = artwork(square("a", 0, 0, 2.0), square("b", 40, 0))
    rules = [rule(Pick(all=True)), rule(Pick(id="b"), "ss6", "navy", "edge")]
    layout = lay(art, rules, SHEET)
    bare, full = fill_entries(art, rules, layout)
    assert (bare["shape"], bare["pattern"], bare["placed"]) == ("a", "lattice", 0)
    stone, pitch = rules[0].stones[0], rules[0].pitches[0]
    own = layout.centres[layout.kind == 0]
    measured = measure_fill(box(40, 0, 70, 30), own, stone.diameter, pitch)
    assert full["placed"] == len(own) <= full["bound"] == measured.bound
    assert full["row_order"] == round(measured.rows, 4)
    assert full["largest_empty"] == round(measured.empty, 4)
    assert full["cover"] == round(len(own) * math.pi / 4 * stone.diameter**2 / 900, 4)


def bare_words(*shapes, **options):
    layout = lay(artwork(*shapes), [rule(Pick(all=True), **options)], SHEET)
    return [f.message for f in layout.findings if f.code == "shape-without-stones"]


def test_a_bare_shape_says_why_and_what_to_do():
    from stonelayout.model.artwork import Line, Shape

    wide = square("wide", 0, 0)
    (words,) = bare_words(wide, square("small", 40, 0, 2.0))
    assert words == (
        "gets no stones from lay[1]: it is 2 mm wide at most, less than ss10 (2.8 mm); choose a "
        "smaller size or make the drawing wider"
    )
    (words,) = bare_words(wide, square("nearly", 40, 0, 2.799), pattern="spine")
    assert "it is 2.799 mm wide at most, less than ss10 (2.8 mm)" in words
    (words,) = bare_words(wide, square("on top", 10, 10, 8.0))
    assert "the stones of wide stand there; pick it in a rule before that of wide" in words
    points = np.array([[40.0, 5], [80, 5]])
    line = Shape("line", stroke="#000000", stroke_width=1.0, outline=(Line(points, False),))
    (words,) = bare_words(wide, line, pattern="courses")
    assert "a line drawn 1 mm wide" in words
    assert "choose pattern edge" in words


def test_a_row_without_room_is_warned_of_once():
    art = artwork(square("wide", 0, 0), square("small", 40, 0, 2.0))
    layout = lay(art, [rule(Pick(all=True), pattern="edge")], SHEET)
    assert [(f.code, f.layer) for f in layout.findings] == [("row-without-room", "small")]


def graded_on(region, names=("ss16", "ss8", "ss6"), **options):
    stones = tuple(CATALOGUE.stone(name) for name in names)
    pitches = tuple(stone.diameter + 0.4 for stone in stones)
    given = {"quality": "draft", "fewest": 1, **options}
    laid = Rule(Pick(all=True), stones, pitches, "crystal", "graded", given)
    art = artwork(area_shape("a", region), square("b", 70, 0))
    layout = lay(art, [laid], SHEET)
    entries = fill_entries(art, [laid], layout)
    return laid, layout, next(entry for entry in entries if entry["shape"] == "a")


def test_report_of_a_fill_of_several_sizes_says_only_what_holds_for_a_mix():
    region = shapely.union_all([box(0, 0, 30, 30), box(30, 13.5, 60, 16.5)])
    laid, layout, entry = graded_on(region)
    mine = np.array(layout.source) == "a"
    centres, diameters = layout.centres[mine], layout.diameters[mine]
    assert len(set(diameters)) > 1
    least = laid.pitches[-1]
    room = region.buffer(-laid.stones[-1].diameter / 2, quad_segs=64)
    assert entry["placed"] == len(centres) <= entry["bound"] == proved_bound(room, least)
    assert entry["kappa"] is entry["psi6"] is entry["row_order"] is None
    areas = math.pi / 4 * diameters**2
    assert entry["cover"] == round(areas.sum() / region.area, 4)
    # distances by brute force, as shares of what two stones keep
    own = diameters + 0.4
    away = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    share = away / ((own[:, None] + own) / 2) + np.diag(np.full(len(own), np.inf))
    near = share.min(axis=1)
    assert near.min() >= 1 - 1e-9
    assert entry["spread"] == round(near.std() / near.mean(), 4)
    grid = np.stack(np.meshgrid(np.arange(0, 60, 0.1), np.arange(0, 30, 0.1)), -1).reshape(-1, 2)
    grid = grid[shapely.contains_xy(room, grid)]
    empty = np.full(len(grid), np.inf)
    for centre, pitch in zip(centres, own, strict=True):
        empty = np.minimum(empty, np.hypot(*(grid - centre).T) / ((pitch + least) / 2))
    assert empty.max() <= entry["largest_empty"] + 1e-4
    assert entry["largest_empty"] < min(1.0, empty.max() + 0.05)  # no place is left


def test_report_of_a_shape_of_several_sizes_in_which_none_fits():
    _, _, entry = graded_on(box(0, 0, 30, 1.9))
    assert entry["placed"] == entry["bound"] == entry["cover"] == 0
    assert entry["spread"] is None
    assert entry["largest_empty"] == 0


def test_bound_holds_for_a_row_in_a_bar_that_is_a_hair_narrower_than_the_stone():
    wide = CATALOGUE.stone("ss10").diameter - 0.006
    art = artwork(area_shape("a", box(0, 0, 40, wide)))
    rules = [rule(Pick(all=True), pattern="even", quality="draft")]
    layout = lay(art, rules, SHEET)
    (entry,) = fill_entries(art, rules, layout)
    assert 0 < entry["placed"] == len(layout) <= entry["bound"]
    reach = shapely.buffer(shapely.points(layout.centres), layout.diameters / 2, quad_segs=256)
    under = shapely.area(shapely.intersection(box(0, 0, 40, wide), reach)).sum() / (40 * wide)
    assert entry["cover"] == pytest.approx(under, abs=1e-4)


GROUPS = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm"
 viewBox="0 0 100 60" xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape">
<g id="ring"><rect id="a" x="5" y="5" width="9" height="9"/>
<g id="inner"><rect id="b" x="25" y="5" width="9" height="9"/></g></g>
<g id="title"><text x="9" y="50" font-family="no such font">Row</text></g>
<g id="L" inkscape:groupmode="layer" inkscape:label="Base">
<g id="deep"><rect id="c" x="65" y="5" width="9" height="9"/></g></g></svg>"""


def picked(pick):
    (shapes,) = pick_shapes(read_svg(GROUPS.encode(), name="art.svg"), [rule(pick)])
    return [shape.id for shape in shapes]


@pytest.mark.parametrize(
    ("pick", "ids"),
    [
        (Pick(id="ring"), ["a", "b"]),
        (Pick(id="inner"), ["b"]),
        (Pick(id="a"), ["a"]),
        (Pick(id="deep"), ["c"]),
        (Pick(id="L"), ["c"]),
        (Pick(layer="ring"), ["a"]),
        (Pick(layer="Base", id="deep"), ["c"]),
    ],
)
def test_the_id_of_a_group_picks_all_that_it_holds(pick, ids):
    assert picked(pick) == ids


@pytest.mark.parametrize(
    ("pick", "words"),
    [
        (Pick(layer="deep"), 'layer "deep"; it is no layer: write id = "deep"'),
        (Pick(id="Base"), 'id "Base"; it is no id: write layer = "Base"'),
        (Pick(id="rnig"), 'id "rnig"; unknown id "rnig"; did you mean ring?'),
        (Pick(layer="title"), 'layer "title"; what it holds is not read: text: '),
    ],
)
def test_what_picks_nothing_says_what_would(pick, words):
    with pytest.raises(JobError) as told:
        picked(pick)
    assert f"no shape in art.svg has {words}" in str(told.value)


def test_every_pattern_of_a_job_file_is_laid_by_a_function():
    assert set(MAKERS) == set(PATTERNS)
    for module, name in MAKERS.values():
        assert callable(getattr(importlib.import_module(f"stonelayout.laying.{module}"), name))
