"""`check` and `cut` from the shell: any hole file, edited sets, every format, bad input."""

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from click import UsageError
from click.testing import CliRunner

from stonelayout.cli import group
from stonelayout.cli.check import command as check_command
from stonelayout.cli.cut import command as cut_command
from stonelayout.errors import InputError
from stonelayout.file_sets import RECORD, locked
from stonelayout.model.layout import Kind, Layout
from stonelayout.template.holes import read_holes

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def layout(tmp_path, monkeypatch):
    monkeypatch.setattr("stonelayout.template.tour_improvement.compiled_search", lambda: None)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("STONELAYOUT_CATALOGUE", raising=False)
    grid = np.array([(5 + 3.2 * x, 5 + 3.2 * y) for x in range(8) for y in range(6)])
    large = np.array([(45 + 4.2 * x, 6 + 4.2 * y) for x in range(5) for y in range(4)])
    found = Layout(
        (80.0, 40.0),
        (Kind("ss10", "jet", 2.8), Kind("ss6", "crystal", 2.0)),
        np.concatenate((large, grid)),
        np.repeat([0, 1], [len(large), len(grid)]),
        ("a",) * (len(large) + len(grid)),
    )
    (tmp_path / "layout.json").write_text(found.to_json())
    return found


def run(command, *args):
    result = CliRunner().invoke(command, args, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.return_value, result.stdout


def test_a_layout_is_cut_for_the_sheet_that_it_was_laid_for(layout, tmp_path):
    (tmp_path / "layout.json").write_text(replace(layout, sheet="standard-flock").to_json())
    assert run(check_command, "layout.json")[1].startswith("standard-flock: least web 0.55 mm")
    (tmp_path / "mine.toml").write_text('[sheet.mine]\nbase = "card"\nclearance = "0.63 mm"\n')
    (tmp_path / "layout.json").write_text(replace(layout, sheet="mine").to_json())
    run(cut_command, "layout.json", "--out", "o", "--catalogue", "mine.toml")
    assert 'r="1.315"' in (tmp_path / "o" / "01-ss6-crystal.svg").read_text()
    assert run(check_command, "layout.json", "--sheet", "thin-flock")[1].startswith("thin-flock")


@pytest.mark.usefixtures("layout")
def test_a_template_cut_again_alone_is_told_that_its_marks_are_others():
    run(cut_command, "layout.json", "--out", "o")
    result = CliRunner().invoke(cut_command, ["o/01-ss6-crystal.svg", "--out", "again"])
    assert (
        "warning: o/01-ss6-crystal.svg had register marks already, and got new ones, which fit "
        "only the templates that were given with it: to cut a torn template again send its own "
        "file to the cutter [marked-anew]"
    ) in " ".join(result.stderr.split())


@pytest.mark.usefixtures("layout")
def test_check_a_clean_layout():
    code, text = run(check_command, "layout.json")
    assert code == 0
    assert "no errors" in text
    code, text = run(check_command, "layout.json", "--format", "json")
    data = json.loads(text)
    assert data["version"] == 1
    assert [(e["file"], e["count"]) for e in data["layers"]] == [
        ("01-ss6-crystal.svg", 48),
        ("02-ss10-jet.svg", 20),
    ]
    assert [f["code"] for f in data["findings"]] == ["backs-hard-to-see", "stones-hard-to-see"]
    assert {f["severity"] for f in data["findings"]} == {"note"}


@pytest.mark.usefixtures("layout")
def test_check_finds_errors_and_exits_1():
    code, text = run(check_command, "layout.json", "--sheet", "heavy-rubber", "--format", "json")
    assert code == 1
    codes = {f["code"] for f in json.loads(text)["findings"]}
    assert "web-too-thin" in codes


@pytest.mark.usefixtures("layout")
def test_cut_writes_every_format_in_register_and_reads_back(tmp_path):
    code, text = run(cut_command, "layout.json", "--out", "cut", "--as", "svg,dxf,hpgl,pdf")
    assert code == 0
    names = sorted(path.name for path in (tmp_path / "cut").iterdir())
    stems = ["01-ss6-crystal", "02-ss10-jet"]
    files = [f"{s}.{k}" for s in stems for k in ("svg", "dxf", "hpgl", "pdf")]
    assert names == sorted([*files, RECORD])
    assert "force 70-90 g" in text
    groups = {
        re.search(
            r'<g id="registration".*?</g>', (tmp_path / "cut" / f"{s}.svg").read_text(), re.S
        )[0]
        for s in stems
    }
    assert len(groups) == 1
    # The layers check clean by themselves, and rebuild to sizes, colours and order.
    files = [f"cut/{stem}.svg" for stem in reversed(stems)]
    code, text = run(check_command, *files, "--format", "json")
    data = json.loads(text)
    assert code == 0
    assert [
        (e["order"], e["size"], e["colour"], e["count"], e["hole"]) for e in data["layers"]
    ] == [
        (1, "ss6", "crystal", 48, 2.5),
        (2, "ss10", "jet", 20, 3.3),
    ]
    again = run(cut_command, "layout.json", "--out", "again", "--as", "svg,dxf,hpgl,pdf")
    assert again[0] == 0
    for name in names:
        assert (tmp_path / "cut" / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


@pytest.mark.usefixtures("layout")
def test_a_hand_moved_layer_reads_back_and_is_cut_again(tmp_path):
    run(cut_command, "layout.json", "--out", "cut")
    path = tmp_path / "cut" / "01-ss6-crystal.svg"
    text = path.read_text()
    circles = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', text)
    x, y = min(circles, key=lambda at: float(at[0]))
    moved = text.replace(f'cx="{x}" cy="{y}"', f'cx="{float(x) + 0.45}" cy="{y}"', 1)
    path.write_text(moved)
    code, out = run(check_command, str(path), "--format", "json")
    assert code == 1
    finding = json.loads(out)["findings"][0]
    assert finding["code"] == "web-too-thin"
    assert "0.15 mm" in finding["message"]
    files = [str(path), str(tmp_path / "cut" / "02-ss10-jet.svg")]
    code, out = run(cut_command, *files, "--out", "edited", "--as", "svg,dxf", "--format", "json")
    assert code == 1
    data = json.loads(out)
    assert [entry["count"] for entry in data["layers"]] == [48, 20]
    assert data["layers"][0]["time"]["lifts"] > 48
    assert "01-ss6-crystal.svg" in data["files"]
    assert [entry["file"] for entry in data["layers"]] == ["01-ss6-crystal.dxf", "02-ss10-jet.dxf"]


@pytest.mark.usefixtures("layout")
def test_split_makes_a_crowded_layer_safe():
    code, _ = run(check_command, "layout.json", "--sheet", "heavy-rubber")
    assert code == 1
    code, text = run(
        cut_command, "layout.json", "--out", "s", "--sheet", "heavy-rubber", "--split",
        "--format", "json",
    )  # fmt: skip
    data = json.loads(text)
    assert code == 0
    names = [entry["file"] for entry in data["layers"]]
    assert "01-ss6-crystal-1of2.svg" in names
    assert sum(entry["count"] for entry in data["layers"]) == 68


@pytest.mark.usefixtures("layout")
def test_foreign_file_names_the_stone_of_each_group(tmp_path):
    body = "".join(f'<circle cx="{10 + 8 * k}" cy="20" r="1.25"/>' for k in range(5))
    body += "".join(f'<circle cx="{10 + 8 * k}" cy="40" r="2.6"/>' for k in range(3))
    body += '<circle cx="99" cy="60" r="9"/><ellipse id="egg" cx="60" cy="70" rx="3" ry="1"/>'
    (tmp_path / "theirs.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm" '
        f'viewBox="0 0 100 80">{body}</svg>'
    )
    code, text = run(check_command, "theirs.svg", "--format", "json")
    data = json.loads(text)
    assert code == 0
    assert [(e["size"], e["count"]) for e in data["layers"]] == [
        ("ss6", 5), ("ss20", 3), ("unknown", 1),
    ]  # fmt: skip
    codes = [f["code"] for f in data["findings"]]
    assert codes == ["no-such-stone", "not-round", "off-page", "backs-hard-to-see"]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "not JSON"),
        ('{"version": 2}', "version"),
        ("", "bad"),
        ("plain words", "bad"),
        (
            '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9">'
            '<path d="M0 0L9 9" stroke="#000"/></svg>',
            "no round holes",
        ),
    ],
)
@pytest.mark.parametrize("command", [check_command, cut_command])
@pytest.mark.usefixtures("layout")
def test_bad_files_give_one_line_and_write_nothing(tmp_path, content, words, command):
    (tmp_path / "bad.svg").write_text(content)
    args = ["bad.svg"] + (["--out", "o"] if command is cut_command else [])
    with pytest.raises(InputError, match=words) as caught:
        run(command, *args)
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "o").exists()


