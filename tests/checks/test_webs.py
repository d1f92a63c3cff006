"""Every verdict of the checks against a brute-force oracle: no false "safe", no false alarm."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paths import table

from stonelayout.checks.webs import (
    MOST_PAIRS,
    PLACES,
    check,
    check_between,
    check_one_sheet,
    check_size,
    check_webs,
)
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import FILE_ROUNDING_MM, Layer, Page
from stonelayout.model.layout import Kind

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
SS6 = Kind("ss6", "crystal", 2.0)
SS10 = Kind("ss10", "jet", 2.8)


def layer(centres, kind=SS6, hole=2.5, order=1):
    return Layer(order, kind, np.asarray(centres, dtype=float).reshape(-1, 2), hole)


# Whole tenths put many pairs exactly on the limits, where a wrong comparison shows.
coordinate = st.integers(0, 150).map(lambda tenths: tenths / 10)
places = st.lists(st.tuples(coordinate, coordinate), min_size=0, max_size=25)


def total(findings, *codes):
    return sum(f.count for f in findings if f.code in codes)


@settings(max_examples=300, deadline=None)
@given(places)
def test_webs_agree_with_brute_force(centres):
    found = check_webs(layer(centres), SHEET)
    unique = sorted(set(centres))
    assert total(found, "same-place") == len(centres) - len(unique)
    # Tenths of mm: the exact comparison is one of whole numbers, (hole + web) = 2.9 mm.
    square = [
        (round(10 * a[0]) - round(10 * b[0])) ** 2 + (round(10 * a[1]) - round(10 * b[1])) ** 2
        for i, a in enumerate(unique)
        for b in unique[:i]
    ]
    assert total(found, "holes-meet") == sum(s <= 25**2 for s in square)
    assert total(found, "web-too-thin") == sum(25**2 < s < 29**2 for s in square)
    for finding in found:
        if finding.code != "same-place":
            x, y = finding.at
            near = sorted(math.hypot(a - x, b - y) for a, b in unique)
            assert near[1] < 2.9 / 2


@settings(max_examples=300, deadline=None)
@given(places, places)
def test_layers_agree_with_brute_force(first, second):
    early, late = layer(first), layer(second, SS10, 3.3, order=2)
    found = check_between(early, late, CATALOGUE)
    square = [
        (round(10 * a[0]) - round(10 * b[0])) ** 2 + (round(10 * a[1]) - round(10 * b[1])) ** 2
        for a in set(first)
        for b in set(second)
    ]
    assert total(found, "stones-touch") == sum(s < 24**2 for s in square)
    # radius 1.0 + hole radius 1.65
    assert total(found, "stone-over-hole") == sum(24**2 <= s < 26.5**2 for s in square)
    # The largest stones, (2.1 + 2.9) / 2 = 2.5 mm, reach less far than the hole does here.
    assert total(found, "stones-may-touch") == 0
    assert all(f.severity == "error" for f in found)


@settings(max_examples=100, deadline=None)
@given(places, places)
def test_two_sizes_on_one_sheet_agree_with_brute_force(first, second):
    found = check_one_sheet(layer(first), layer(second, SS10, 3.3, order=2), SHEET)
    # (2.5 + 3.3) / 2 + 0.4 = 3.3 mm
    square = [
        (round(10 * a[0]) - round(10 * b[0])) ** 2 + (round(10 * a[1]) - round(10 * b[1])) ** 2
        for a in set(first)
        for b in set(second)
    ]
    assert total(found, "web-between-sizes") == sum(s < 33**2 for s in square)
    assert {f.severity for f in found} <= {"error"}


def test_largest_stones_of_a_size_warn_where_the_hole_is_tight():
    early, late = layer([(0, 0)], hole=2.0), layer([(2.45, 0)], SS10, 2.8, order=2)
    (finding,) = check_between(early, late, CATALOGUE)
    assert (finding.code, finding.severity) == ("stones-may-touch", "warning")
    assert "0.05 mm" in finding.message
    assert check_between(early, late) == []


@pytest.mark.parametrize("row", table("perforated_plate_60deg.csv"))
def test_webs_of_perforated_plate_are_those_of_the_table(row):
    """A staggered plate's web follows from its hole and its tabulated open area alone.

    Open area of 60 degree patterns is 90.69 (hole / pitch)^2 %, tabulated to 3 points (source: the
    head of the CSV). A sheet that needs less than every web within these is passed, one that
    needs more is not: then every web of the plate is named or counted, as an error.
    """
    hole, pitch = float(row["hole_mm"]), float(row["pitch_mm"])
    percent, n = float(row["open_area_percent_tabulated"]), 9
    plate = layer(
        [
            ((x + (y % 2) / 2) * pitch, y * pitch * math.sqrt(3) / 2)
            for x in range(n)
            for y in range(n)
        ],
        hole=hole,
    )
    webs = [hole * (math.sqrt(90.69 / (percent + off)) - 1) for off in (3, -3)]
    assert check_webs(plate, replace(SHEET, least_web=webs[0])) == []
    found = check_webs(plate, replace(SHEET, least_web=webs[1]))
    assert {(f.code, f.severity) for f in found} == {("web-too-thin", "error")}
    assert total(found, "web-too-thin") == n * (n - 1) + (2 * n - 1) * (n - 1)


def test_limit_is_the_sheets_web_to_the_rounding_of_files():
    assert check_webs(layer([(0, 0), (2.9, 0)]), SHEET) == []
    assert check_webs(layer([(0, 0), (2.9 - FILE_ROUNDING_MM / 2, 0)]), SHEET) == []
    (finding,) = check_webs(layer([(0, 0), (2.9 - 1e-5, 0)]), SHEET)
    assert finding.code == "web-too-thin"
    assert pytest.approx(finding.at) == (1.449995, 0.0)


def test_words_say_how_much_and_what_to_do():
    (finding,) = check_webs(layer([(0, 0), (2.75, 0)]), SHEET)
    assert finding.message == (
        "web of 0.25 mm between two holes, thin-flock needs 0.4 mm: widen the gap by 0.15 mm, "
        "split the layer, or choose a sheet that stands a thinner web"
    )


def test_places_beyond_the_cap_are_counted():
    row = [(2.6 * k, 0) for k in range(PLACES + 31)]
    found = check_webs(layer(row), SHEET)
    assert len(found) == PLACES + 1
    assert total(found, "web-too-thin") == PLACES + 30
    assert found[-1].at is None


def test_worst_place_is_named_first():
    found = check_webs(layer([(0, 0), (2.8, 0), (20, 0), (22.6, 0)]), SHEET)
    assert [pytest.approx(f.at) for f in found] == [(21.3, 0.0), (1.4, 0.0)]


def test_ten_thousand_copies_of_one_hole_are_counted_not_paired():
    found = check_webs(layer(np.full((10_000, 2), 5.0)), SHEET)
    assert total(found, "same-place") == 9_999
    assert total(found, "holes-meet", "web-too-thin") == 0


def test_a_crowd_too_dense_to_list_still_condemns_every_hole():
    side = math.isqrt(4 * MOST_PAIRS) // 2 + 100
    rng = np.random.default_rng(5)
    crowd = layer(rng.uniform(0, 1, (side, 2)))
    found = check_webs(crowd, SHEET)
    assert total(found, "holes-meet") >= side // 2
    later = replace(crowd, centres=rng.uniform(0, 1, (side, 2)), order=2)
    assert total(check_between(crowd, later), "stones-touch") >= side // 2


@pytest.mark.parametrize(
    ("width", "height", "codes"),
    [
        (304.8, 1000, []),
        (304.9, 304.8, ["turn-on-sheet"]),
        (1000, 300, ["turn-on-sheet"]),
        (305, 305, ["larger-than-sheet"]),
        (200, 4573, ["larger-than-sheet"]),
    ],
)
def test_sheet_bounds_allow_a_turn(width, height, codes):
    # 12 in = 304.8 mm wide, 5 yd = 4572 mm long (CSS Values and Units: 1 in = 25.4 mm)
    assert codes == [f.code for f in check_size(Page(width, height), SHEET)]


def test_check_gathers_all_and_puts_errors_first():
    layers = (layer([(0, 0), (2.6, 0)]), layer([(2.6, 2.5)], SS10, 3.3, order=2))
    found = check(layers, SHEET, CATALOGUE, Page(1000, 200))
    assert [f.code for f in found] == ["stone-over-hole", "web-too-thin", "turn-on-sheet"]
    assert check((), SHEET) == ()
    assert check((layer([]), layer([], SS10, order=2)), SHEET) == ()
