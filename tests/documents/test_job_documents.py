"""One truth on all papers: what the terminal says stands on the proof and the job sheet too."""

import json
import re
from html import unescape

import pytest
from click.testing import CliRunner

from stonelayout.cli import group

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
#: A pennant with a ring, a slogan in a face that nobody has, a photograph, a hidden layer.
FIELD = f'{HEAD}<rect id="field" x="5" y="5" width="60" height="30" fill="#ff0000"/>'
PENNANT = (
    f"{FIELD}"
    '<text id="slogan" x="5" y="50" font-family="Nobody Has This">Row on</text>'
    '<image id="photo" x="1" y="1" width="9" height="9" href="data:image/png;base64,AA"/>'
    '<g display="none"><rect x="5" y="40" width="9" height="9"/></g></svg>'
)
JOB = """\
[artwork]
file = "art.svg"

[outputs]
proof = ["svg", "html"]

[[lay]]
pick = { all = true }
stone = "ss10"
colour = "red"
pattern = "lattice"
"""


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "art.svg").write_text(PENNANT)
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def run(*args, code=0):
    result = CliRunner().invoke(group, [str(arg) for arg in args], standalone_mode=False)
    assert result.exception is None, result.output
    assert result.return_value == code, result.output
    return result.output


def read(path):
    return unescape(path.read_text(encoding="utf-8"))


def test_what_was_not_read_stands_on_every_paper_of_the_shop(shop):
    said = run("make", "job.toml", "--out", "out")
    slogan = 'warning: not read, so it gets no stones: text "slogan" (line 1): '
    photo = (
        'warning: not read, so it gets no stones: image "photo" (line 1): a picture has no '
        "outlines: trace it first"
    )
    page = read(shop / "out" / "proof.html")
    sheet = read(shop / "out" / "jobsheet.html")
    drawn = " ".join(re.findall(r">([^<>]+)</text>", read(shop / "out" / "proof.svg")))
    for words in (said, drawn):
        assert slogan in words
        assert photo in words
    for words in (page, sheet):
        assert slogan.partition(": ")[2] in words
        assert photo.partition(": ")[2] in words
    assert "nothing was found amiss" not in page
    assert "Findings: 2 warnings<" in page
    assert "Before you cut: 2 warnings<" in sheet
    # What the customer hid is no fault: a note.
    assert "note: gets no stones: g (line 1): hidden (display: none)" in said
    assert "slogan" not in read(shop / "out" / "proof-customer.html")
    for command in (("jobsheet", "job.toml"), ("proof", "job.toml")):
        run(*command, "-o", f"{command[0]}.html")
        assert slogan.partition(": ")[2] in read(shop / f"{command[0]}.html")


def test_make_sees_what_check_sees(shop):
    """Red on a black sheet is hard to see, whichever command looks."""
    said = run("make", "job.toml", "--out", "out")
    checked = run("check", "out/layout.json")
    for words in ("red stones are hard to see on a black sheet", "stone backs are dark grey"):
        assert said.count(words) == checked.count(words) == 1
    assert "red stones are hard to see on a black sheet" in read(shop / "out" / "jobsheet.html")


def test_every_paper_counts_the_same_errors(shop):
    (shop / "art.svg").write_text(f"{FIELD}</svg>")
    (shop / "job.toml").write_text(JOB + 'gap = "0.6 mm"\n')
    said = run("make", "job.toml", "--out", "out", code=1)
    checked = run("check", "out/layout.json", code=1)
    errors = [
        f
        for f in json.loads((shop / "out" / "report.json").read_text())["findings"]
        if f["severity"] == "error"
    ]
    total = sum(f["count"] for f in errors)
    assert total > len(errors) > 8  # more than are named
    assert f"{total} errors, " in checked.splitlines()[-1]
    assert f"(and {total - 1} more: " in said
    assert f"(and {total - 1} more: " in checked
    sheet = read(shop / "out" / "jobsheet.html")
    assert f"Do not cut yet: {total} errors, " in sheet
    assert f"(and {total - 1} more: " in sheet
    assert f"Findings: {total} errors, " in read(shop / "out" / "proof.html")
    assert f"in all {total} errors, " in read(shop / "out" / "proof.svg")


@pytest.mark.parametrize("ending", ["html", "svg"])
def test_the_customers_proof_counts_no_stones(shop, ending):
    run("make", "job.toml", "--out", "out")
    count = json.loads((shop / "out" / "report.json").read_text())["stones"]
    run("proof", "job.toml", "--customer", "-o", f"theirs.{ending}")
    run("proof", "job.toml", "-o", f"ours.{ending}")
    theirs, ours = read(shop / f"theirs.{ending}"), read(shop / f"ours.{ending}")
    assert f"{count} stones" in ours
    assert f"{count} stones" not in theirs
    assert "stones in all" not in theirs


#: A loaf 60 mm wide on a page of 210 x 297 mm.
LOAF = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="297mm" viewBox="0 0 210 297">'
    '<rect x="70" y="120" width="60" height="40"/></svg>'
)
WIDE = JOB.replace('"art.svg"', '"art.svg"\nwidth = "100 mm"')