@pytest.mark.usefixtures("layout")
def test_two_layouts_or_a_wrong_format_are_refused():
    with pytest.raises(InputError, match="alone"):
        run(check_command, "layout.json", "layout.json")
    for args in (("--as", "svg,gif"), ("--as", ""), ("--bar", "100mm", "50mm", "100mm")):
        with pytest.raises((InputError, UsageError), match=r"gif|--as|10 %"):
            run(cut_command, "layout.json", "--out", "o", *args)


def test_check_is_a_command():
    assert group.get_command(None, "check") is check_command


def test_a_file_in_px_says_at_what_size_it_was_read_and_takes_another(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    circles = "".join(f'<circle cx="{20 + 40 * k}" cy="20" r="5"/>' for k in range(5))
    for body in (circles, f"{circles}<path d='M0 0H200'/>"):  # read the quick way, and in full
        (tmp_path / "theirs.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="40" '
            f'viewBox="0 0 200 40">{body}</svg>'
        )
        _, text = run(check_command, "theirs.svg")
        assert "theirs.svg gives its size in px: read at 96 px an inch it is 52.9 mm wide" in text
        assert "5 holes of 2.65 mm" in text
        _, text = run(check_command, "theirs.svg", "--width", "50mm")
        assert "in px" not in text
        assert "5 holes of 2.50 mm for ss6 any, least web 7.50 mm" in text


def test_a_hole_that_stands_twice_has_no_web_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "theirs.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="40mm" viewBox="0 0 50 40">'
        '<circle cx="10" cy="20" r="1.25"/><circle cx="10" cy="20" r="1.25"/>'
        '<circle cx="16" cy="20" r="1.25"/></svg>'
    )
    code, text = run(check_command, "theirs.svg")
    assert code == 1
    assert "3 holes of 2.50 mm for ss6 any, least web 3.50 mm" in text
    assert "two holes in the same place" in text


