"""The command line as a shop meets it: help, bad input, exit codes, nothing half-written."""

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from stonelayout.cli import COMMANDS, group
from stonelayout.errors import InputError
from stonelayout.model.catalogue import load_catalogue

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<rect id="hull" x="5" y="5" width="50" height="30" fill="#ff0000"/></svg>'
)
JOB = """\
[artwork]
file = "art.svg"

[[lay]]
pick = { all = true }
stone = "ss10"
colour = "crystal"
pattern = "lattice"
"""


def run(*args, cwd=None, text=None):
    return subprocess.run(
        [sys.executable, "-m", "stonelayout", *map(str, args)],
        cwd=cwd,
        input=text,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "art.svg").write_text(SQUARE)
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def files_in(folder):
    return sorted(path.name for path in folder.iterdir())


def test_help_lists_every_command_with_its_summary():
    text = CliRunner().invoke(group, ["--help"]).output
    for name, summary in COMMANDS.items():
        assert name in text
        assert summary.split()[0] in text


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_explains_itself(name):
    result = CliRunner().invoke(group, [name, "--help"])
    assert result.exit_code == 0
    assert result.output.startswith(f"Usage: root {name}") or f" {name} " in result.output
    assert len(result.output.splitlines()) >= 6


def test_a_misspelled_command_offers_the_nearest():
    result = run("maek")
    assert result.returncode == 2
    assert 'There is no command "maek". Did you mean make?' in result.stderr


def test_stones_and_sheets_print_mm_and_inches():
    stones = run("stones").stdout
    assert [line.split()[0] for line in stones.splitlines()[1:51]] == sorted(
        load_catalogue().stones, key=lambda name: int(name[2:])
    )
    assert "ss6       1.90 mm  2.10 mm    2.00 mm    0.079 in" in stones
    sheets = run("sheets").stdout
    assert "thin-flock" in sheets
    assert "least web             0.40 mm     0.016 in" in sheets
    data = json.loads(run("sheets", "--format", "json").stdout)
    assert {row["name"] for row in data["sheets"]} == set(load_catalogue().sheets)


def test_make_writes_what_the_contract_says(shop):
    result = run("make", "job.toml", "--out", "out", cwd=shop)
    assert (result.returncode, result.stderr) == (0, "")
    out = shop / "out"
    assert {"01-ss10-crystal.svg", "layout.json", "proof.svg", "report.json"} <= set(files_in(out))
    report = json.loads((out / "report.json").read_text())
    assert report["version"] == 1
    assert report["size"] == [60.0, 40.0]
    (layer,) = report["layers"]
    assert (layer["order"], layer["size"], layer["colour"]) == (1, "ss10", "crystal")
    assert (layer["hole"], layer["file"]) == (3.3, "01-ss10-crystal.svg")
    assert layer["least_web"] >= 0.4
    layout = json.loads((out / "layout.json").read_text())
    assert len(layout["centres"]) == layer["count"] == report["stones"]
    assert f"{layer['count']} stones" in result.stdout


def test_make_writes_every_cut_format_that_the_job_asks_for(shop):
    (shop / "job.toml").write_text(JOB + '\n[outputs]\ncut = ["svg", "dxf", "hpgl", "pdf"]\n')
    assert run("make", "job.toml", "--out", "out", cwd=shop).returncode == 0
    cut = {f"01-ss10-crystal.{form}" for form in ("svg", "dxf", "hpgl", "pdf")}
    assert cut <= set(files_in(shop / "out"))
    (shop / "job.toml").write_text(JOB)
    assert run("make", "job.toml", "--out", "out", cwd=shop).returncode == 0
    assert cut & set(files_in(shop / "out")) == {"01-ss10-crystal.svg"}


def test_make_twice_gives_the_same_bytes(shop):
    for name in ("one", "two"):
        assert run("make", "job.toml", "--out", name, cwd=shop).returncode == 0
    for name in files_in(shop / "one"):
        assert (shop / "one" / name).read_bytes() == (shop / "two" / name).read_bytes(), name


def test_make_again_drops_the_layers_of_the_run_before(shop):
    run("make", "job.toml", "--out", "out", cwd=shop)
    (shop / "out" / "notes.txt").write_text("the shop's own")
    (shop / "job.toml").write_text(JOB.replace("crystal", "ruby"))
    run("make", "job.toml", "--out", "out", cwd=shop)
    names = files_in(shop / "out")
    assert "01-ss10-ruby.svg" in names
    assert "01-ss10-crystal.svg" not in names
    assert "notes.txt" in names


def test_too_little_web_is_an_error_with_a_place_and_exit_1(shop):
    (shop / "job.toml").write_text(JOB + 'gap = "0.6 mm"\n')
    result = run("make", "job.toml", "--out", "out", "--format", "json", cwd=shop)
    assert result.returncode == 1
    findings = json.loads(result.stdout)["findings"]
    errors = [f for f in findings if f["severity"] == "error"]
    assert errors
    assert errors[0]["code"] == "web-too-thin"
    assert len(errors[0]["at"]) == 2
    assert "0.4 mm" in errors[0]["message"]


