"""A design larger than the sheet, and many copies: one rule and one count on all papers."""

import json
import re
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner

import stonelayout
from stonelayout.cli import group
from stonelayout.units import minutes

#: A banner of an invented rowing club: a bar 500 mm long and three balls above it.
BANNER = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="520mm" height="420mm" viewBox="0 0 520 420">'
    '<rect id="water" x="10" y="380" width="500" height="20" fill="#0000ff"/>'
    '<circle id="sun" cx="60" cy="60" r="40" fill="#ff0000"/>'
    '<circle id="moon" cx="400" cy="60" r="40" fill="#ff0000"/></svg>'
)
JOB = """\
[artwork]
file = "art.svg"

[order]
copies = {copies}

[sheet]
use = "thin-flock"
tile = {tile}

[outputs]
cut = ["svg", "dxf", "hpgl", "pdf"]

[[lay]]
pick = {{ fill = "blue" }}
stone = "ss16"
colour = "aqua"
pattern = "lattice"

[[lay]]
pick = {{ fill = "red" }}
stone = "ss10"
colour = "gold"
pattern = "lattice"
"""


DEMO = (Path(stonelayout.__file__).parent / "data" / "shop.toml").read_text(encoding="utf-8")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "art.svg").write_text(BANNER)
    (tmp_path / "job.toml").write_text(JOB.format(copies=1, tile="true"))
    return tmp_path


def run(*args, code=0):
    result = CliRunner().invoke(group, [str(arg) for arg in args], standalone_mode=False)
    assert result.exception is None, (result.output, result.exception)
    assert result.return_value == code, result.output
    return result.output


def refused(*args):
    result = CliRunner().invoke(group, [str(arg) for arg in args], standalone_mode=False)
    assert result.exception is not None, result.output
    return str(result.exception)


def read(path):
    return unescape(path.read_text(encoding="utf-8"))


def test_every_format_is_written_for_every_tile_and_none_that_cannot_be_cut(shop):
    said = run("make", "job.toml", "--out", "out")
    report = json.loads((shop / "out" / "report.json").read_text())
    assert report["tiles"] == 2
    assert ", in 2 tiles" in said.splitlines()[0]
    assert "cut in 2 tiles (tile-1of2-..., tile-2of2-...)" in said
    names = {path.name for path in (shop / "out").iterdir()}
    templates = [layer["file"].removesuffix(".svg") for layer in report["layers"]]
    assert templates == [  # the smallest stones of both tiles first
        "tile-1of2-01-ss10-gold",
        "tile-2of2-01-ss10-gold",
        "tile-1of2-02-ss16-aqua",
        "tile-2of2-02-ss16-aqua",
    ]
    cut = {f"{name}.{form}" for name in templates for form in ("svg", "dxf", "hpgl", "pdf")}
    written = {name for name in names if re.search(r"\d\d-ss", name)}
    assert written == cut  # nothing at the size that no sheet holds
    assert sum(layer["count"] for layer in report["layers"]) == report["stones"]
    for layer in report["layers"]:
        text = (shop / "out" / layer["file"]).read_text()
        sides = [float(side) for side in re.findall(r'(?:width|height)="([\d.]+)mm"', text)[:2]]
        assert min(sides) <= 304.8 - 12
        assert text.count("<circle") == layer["count"]
    for paper in ("proof.html", "jobsheet.html"):
        assert "2 tiles" in read(shop / "out" / paper)
    proof = read(shop / "out" / "proof.html")  # numbered as on the job sheet
    assert "template 1, 2, hole 3.30 mm" in proof
    assert "template 3, 4, hole 4.40 mm" in proof
    roll = read(shop / "out" / "roll.txt")
    assert all(name in roll for name in templates)


def test_the_job_sheet_says_how_tiles_are_lifted_on_one_tape(shop):
    run("make", "job.toml", "--out", "out")
    run("jobsheet", "job.toml", "-o", "sheet.html")
    page = read(shop / "sheet.html")
    assert "cut in 2 tiles. Take one piece of tape as large as the whole design" in page
    assert "Tile 2 joins tile 1 at its right side, where both have the same two crosses" in page
    assert "the two at the left side of tile 2" in page
    assert "corner of the tape in the corner" not in page  # only one tile could be set so
    rows = re.findall(r"<tr><td>(\d+)</td>.*?<small>(tile-\S+?)</small>.*?</tr>", page)
    assert [row[0] for row in rows] == ["1", "2", "3", "4"]
    assert "<dt>templates to cut</dt><dd>4</dd>" in page
    assert page.count("sheet for each template of tile") == 2
    # What both gold templates take out together is told once.
    assert page.count("; for no. 1, 2 together") == 1
    assert "with no. 1" in page


def test_the_quote_counts_the_seatings_of_all_tiles(shop):
    """Four seatings in place of two on a sheet that is wide enough: two more a transfer."""
    run("make", "job.toml", "--out", "out")
    tiled = json.loads((shop / "out" / "quote.json").read_text())
    text = JOB.format(copies=1, tile="true").replace("thin-flock", "wide")
    (shop / "wide.toml").write_text('[sheet.wide]\nbase = "thin-flock"\nwidth = "36 in"\n')
    (shop / "prices.toml").write_text(DEMO.replace("[sheet.thin-flock]", "[sheet.wide]"))
    (shop / "job.toml").write_text(text + '\n[shop]\nfile = "prices.toml"\n')
    run("make", "job.toml", "--out", "one", "--catalogue", "wide.toml")
    whole = json.loads((shop / "one" / "quote.json").read_text())
    lifting = [
        next(x["how"] for x in data["lines"] if x["what"] == "brushing and lifting")
        for data in (tiled, whole)
    ]
    two, one = (float(how.split(" min at")[0]) for how in lifting)
    each = float(re.search(r"([\d.]+) min a template", lifting[0]).group(1))
    assert two - one == pytest.approx(2 * each, abs=0.11)