def test_a_folder_holds_one_set(layout, tmp_path):
    """A third layer of a former layout does not stay beside two new ones."""
    cut = tmp_path / "cut"
    third = replace(layout, kinds=(*layout.kinds, Kind("ss16", "red", 3.9)))
    third = replace(third, kind=np.where(np.arange(len(third)) < 4, 2, third.kind))
    (tmp_path / "three.json").write_text(third.to_json())
    run(cut_command, "three.json", "--out", "cut")
    assert (cut / "03-ss16-red.svg").exists()
    run(cut_command, "layout.json", "--out", "cut")
    assert sorted(path.name for path in cut.glob("*.svg")) == [
        *("01-ss6-crystal.svg", "02-ss10-jet.svg")
    ]
    run(cut_command, "three.json", "--out", "cut")
    (cut / "03-ss16-red.svg").write_text("by hand")
    result = CliRunner().invoke(cut_command, ["layout.json", "--out", "cut"])
    assert "03-ss16-red.svg is of an earlier run, and was left" in result.stderr
    with locked(cut), pytest.raises(InputError, match="another run is writing"):
        run(cut_command, "layout.json", "--out", "cut")


def test_what_is_cut_from_is_never_replaced(layout, tmp_path):
    run(cut_command, "layout.json", "--out", "cut")
    before = (tmp_path / "cut" / "01-ss6-crystal.svg").read_bytes()
    with pytest.raises(InputError, match="is what the job is made from: give another folder"):
        run(cut_command, "cut/01-ss6-crystal.svg", "cut/02-ss10-jet.svg", "--out", "cut")
    assert (tmp_path / "cut" / "01-ss6-crystal.svg").read_bytes() == before
    (tmp_path / "layout.json").write_text(layout.to_json())
    with pytest.raises(InputError, match="name is empty"):
        run(cut_command, "layout.json", "--out", "")