@pytest.mark.parametrize(
    ("drawing", "expected"),
    [
        (None, "job.toml:2: artwork.file: art.svg: there is no such file"),
        ("", "art.svg"),
        ("junk", "art.svg: not an SVG file"),
        ("<html><body/></html>", "art.svg"),
        ('<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm"/>', "art.svg"),
        (SQUARE.replace("60mm", "0mm"), "art.svg"),
        (SQUARE.replace('x="5"', 'x="nan"'), "art.svg:1"),
        (SQUARE.replace('x="5"', 'x="1e308"'), "art.svg:1"),
        (SQUARE.replace("</svg>", ""), "art.svg:1"),
    ],
)
def test_bad_artwork_is_one_clear_line_and_exit_2(shop, drawing, expected):
    (shop / "art.svg").unlink()
    if drawing is not None:
        (shop / "art.svg").write_text(drawing)
    result = run("make", "job.toml", "--out", "out", cwd=shop)
    assert result.returncode == 2, result.stderr
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1
    assert lines[0].startswith(f"error: {expected}")
    assert "Traceback" not in result.stderr
    assert not (shop / "out").exists()


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('"ss10"', '"ss100"', 'error: job.toml:6: lay[1].stone: unknown stone "ss100"'),
        ("{ all = true }", '{ id = "hul" }', "error: job.toml:4: lay[1].pick: no shape in art.svg"),
        ('"lattice"', '"lattice"\npitch = "1 mm"', "error: job.toml:9: lay[1].pitch: a pitch of 1"),
        ("[artwork]", "[artwork", "error: job.toml: not TOML"),
    ],
)
def test_a_bad_job_names_its_line_and_exits_2(shop, old, new, expected):
    (shop / "job.toml").write_text(JOB.replace(old, new))
    result = run("make", "job.toml", "--out", "out", cwd=shop)
    assert result.returncode == 2
    assert result.stderr.startswith(expected)
    assert not (shop / "out").exists()


def test_a_sheet_narrower_than_the_design_is_refused_before_laying(shop):
    (shop / "job.toml").write_text(JOB.replace("art.svg", 'art.svg"\nwidth = "900 mm', 1))
    result = run("make", "job.toml", "--out", "out", cwd=shop)
    assert result.returncode == 2
    assert result.stderr.startswith("error: art.svg: the design measures 750.0 mm (29.528 in) x ")
    assert "tile = true" in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert not (shop / "out").exists()


def test_a_job_that_asks_for_tiles_is_cut_in_strips(shop):
    wide = JOB.replace("art.svg", 'art.svg"\nwidth = "700 mm', 1).replace("ss10", "ss40")
    (shop / "job.toml").write_text(wide + '\n[sheet]\nuse = "card"\ntile = true\n')
    result = run("make", "job.toml", "--out", "out", cwd=shop)
    assert result.returncode == 0, result.stdout + result.stderr
    assert any(name.startswith("panel-") for name in files_in(shop / "out"))


def test_lay_writes_a_layout_to_standard_output():
    result = run("lay", "-", "--stone", "ss6", "--pattern", "lattice", text=SQUARE)
    assert result.returncode == 0, result.stderr
    layout = json.loads(result.stdout)
    assert layout["kinds"] == [{"size": "ss6", "colour": "crystal", "diameter": 2.0}]
    assert f"{len(layout['centres'])} stones on 60.0 x 40.0 mm" in result.stderr


@pytest.mark.parametrize(
    ("args", "expected"),
    [
        (["--stone", "ss6", "--gap", "1"], "has no unit"),
        (["--stone", "ss6", "--gap", "1mm", "--web", "1mm"], "one of --pitch, --gap and --web"),
        (["--stone", "ss6", "--set", "swirl=3"], 'has no option "swirl"'),
        (["--stone", "ss6", "--set", "margin=3"], "--set margin"),
        (["--stone", "ss6,ss10"], "one size"),
        (["--stone", "ss6", "--colour", "redd"], 'unknown colour "redd"; did you mean red?'),
        (["--stone", "ss6", "--sheet", "thin"], 'unknown sheet "thin"'),
    ],
)
def test_lay_refuses_bad_usage(shop, args, expected):
    result = run("lay", "art.svg", "--pattern", "lattice", *args, "-o", "l.json", cwd=shop)
    assert result.returncode == 2
    assert expected in result.stderr
    assert not (shop / "l.json").exists()


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_examples_in_help_stand_as_written(name):
    assert "\\b" not in CliRunner().invoke(group, [name, "--help"]).output


def test_an_option_given_twice_is_refused_or_taken_as_two(shop):
    twice = run("lay", "art.svg", "--stone", "ss10", "--width=60mm", "--width", "90mm", cwd=shop)
    assert (twice.returncode, twice.stdout) == (2, "")
    assert "error: --width is given twice: give it once" in twice.stderr
    both = ["--stone=ss6", "--stone=ss10"], ["--stone=ss6,ss10"]
    one, other = (run("lay", "art.svg", "--pattern=graded", *s, cwd=shop) for s in both)
    assert one.returncode == 0
    assert one.stdout == other.stdout
    several = run("lay", "art.svg", *both[0], cwd=shop)
    assert "--pattern courses takes one size" in several.stderr


