"""How commands and jobs read artwork: knock-outs, strokes as lines or areas, pictures."""

import json
import math

import numpy as np
import pytest

from stonelayout.cli import main
from stonelayout.errors import ArtworkError, JobError
from stonelayout.laying.lay import lay
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.job import parse_job
from stonelayout.model.layout import Layout
from stonelayout.reading.drawing import read_drawing

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">'
BUOY = (
    SVG
    + '<rect width="100" height="60" fill="#eeeeee"/><circle cx="50" cy="30" r="20" fill="red"/>'
    '<circle cx="50" cy="30" r="10" fill="#eee"/></svg>'
)
RING = (
    SVG
    + '<circle id="ring" cx="50" cy="30" r="20" fill="red" stroke="blue" stroke-width="8"/></svg>'
)
JOB = """
[artwork]
file = "ring.svg"
{artwork}
[[lay]]
pick = {{ all = true }}
stone = "ss6"
colour = "crystal"
{rule}
"""


def job_of(rule="", artwork=""):
    return parse_job(JOB.format(rule=rule, artwork=artwork), "job.toml", load_catalogue())


def radii(rule, svg=RING):
    job = job_of(rule)
    layout = lay(read_drawing(svg.encode(), "ring.svg"), job.rules, job.sheet)
    return np.hypot(*(layout.centres - (50.0, 30.0)).T)


@pytest.mark.parametrize("colour", ["#eeeeee", "background"])
def test_a_knock_out_cuts_what_lies_under_it(colour):
    art = read_drawing(BUOY.encode(), "buoy.svg", knock_out=colour)
    assert [shape.fill for shape in art.shapes] == ["#ff0000"]
    assert art.shapes[0].area.area == pytest.approx(math.pi * (20**2 - 10**2), rel=2e-3)


def test_a_drawing_without_a_background_says_so():
    with pytest.raises(ArtworkError, match="name the colour"):
        read_drawing(RING.encode(), "ring.svg", knock_out="background")


def test_a_job_says_how_its_artwork_is_read():
    job = job_of(artwork='knock_out = "white"\ncolours = 4')
    assert (job.knock_out, job.colours) == ("#ffffff", 4)
    assert job_of(artwork='knock_out = "background"').knock_out == "background"


@pytest.mark.parametrize(
    ("words", "rule", "artwork"),
    [
        ("is not a colour", "", 'knock_out = "whitish"'),
        ("from 2 to 64", "", "colours = 1"),
        ("not one of: line, area", 'pattern = "edge"\nstrokes = "both"', ""),
        ("lines go with: edge, spine", 'pattern = "even"\nstrokes = "line"', ""),
    ],
)
def test_what_a_job_says_wrongly_is_told(words, rule, artwork):
    with pytest.raises(JobError, match=words):
        job_of(rule, artwork)


def test_rows_stand_on_the_line_of_a_stroke_or_inside_its_area():
    bare = RING.replace('fill="red"', 'fill="none"')
    for pattern in ("edge", "spine"):
        on_line = radii(f'pattern = "{pattern}"', bare)
        assert on_line == pytest.approx(np.full(len(on_line), 20.0), abs=0.01)
        assert radii(f'pattern = "{pattern}"\nstrokes = "line"') == pytest.approx(on_line, abs=1e-9)
    both_edges = radii('pattern = "edge"\nstrokes = "area"')
    assert both_edges.max() == pytest.approx(24.0 - 1.0, abs=0.06)
    assert both_edges.min() == pytest.approx(16.0 + 1.0, abs=0.06)


def test_fills_cover_the_area_of_a_stroke_where_the_rule_says_so():
    assert radii('pattern = "lattice"').min() < 3.0
    band = radii('pattern = "lattice"\nstrokes = "area"')
    assert band.min() >= 16.0 + 1.0 - 0.06
    assert band.max() <= 24.0 - 1.0 + 0.06


def run(arguments):
    with pytest.raises(SystemExit) as done:
        main(arguments)
    return done.value.code


def test_commands_knock_out_and_take_strokes(tmp_path, capsys):
    (tmp_path / "buoy.svg").write_text(BUOY)
    (tmp_path / "ring.svg").write_text(RING)
    look = ["inspect", str(tmp_path / "buoy.svg"), "--format", "json"]
    assert run([*look, "--knock-out", "background"]) == 0
    (shape,) = json.loads(capsys.readouterr().out)["shapes"]
    assert shape["area"] == pytest.approx(math.pi * (20**2 - 10**2), rel=2e-3)
    out = tmp_path / "layout.json"
    line = ["lay", str(tmp_path / "ring.svg"), "--stone", "ss6", "--pattern", "edge"]
    assert run([*line, "--strokes", "line", "-o", str(out)]) == 0
    layout = Layout.from_json(out.read_text(), "layout.json")
    assert np.hypot(*(layout.centres - (50, 30)).T) == pytest.approx(
        np.full(len(layout), 20.0), abs=0.01
    )


def test_a_picture_is_traced_by_commands_and_jobs(tmp_path, capsys):
    pytest.importorskip("vtracer")
    image, draw = pytest.importorskip("PIL.Image"), pytest.importorskip("PIL.ImageDraw")
    canvas = image.new("RGB", (200, 120), "white")
    draw.Draw(canvas).ellipse((60, 20, 140, 100), fill="red")
    canvas.save(tmp_path / "ring.svg", format="PNG")  # a picture is known by its content
    picture = ["lay", str(tmp_path / "ring.svg"), "--stone", "ss6", "--colours", "2"]
    out = ["--knock-out", "background", "-o", str(tmp_path / "layout.json")]
    assert run([*picture, *out]) == 2
    assert "give a width" in capsys.readouterr().err
    assert run([*picture, "--width", "100mm", *out]) == 0
    layout = Layout.from_json((tmp_path / "layout.json").read_text(), "layout.json")
    assert np.hypot(*(layout.centres - (50, 30)).T).max() <= 20.2
    job = tmp_path / "job.toml"
    job.write_text(
        JOB.format(rule="", artwork='width = "100 mm"\ncolours = 2\nknock_out = "white"')
    )
    assert run(["make", str(job), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    assert (tmp_path / "out" / "01-ss6-crystal.svg").is_file()


def test_colours_go_with_pictures_only():
    with pytest.raises(ArtworkError, match="goes with a picture"):
        read_drawing(RING.encode(), "ring.svg", colours=3)