@pytest.mark.usefixtures("layout")
def test_a_corrected_or_mirrored_file_says_so_and_is_not_worked_on_twice(tmp_path):
    """100 mm that measure 99.5 and 100: x grows by 100 / 99.5 = 1.0050."""
    bar = ("--bar", "100mm", "99.5mm", "100mm")
    out = ("--out", "cut", "--as", "svg,dxf,pdf")
    run(cut_command, "layout.json", *out)
    plain = [path.read_bytes().lower() for path in sorted((tmp_path / "cut").iterdir())]
    assert not any(b"corrected" in data or b"mirrored" in data for data in plain)
    run(cut_command, "layout.json", *out, *bar, "--mirror")
    for path in (tmp_path / "cut").glob("0*"):
        text = path.read_bytes().decode("latin-1").lower().replace("\\", "")
        assert "corrected by a test bar (x 1.005, y 1): do not correct it again" in text
        assert "mirrored, for sheet cut from the back: do not mirror it again" in text
    file = str(tmp_path / "cut" / "01-ss6-crystal.svg")
    for option, words in (
        (bar, "--bar a second time: .* was corrected by a test bar .*x 1.005, y 1.* layout.json"),
        (("--mirror",), "--mirror a second time: .* was mirrored"),
    ):
        with pytest.raises(InputError, match=words):
            run(cut_command, file, "--out", "again", *option)
    assert not (tmp_path / "again").exists()
    for command in ((cut_command, file, "--out", "again"), (check_command, file)):
        result = CliRunner().invoke(command[0], command[1:], standalone_mode=False)
        assert "[already-corrected]" in result.output
        assert "[already-mirrored]" in result.output


FAULTY = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="40mm" viewBox="0 0 50 40">'
    + "".join(f'<circle cx="{x}" cy="20" r="1.25"/>' for x in (10, 10, 16, 18, 30, 32.7))
    + "</svg>"
)


def test_faults_of_a_hole_file_are_drawn_where_they_are(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "theirs.svg").write_text(FAULTY)
    code, text = run(check_command, "theirs.svg", "-o", "faults.svg")
    assert code == 1
    root = ET.fromstring((tmp_path / "faults.svg").read_text())  # noqa: S314 - our own
    groups = {g.get("id"): g for g in root.iter(f"{SVG}g")}
    holes = [(float(c.get("cx")), float(c.get("cy")), float(c.get("r"))) for c in groups["holes"]]
    assert holes == [(x, 20.0, 1.25) for x in (10, 10, 16, 18, 30, 32.7)]
    rings = sorted(float(c.get("cx")) for c in groups["faults"])
    assert rings == [10.0, 17.0, 31.35]
    words = [e.text for e in root.iter(f"{SVG}text")]
    assert words[0] == "theirs.svg"
    assert words.count("1") == words.count("2") == words.count("3") == 2  # at the ring, in the list
    assert "at 10.0, 20.0 mm: two holes in the same place: delete one" in words
    assert "lay the stones wider" not in text
    assert "run into each other by 0.5 mm: delete or move one of them in the drawing" in text
    assert (
        "thin-flock needs 0.4 mm: move one of them away by 0.2 mm, divide the layer over several "
        "sheets (cut --split), or choose a sheet that stands a thinner web" in text
    )


