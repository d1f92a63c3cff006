"""The first look: widths against shapes of known width, the JSON contract, seen.svg read back."""

import dataclasses
import json
import subprocess
import sys

import pytest
import shapely
from svg_texts import HEAD, read

from stonelayout.documents.drawing_report import drawing_report, measure_shape, suggestions
from stonelayout.geometry.regions import local_width_range
from stonelayout.model.catalogue import load_catalogue
from stonelayout.svg import read_svg
from stonelayout.writers.artwork_svg import seen_svg

EXAMPLE = "examples/regatta-crest.svg"


@pytest.mark.parametrize(
    ("region", "least", "greatest"),
    [
        (shapely.box(0, 0, 40, 6), 6, 6),
        (shapely.Point(0, 0).buffer(9, 64), 18, 18),
        (shapely.Point(0, 0).buffer(9, 64) - shapely.Point(0, 0).buffer(6, 64), 3, 3),
        # a dumb-bell: the neck is 2 wide, the largest disc in a 12 mm square is 12
        (shapely.box(0, 0, 12, 12) | shapely.box(12, 5, 30, 7) | shapely.box(30, 0, 42, 12), 2, 12),
    ],
)
def test_local_width(region, least, greatest):
    low, high = local_width_range(region)
    assert low == pytest.approx(least, rel=0.02)
    # the disc in a square's or bar's corner sees the corner's diagonal at most
    assert high == pytest.approx(greatest, rel=0.1)


def test_the_json_contract():
    art = read('<g id="waves"><rect id="r" width="40" height="6"/></g><text id="t">x</text>')
    looks = [measure_shape(item) for item in art.shapes]
    data = json.loads(json.dumps(drawing_report(art, looks)))
    assert data["size"] == [100, 50]
    assert data["size_from"] == "width/height"
    assert data["layers"] == [{"name": "waves", "shapes": 1}]
    (row,) = data["shapes"]
    assert row["id"] == "r"
    assert row["kind"] == "area"
    assert row["area"] == pytest.approx(240)
    assert row["length"] == pytest.approx(92)
    assert row["bbox"] == [0, 0, 40, 6]
    assert row["width_range"] == pytest.approx([6, 6], rel=0.02)
    assert data["skipped"][0]["id"] == "t"
    assert suggestions(art, looks, load_catalogue())


def test_a_stroke_with_sharp_tips_gets_a_size_for_its_body():
    # 4 mm wide, with a tip that runs out to nothing at one end
    path = '<path id="k" d="M0 0H40V4H0z M40 0L60 2L40 4z"/>'
    art = read(path)
    catalogue = load_catalogue()
    (advice,) = suggestions(art, [measure_shape(shape) for shape in art.shapes], catalogue)
    size = advice.split(" or smaller")[0].split()[-1]
    assert 2.2 < catalogue.stones[size].diameter < 4, advice


def test_seen_reads_back_as_the_same_areas():
    art = read_svg(EXAMPLE)
    again = read_svg(seen_svg(art).encode())
    assert again.size == art.size
    assert again.notes == ()
    for shape in art.shapes:
        region = shape.area if shape.area is not None else shape.stroke_area
        back = again.shape(shape.id).area
        # paths are rounded to 0.0001 mm
        assert region.symmetric_difference(back).area < 1e-4 * region.length
        assert again.shape(shape.id).layer in ("", shape.layer)


def run(*arguments, **options):
    command = [sys.executable, "-m", "stonelayout", "inspect", *arguments]
    return subprocess.run(command, capture_output=True, check=False, **options)


def test_the_command(tmp_path):
    seen = tmp_path / "seen.svg"
    done = run(EXAMPLE, "--format", "json", "-o", str(seen), "--width", "120mm")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["size"][0] == 120
    assert seen.read_text().startswith("<?xml")
    text = run("-", input=(HEAD + '<text>Hi</text><rect width="9" height="5"/></svg>').encode())
    assert b"convert text to outlines" in text.stdout
    assert b"100.0 mm" in text.stdout


def test_the_command_refuses_in_one_line():
    done = run("-", input=b"junk")
    assert done.returncode == 2
    assert done.stderr.decode().count("\n") == 1
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("pitches", "words"),
    [(0.2, "1 row where widest)"), (0.7, "in a zigzag)"), (0.93, "in two rows staggered)")],
)
def test_a_slender_bar_says_whether_a_zigzag_or_two_rows_fit(pitches, words):
    # two rows of a triangular lattice are sqrt(3) / 2 of a pitch apart
    catalogue = load_catalogue()
    stone, sheet = catalogue.stone("ss6"), next(iter(catalogue.sheets.values()))
    catalogue = dataclasses.replace(catalogue, stones={"ss6": stone})
    width = stone.diameter + pitches * (stone.diameter + sheet.least_web + sheet.clearance)
    art = read(f'<rect width="60" height="{width}"/>')
    (line,) = suggestions(art, [measure_shape(shape) for shape in art.shapes], catalogue)
    assert words in line


def advice(body):
    art = read(body)
    return suggestions(art, [measure_shape(shape) for shape in art.shapes], load_catalogue())


def test_one_row_of_usual_stones_goes_before_two_rows_of_tiny_ones():
    (line,) = advice('<rect width="60" height="4"/>')
    assert line.startswith("rect-1: courses, ss16 or smaller (4 mm wide, 1 row where widest")


def test_a_shape_as_large_as_the_page_may_be_the_background():
    page = '<rect id="page" width="100%" height="100%" fill="#ffffff"/>'
    first, second = advice(page + '<rect id="bar" width="30" height="8"/>')
    assert first.startswith("page: covers the whole page; is it the background?")
    assert second.startswith("bar: courses")
    assert "background" not in advice(page)[0]