DRAWN = (
    "art.svg: this is a drawing, and a layout.json or a job file is wanted here: stonelayout lay "
    "makes a layout of a drawing; stonelayout check FILE -o PICTURE.svg shows a hole file"
)
IS_A_JOB = "job.toml: this is a job file"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (
            ("make", "art.svg", "--out", "out"),
            "art.svg: this is a drawing, and make takes a job file (.toml) that names it under "
            "[artwork]; to lay one pattern on it: stonelayout lay art.svg",
        ),
        (("cut", "job.toml", "--out", "out"), f"{IS_A_JOB}: stonelayout make checks it and writes"
         " its cut files"),
        (("check", "job.toml"), f"{IS_A_JOB}: stonelayout make checks it and writes its cut files"),
        (
            ("inspect", "job.toml"),
            f"{IS_A_JOB}, no drawing; to make the job: stonelayout make job.toml --out DIR",
        ),
        (("proof", "art.svg", "-o", "out"), DRAWN),
        (("jobsheet", "art.svg", "-o", "out"), DRAWN),
        (("stock", "art.svg"), DRAWN),
        (("stock", "jop.toml"), "jop.toml: cannot read: there is no such file; did you mean "
         "job.toml?"),
    ],
)  # fmt: skip
def test_a_file_of_another_kind_is_called_by_its_name(shop, monkeypatch, arguments, words):
    monkeypatch.chdir(shop)
    arguments = ["out.svg" if one == "out" and "-o" in arguments else one for one in arguments]
    with pytest.raises(InputError) as told:
        CliRunner().invoke(group, arguments, standalone_mode=False, catch_exceptions=False)
    assert str(told.value) == words
    assert files_in(shop) == ["art.svg", "job.toml"]


def test_a_percentage_may_have_its_sign(shop):
    plain = run("stock", "job.toml", "--spare", "10", cwd=shop)
    assert plain.returncode == 0
    assert run("stock", "job.toml", "--spare", "10 %", cwd=shop).stdout == plain.stdout
    assert run("stock", "job.toml", "--spare", "0", cwd=shop).stdout != plain.stdout
    for wrong in ("ten", "101", "nan"):
        result = run("stock", "job.toml", "--spare", wrong, cwd=shop)
        assert result.returncode == 2
        assert f'"{wrong}" is not a percentage from 0 to 100; write e.g. 10' in result.stderr


def test_what_is_drawn_otherwise_is_not_said_to_get_no_stones(shop):
    (shop / "art.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<linearGradient id="g"><stop stop-color="#ff0000"/></linearGradient>'
        '<rect id="hull" x="5" y="5" width="50" height="30" fill="url(#g)"/>'
        '<text id="motto" x="9" y="9" font-family="no such font">Row</text></svg>'
    )
    for arguments in (("make", "job.toml", "--out", "out"), ("lay", "art.svg", "--stone", "ss10")):
        result = run(*arguments, cwd=shop)
        told = [
            line.removeprefix("warning: ")
            for line in (result.stdout + result.stderr).splitlines()
            if "not as drawn" in line or "not read" in line
        ]
        assert told[0] == (
            'not as drawn: rect "hull" (line 1): a gradient fill was read as one flat colour '
            "[not-read]"
        )
        assert told[1].startswith('not read, so it gets no stones: text "motto" (line 1): ')
    report = json.loads((shop / "out" / "report.json").read_text())
    assert [entry["drawn"] for entry in report["skipped"]] == [True, False]


def test_one_of_a_thing_is_told_in_the_singular(shop):
    (shop / "art.svg").write_text(SQUARE.replace('width="50" height="30"', 'width="3" height="3"'))
    result = run("make", "job.toml", "--out", "out", cwd=shop)
    assert result.stdout.startswith("job: 1 stone, ")
    assert "crystal          1 stone   hole" in result.stdout
    assert "1 hole of" in (shop / "out" / "01-ss10-crystal.svg").read_text()
    assert "1 stone on 60.0 x 40.0 mm" in run("lay", "art.svg", "--stone", "ss10", cwd=shop).stderr
    letters = run("letters", "I", "-o", "i.svg", cwd=shop).stderr
    assert letters.startswith("1 letter, ")


def test_lay_warns_of_webs_that_the_sheet_does_not_hold(shop):
    lay = ("lay", "art.svg", "--stone", "ss10", "-o", "layout.json")
    result = run(*lay, "--gap", "0.02in", cwd=shop)
    assert result.returncode == 0
    found = json.loads(run("check", "layout.json", "--format", "json", cwd=shop).stdout)["findings"]
    count = sum(f["count"] for f in found if f["code"] in ("web-too-thin", "holes-meet"))
    assert count > 50
    assert (
        f"warning: ss10: {count} webs thinner than sheet thin-flock holds (0.4 mm): give a gap of "
        "0.9 mm or more, or another sheet; stonelayout check shows where\n"
    ) in result.stderr
    for gap in (("--gap", "0.9mm"), ()):
        assert "thinner" not in run(*lay, *gap, cwd=shop).stderr