def test_the_picture_of_faults_is_offered_only_where_places_go_unnamed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    twice = "".join(f'<circle cx="{x}" cy="9" r="1.25"/>' * 2 for x in range(5, 65, 10))
    (tmp_path / "theirs.svg").write_text(FAULTY.replace("</svg>", f"{twice}</svg>"))
    result = CliRunner().invoke(check_command, ["theirs.svg"], standalone_mode=False)
    assert result.stderr == "every place is drawn with: -o faults.svg\n"
    (tmp_path / "theirs.svg").write_text(FAULTY)
    result = CliRunner().invoke(check_command, ["theirs.svg"], standalone_mode=False)
    assert result.stderr == ""
    with pytest.raises(UsageError, match=r'"faults": end the name in \.svg or \.png'):
        run(check_command, "theirs.svg", "-o", "faults")


def test_a_png_of_faults(tmp_path, monkeypatch):
    pytest.importorskip("resvg_py")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "theirs.svg").write_text(FAULTY)
    run(check_command, "theirs.svg", "-o", "faults.png")
    assert (tmp_path / "faults.png").read_bytes().startswith(b"\x89PNG")


def test_holes_in_one_place_are_cut_once(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "theirs.svg").write_text(FAULTY)
    result = CliRunner().invoke(cut_command, ["theirs.svg", "--out", "o"], standalone_mode=False)
    assert result.return_value == 1  # the others still meet
    assert (
        "note: 01-ss6-any: 1 hole in the same place as another left out [same-place]"
        in result.stderr
    )
    assert len(read_holes((tmp_path / "o" / "01-ss6-any.svg").read_bytes())) == 5


def test_layers_of_no_known_stone_have_their_number_and_one_hole_is_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "theirs.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="40mm" viewBox="0 0 90 40">'
        '<circle cx="20" cy="20" r="9.3"/><circle cx="85" cy="20" r="6.4"/></svg>'
    )
    _, text = run(check_command, "theirs.svg", "--format", "json")
    findings = {(f["code"], f["layer"]): f["message"] for f in json.loads(text)["findings"]}
    for layer, size in (("01-unknown-any", "12.8"), ("02-unknown-any", "18.6")):
        assert findings["no-such-stone", layer] == (
            f"1 hole of {size} mm: no stone size fits with a clearance of 0.5 mm: name the right "
            "sheet, or is the file at another scale?"
        )
    assert findings["off-page", ""] == ("1 hole reaches over the page's edge (circle-2): move it")


def test_numbers_of_faults_stand_apart_and_no_fault_is_no_ring(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    twice = "".join(f'<circle cx="{x}" cy="20" r="1.25"/>' * 2 for x in range(9, 41, 4))
    for body, faults in ((twice, 8), ('<circle cx="10" cy="20" r="1.25"/>', 0)):
        (tmp_path / "theirs.svg").write_text(f"{FAULTY.partition('<circle')[0]}{body}</svg>")
        run(check_command, "theirs.svg", "-o", "faults.svg")
        root = ET.fromstring((tmp_path / "faults.svg").read_text())  # noqa: S314 - our own
        numbers = {
            e.text: np.array([float(e.get("x")), float(e.get("y"))])
            for e in root.iter(f"{SVG}text")
            if e.get("text-anchor") == "middle"
        }
        assert sorted(numbers) == [str(k) for k in range(1, faults + 1)]
        rings = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "faults")
        assert len(rings) == faults
        for k, ring in enumerate(rings, start=1):
            own = np.array([float(ring.get("cx")), float(ring.get("cy"))])
            apart = [np.hypot(*(at - own)) for name, at in numbers.items() if name != str(k)]
            assert min(apart) > float(ring.get("r"))  # no other number stands in the ring
