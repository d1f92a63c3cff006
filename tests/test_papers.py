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