def design_of(folder):
    report = json.loads((folder / "report.json").read_text())
    codes = [f["code"] for f in report["findings"] if f["code"] == "smaller-than-asked"]
    return report["design"][0], codes


def test_a_design_smaller_than_the_width_asked_is_told_with_the_figure_to_ask(shop):
    """60 mm of 210 mm at a page of 100 mm are 28.57 mm; 100 / 28.57 x 100 = 350 mm of page."""
    (shop / "art.svg").write_text(LOAF)
    (shop / "job.toml").write_text(WIDE)
    said = run("make", "job.toml", "--out", "out")
    wide, codes = design_of(shop / "out")
    assert codes == ["smaller-than-asked"]
    words = (
        "the design itself is 28.6 mm wide: the width of 100 mm is the page's. For a design "
        '100 mm wide write size_of = "design" beside it (or width = "350 mm"); if the page is '
        'meant, size_of = "page"'
    )
    for paper in (said, *(read(shop / "out" / f"{x}.html") for x in ("proof", "jobsheet"))):
        assert words in paper
    # The summary measures what proof and job sheet measure.
    assert f", {wide:.1f} mm (" in said.splitlines()[0]
    assert f"{wide:.1f} mm (" in read(shop / "out" / "jobsheet.html")
    assert "on a page of 100.0 x 141.4 mm (width asked)" in said.splitlines()[0]
    run("jobsheet", "job.toml", "-o", "sheet.html")
    assert words in read(shop / "sheet.html")
    flags = ("art.svg", "--width", "100mm")
    for command in (("inspect", *flags), ("lay", *flags, "--stone", "ss6", "-o", "l.json")):
        found = CliRunner().invoke(group, command, standalone_mode=False).output
        assert "100 mm wide say --size-of design (or --width 350mm)" in found
        meant = CliRunner().invoke(group, [*command, "--size-of", "page"], standalone_mode=False)
        assert meant.exception is None
        assert "the design itself" not in meant.output


@pytest.mark.parametrize(
    ("size", "side", "asked"), [("width", 0, 100.0), ("height", 1, 70.0), ("width", 0, 28.0)]
)
def test_the_design_itself_is_sized_on_request(shop, size, side, asked):
    (shop / "art.svg").write_text(LOAF)
    text = JOB.replace('"art.svg"', f'"art.svg"\n{size} = "{asked:g} mm"\nsize_of = "design"')
    (shop / "job.toml").write_text(text)
    run("make", "job.toml", "--out", "out")
    report = json.loads((shop / "out" / "report.json").read_text())
    # The grid stands inside the outline: less than a pitch of 3.75 mm is free on each side.
    assert asked - 2 * 3.8 < report["design"][side] <= asked + 1e-6
    assert report["size"][0] == pytest.approx(asked * 210 / (60 if side == 0 else 40), rel=1e-6)
    assert not [f for f in report["findings"] if f["severity"] == "warning"]


def test_only_what_is_picked_is_sized_and_a_page_that_is_meant_stays(shop):
    """Two jobs on one page stay in register: size_of = "page" is silent, and so is a full page."""
    both = LOAF.replace(
        "/></svg>", '/><rect fill="#ff0000" x="0" y="0" width="210" height="20"/></svg>'
    )
    (shop / "art.svg").write_text(both)
    black = WIDE.replace("{ all = true }", '{ fill = "black" }')
    (shop / "job.toml").write_text(black)
    run("make", "job.toml", "--out", "warned")
    assert design_of(shop / "warned")[1] == ["smaller-than-asked"]
    (shop / "job.toml").write_text(black.replace('100 mm"', '100 mm"\nsize_of = "page"'))
    run("make", "job.toml", "--out", "page")
    assert design_of(shop / "page") == (design_of(shop / "warned")[0], [])
    (shop / "job.toml").write_text(black.replace('100 mm"', '100 mm"\nsize_of = "design"'))
    run("make", "job.toml", "--out", "design")
    assert 92 < design_of(shop / "design")[0] <= 100 + 1e-6
    (shop / "job.toml").write_text(WIDE)
    run("make", "job.toml", "--out", "full")
    assert design_of(shop / "full")[1] == []
    (shop / "job.toml").write_text(black.replace('100 mm"', '100 mm"\nsize_of = "shape"'))
    result = CliRunner().invoke(group, ["make", "job.toml", "--out", "x"], standalone_mode=False)
    assert 'unknown thing to size "shape"; there are: design, page' in str(result.exception)


@pytest.mark.parametrize("size", ["", 'width = "9 cm"\nheight = "5 cm"'])
def test_the_size_of_a_design_is_one_length(shop, size):
    (shop / "job.toml").write_text(
        JOB.replace('"art.svg"', f'"art.svg"\n{size}\nsize_of = "design"')
    )
    result = CliRunner().invoke(group, ["make", "job.toml", "--out", "x"], standalone_mode=False)
    assert "give its width or its height, one of the two" in str(result.exception)
