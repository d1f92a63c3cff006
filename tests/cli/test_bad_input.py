"""Bad input of every kind: a clear message and exit 2, never a fault of ours."""

import json

import pytest
from click.testing import CliRunner

from stonelayout.cli import group
from stonelayout.errors import StoneLayoutError

ART = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">'
    '<rect id="a" width="30" height="30"/></svg>'
)
JOB = """[artwork]
file = "art.svg"
[[lay]]
pick = { all = true }
stone = "ss10"
colour = "red"
pattern = "edge"
"""
BIG = "9" * 5000


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "art.svg").write_text(ART, encoding="utf-8")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    run("lay", "art.svg", "--stone", "ss10", "-o", "layout.json")
    return tmp_path


def run(*words):
    """Return the output; StoneLayoutError is what ends with exit code 2."""
    result = CliRunner().invoke(group, words, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.output


def changed(shop, **values):
    data = json.loads((shop / "layout.json").read_text(encoding="utf-8")) | values
    (shop / "changed.json").write_text(json.dumps(data), encoding="utf-8")
    return "changed.json"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[[lay]]", f"[order]\ncopies = {BIG}\n[[lay]]", "number too long"),
        ("[[lay]]", "x = " + "[" * 5000 + "]" * 5000 + "\n[[lay]]", "nested too deep"),
        ('"edge"', '["edge"]', "is not text"),
        ('"ss10"', "[[]]", "is not text"),
        ("[artwork]", "[[artwork]]", "write it as a table"),
    ],
)
def test_job_files(shop, old, new, words):
    (shop / "job.toml").write_text(JOB.replace(old, new), encoding="utf-8")
    with pytest.raises(StoneLayoutError, match=words):
        run("make", "job.toml", "--out", "out")
    assert not (shop / "out").exists()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"diameter": 2.8', f'"diameter": {"9" * 400}', "1,000,000 mm at most"),
        ('"diameter": 2.8', '"diameter": 1e400', "1,000,000 mm at most"),
        ('"version": 1', f'"version": {BIG}', "a number in it is too long"),
        ('"crystal"', r'"\ud800x"', "size and colour must be words"),
        ('"crystal"', r'"a\u0001b"', "size and colour must be words"),
        ('["a"', r'["\udfff"', "must hold shape ids"),
    ],
)
@pytest.mark.parametrize("command", ["check", "cut", "proof"])
def test_layouts(shop, command, old, new, words):
    text = (shop / "layout.json").read_text(encoding="utf-8")
    assert old in text
    (shop / "changed.json").write_text(text.replace(old, new, 1), encoding="utf-8")
    more = {"check": [], "cut": ["--out", "out"], "proof": ["-o", "proof.svg"]}[command]
    with pytest.raises(StoneLayoutError, match=words):
        run(command, "changed.json", *more)


def test_layouts_far_off_or_of_too_many_kinds(shop):
    places = json.loads((shop / "layout.json").read_text(encoding="utf-8"))["centres"]
    with pytest.raises(StoneLayoutError, match='"centres" holds a number beyond 1,000,000 mm'):
        run("check", changed(shop, centres=[[1e300, 0.0], *places[1:]]))
    kinds = [{"size": f"s{k}", "colour": "red", "diameter": 2.0} for k in range(501)]
    with pytest.raises(StoneLayoutError, match='"kinds" has 501 entries'):
        run("check", changed(shop, kinds=kinds))


def test_a_colour_that_the_catalogue_lacks_is_drawn_grey_and_told(shop):
    kinds = [{"size": "ss10", "colour": "moss", "diameter": 2.8}]
    name = changed(shop, kinds=kinds)
    assert "the catalogue has no colour moss" in run("check", name)
    for page in ("proof.svg", "proof.html"):
        run("proof", name, "-o", page)
        assert "moss" in (shop / page).read_text(encoding="utf-8")
    run("jobsheet", name, "-o", "sheet.html")


def test_marks_of_byte_order_are_taken_everywhere(shop):
    for name in ("job.toml", "layout.json"):
        (shop / name).write_bytes(b"\xef\xbb\xbf" + (shop / name).read_bytes())
    run("make", "job.toml", "--out", "out")
    run("check", "layout.json")


@pytest.mark.parametrize("encoding", ["punycode", "undefined", "nonsense"])
def test_encodings_that_are_none(shop, encoding):
    head = f'<?xml version="1.0" encoding="{encoding}"?>'
    (shop / "art.svg").write_text(head + ART, encoding="utf-8")
    with pytest.raises(StoneLayoutError, match=encoding):
        run("inspect", "art.svg")


@pytest.mark.usefixtures("shop")
def test_names_too_long_and_designs_too_large():
    with pytest.raises(StoneLayoutError, match="File name too long"):
        run("make", "job.toml", "--out", "y" * 300)
    with pytest.raises(StoneLayoutError, match="look at its width and unit"):
        run("lay", "art.svg", "--stone", "ss3", "--pattern", "lattice", "--width", "90000mm")


def test_counts_too_long(shop):
    (shop / "list.csv").write_text(f"name,count\nAda,{BIG}\n", encoding="utf-8")
    words = '[[text]]\nwords = "{name}"\nheight = "10 mm"\n'
    job = '[names]\nfile = "list.csv"\n' + words + JOB[JOB.index("[[lay]]") :]
    (shop / "job.toml").write_text(job, encoding="utf-8")
    assert f'count "{"9" * 40}" is not a number of copies' in run("make", "job.toml", "--out", "o")


def test_a_file_of_two_sizes_is_one_sheet_unless_it_is_cut_apart(shop):
    body = '<circle cx="20" cy="20" r="1.65"/><circle cx="23.2" cy="20" r="1.25"/>'
    (shop / "bought.svg").write_text(ART.split("<rect")[0] + body + "</svg>", encoding="utf-8")
    told = CliRunner().invoke(group, ["check", "bought.svg"], standalone_mode=False)
    assert told.return_value == 1
    assert "[web-between-sizes]" in told.output
    assert told.output.endswith("1 error: do not cut yet\n")
    assert "ready for a trial cut" in run("check", "bought.svg", "--apart")
