import csv
import math

import pytest
from paths import DATA

from stonelayout.errors import CatalogueError
from stonelayout.model.catalogue import DEFAULT_SHEET, load_catalogue


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def published_sizes():
    """Published PP/SS to mm conversion sheet and a maker's table (see the file's first lines)."""
    lines = (DATA / "stone_sizes.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def test_every_row_of_the_published_table_is_there(catalogue):
    rows = published_sizes()
    assert len(catalogue.stones) == len(rows) == 50
    for row in rows:
        stone = catalogue.stone(row["ss"])
        assert (stone.min, stone.max) == (float(row["min_mm"]), float(row["max_mm"]))
        assert stone.pp == row["pp"].removeprefix("PP")


def test_sizes_are_contiguous_from_ss0_to_ss46(catalogue):
    """The sieve classes of the published sheet leave no gap: each starts where the last ends."""
    for k in range(46):
        assert catalogue.stone(f"ss{k}").max == catalogue.stone(f"ss{k + 1}").min


@pytest.mark.parametrize(
    ("size", "count"), [("ss6", 12), ("ss10", 9), ("ss16", 6), ("ss20", 5), ("ss34", 3.5)]
)
def test_stones_touching_per_inch(catalogue, size, count):
    """A dealer's size article: stones touching, per inch along a line, rounded there to whole or
    half stones; the stone's range must reach within half a stone of it."""
    stone = catalogue.stone(size)
    assert 25.4 / stone.max - 0.5 <= count <= 25.4 / stone.min + 0.5


@pytest.mark.parametrize(("size", "count"), [("ss12", 67), ("ss20", 30)])
def test_stones_touching_per_square_inch(catalogue, size, count):
    """A craft guide: 67 for SS12 and 30 for SS20, which is a square grid of touching stones."""
    assert (25.4 / catalogue.stone(size).diameter) ** 2 == pytest.approx(count, rel=0.03)


def test_holes_of_the_default_sheet_are_0_3_to_0_6_over_the_largest_stone(catalogue):
    """Common practice, no source."""
    sheet = catalogue.sheet(DEFAULT_SHEET)
    for stone in catalogue.stones.values():
        assert 0.3 <= round(sheet.hole(stone.diameter) - stone.max, 6) <= 0.6


def test_every_sheet_and_cutter_is_sound(catalogue):
    assert DEFAULT_SHEET in catalogue.sheets
    for sheet in catalogue.sheets.values():
        # Plate screens after ISO 10630: the web is not less than the plate is thick.
        assert sheet.least_web >= sheet.thickness
        assert 0.38 <= sheet.thickness <= 0.77  # sheets are sold at 15 to 30 mil
        assert 0 < sheet.force[0] <= sheet.force[1]
        assert sheet.colour in catalogue.colours
        assert sheet.width < sheet.length
    for cutter in catalogue.cutters.values():
        assert 0.175 <= cutter.blade_offset <= 1.0  # published blade tables
        assert min(cutter.speed, cutter.travel, cutter.lift, cutter.width) > 0


def test_a_users_file_changes_only_what_it_names(catalogue, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        '[sheet.thin-flock]\nleast_web = "0.35 mm"\n'
        '[sheet.boat-shed]\nbase = "thin-flock"\nwidth = "24 in"\n'
        '[colour]\n"club-red" = "#AA0011"\n[stone.ss6]\nmax = "2.0 mm"\n'
    )
    mine = load_catalogue(own)
    assert mine.sheet("thin-flock").least_web == 0.35
    assert mine.sheet("thin-flock").clearance == catalogue.sheet("thin-flock").clearance
    assert mine.sheet("boat-shed").width == pytest.approx(609.6)
    assert mine.sheet("boat-shed").least_web == 0.35
    assert mine.rgb("club-red") == "#aa0011"
    assert mine.stone("SS6").max == 2.0
    assert math.isclose(mine.stone("ss6").diameter, 1.95)


def test_all_problems_of_a_users_file_at_once(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        "[sheet.one]\n"
        'base = "thin-flok"\n'
        "least_web = 0.3\n"
        "[sheet.thin-flock]\n"
        'width = "big"\n'
        "pases = 2\n"
        "passes = 0\n"
        "force = [90, 70]\n"
        "[color]\n"
        'red = "#ff0000"\n'
        "[colour]\n"
        'mud = "brown"\n'
    )
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(own)
    lines = str(caught.value).replace(str(own), "own.toml").splitlines()
    assert lines[:8] == [
        'own.toml:2: sheet.one.base: unknown sheet "thin-flok"; did you mean thin-flock or '
        "standard-flock?",
        'own.toml:3: sheet.one.least_web: 0.3 is not a length; write e.g. "0.5 mm"',
        'own.toml:5: sheet.thin-flock.width: "big" is not a length; write e.g. "0.5 mm"',
        'own.toml:6: sheet.thin-flock.pases: unknown key "pases"; did you mean passes?',
        "own.toml:7: sheet.thin-flock.passes: 0 is not a whole number from 1 to 20",
        "own.toml:8: sheet.thin-flock.force: [90, 70]: the first must not be more than the second",
        'own.toml:9: color: unknown table "color"; did you mean colour?',
        "own.toml:12: colour.mud: 'brown' is not a colour; write e.g. \"#1f4fa8\"",
    ]


def test_a_missing_or_broken_file_is_named(tmp_path):
    with pytest.raises(CatalogueError, match=r"nowhere\.toml: cannot read: No such file"):
        load_catalogue(tmp_path / "nowhere.toml")
    broken = tmp_path / "broken.toml"
    broken.write_text("[sheet\n")
    with pytest.raises(CatalogueError, match=r"broken\.toml: not TOML"):
        load_catalogue(broken)


def test_an_unknown_name_offers_the_nearest(catalogue):
    with pytest.raises(CatalogueError, match=r'unknown stone "ss60"; did you mean'):
        catalogue.stone("ss60")
    with pytest.raises(CatalogueError, match=r'unknown sheet "flock"; did you mean thin-flock'):
        catalogue.sheet("flock")


@pytest.mark.parametrize(("name", "meant"), [("ss1O", "ss10"), ("ssl6", "ss16"), ("SSlO", "ss10")])
def test_letters_taken_for_figures_are_read_as_meant(name, meant):
    with pytest.raises(CatalogueError) as told:
        load_catalogue().stone(name)
    assert str(told.value) == f'unknown stone "{name}"; did you mean {meant}?'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[sheet.a]\nbase = ["thin-flock"]\n', "2: sheet.a.base: unknown sheet"),
        ("[sheet]\na = 3\n", "2: sheet.a: write it as a table: [sheet.a]"),
        ("stone = 3\n", "1: stone: write a table for each: [stone.NAME]"),
        ("colour = 3\n", "1: colour: write a table for each: [colour.NAME]"),
    ],
)
def test_what_is_no_table_and_no_name_is_said(tmp_path, text, words):
    own = tmp_path / "own.toml"
    own.write_text(text)
    with pytest.raises(CatalogueError) as told:
        load_catalogue(own)
    assert str(told.value).startswith(f"{own}:{words}")