def test_too_large_is_one_rule_with_one_next_step(shop):
    (shop / "job.toml").write_text(JOB.format(copies=1, tile="false"))
    made = refused("make", "job.toml", "--out", "out")
    assert "sheet thin-flock holds templates of 292.8 mm (11.528 in) x 988.0 mm" in made
    assert made.endswith("write tile = true under [sheet] to cut it in tiles")
    assert not (shop / "out").exists()
    run("lay", "art.svg", "--stone", "ss16", "--colour", "aqua", "-o", "layout.json")
    for command in (("cut", "layout.json", "--out", "cut", "--as", "dxf"), ("roll", "layout.json")):
        assert refused(*command).endswith("or say --tile to cut it in tiles")
    assert not (shop / "cut").exists()
    said = run("check", "layout.json", code=1)
    assert "or say --tile to cut it in tiles [larger-than-sheet]" in said
    assert "larger-than-sheet" not in run("check", "layout.json", "--tile")
    run("cut", "layout.json", "--out", "cut", "--as", "dxf", "--tile")
    assert sorted(path.name for path in (shop / "cut").iterdir()) == [
        "set.json",
        "tile-1of2-01-ss16-aqua.dxf",
        "tile-2of2-01-ss16-aqua.dxf",
    ]
    assert "4 templates" in run("roll", "layout.json:2", "--tile")


@pytest.mark.parametrize(("length", "fits"), [(960, True), (978, False)])
def test_a_line_is_as_long_as_a_panel_holds(shop, length, fits):
    """A panel is a metre with 6 mm free at each end; marks and margins take 14 mm and more."""
    (shop / "art.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="1000mm" height="30mm" '
        f'viewBox="0 0 1000 30"><rect x="5" y="5" width="{length}" height="20"/></svg>'
    )
    text = '[artwork]\nfile = "art.svg"\n[[lay]]\npick = { all = true }\nstone = "ss6"\n'
    (shop / "job.toml").write_text(text + 'colour = "gold"\npattern = "lattice"\n')
    if fits:
        run("make", "job.toml", "--out", "out")
        assert (shop / "out" / "01-ss6-gold.svg").exists()
        assert "tile" not in read(shop / "out" / "roll.txt")
    else:
        assert "with its marks, and sheet" in refused("make", "job.toml", "--out", "out")


@pytest.mark.usefixtures("shop")
def test_a_panel_is_known_by_its_marks():
    run("make", "job.toml", "--out", "out")
    assert "not-round" not in run("check", "out/panel-01.svg")
    words = refused("cut", "out/panel-01.svg", "--out", "cut", "--as", "dxf")
    assert words.startswith("out/panel-01.svg: is a panel of the roll")
    assert "stonelayout cut layout.json --as dxf" in words


@pytest.mark.usefixtures("shop")
def test_tiles_read_back_as_the_layers_that_they_are():
    run("make", "job.toml", "--out", "out")
    said = run("check", "out/tile-1of2-01-ss10-gold.svg", "out/tile-1of2-02-ss16-aqua.svg")
    assert "for ss10 gold" in said
    assert "for ss16 aqua" in said


def test_many_copies_cut_as_many_sets_on_every_paper(shop):
    """The demo's thin-flock stands 40 transfers: 150 wear out four sets, 4 x 40 >= 150."""
    run("make", "job.toml", "--out", "few")
    few = json.loads((shop / "few" / "report.json").read_text())["order"]
    assert (few["sets"], few["transfers_a_set"]) == (1, 40)
    (shop / "job.toml").write_text(JOB.format(copies=150, tile="true"))
    said = run("make", "job.toml", "--out", "out")
    order = json.loads((shop / "out" / "report.json").read_text())["order"]
    assert order["sets"] == 4
    assert order["cut_minutes"] == pytest.approx(4 * few["cut_minutes"], abs=0.2)
    spoken = f"{minutes(60 * order['cut_minutes'])} min"
    assert f"4 sets of templates, 40 transfers each, about {spoken} to cut" in said
    page = read(shop / "out" / "jobsheet.html")
    assert "4 of each, 16 in all: change after 40 transfers" in page
    assert "Cut 4 of each template: change to the next after 40 transfers" in page
    assert f"<dt>cutting, all templates</dt><dd>{spoken}</dd>" in page
    assert "templates, 4 of each:" in read(shop / "out" / "quote.txt")
    assert read(shop / "out" / "roll.txt").startswith("16 templates use ")
    run("jobsheet", "job.toml", "-o", "sheet.html")
    assert "Cut 4 of each template" in read(shop / "sheet.html")
    # Four sets have four boxes to tick for cutting and four for weeding.
    assert page.count('class="tick"') == 4 * (4 + 4 + 1)
