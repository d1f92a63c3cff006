"""The library as a program calls it: the same results, checks and errors as the command line."""

import json
import subprocess
import sys
import tomllib

import ezdxf
import numpy as np
import pytest
import shapely
from paths import EXAMPLES, ROOT
from scipy.spatial import KDTree

import stonelayout as sl

DISC = shapely.Point(0, 0).buffer(20, 64)


@pytest.fixture(scope="module")
def disc():
    return sl.lay_polygon(DISC, pattern="courses", stone="ss10", gap="1 mm", sheet="thin-flock")


def test_stones_keep_the_pitch_and_stay_inside(disc):
    assert len(disc) > 80
    assert disc.kinds == (sl.Kind("ss10", "crystal", 2.8),)
    assert KDTree(disc.centres).query(disc.centres, k=2)[0][:, 1].min() >= 3.8 * (1 - 1e-9)
    assert shapely.distance(DISC.boundary, shapely.points(disc.centres)).min() >= 1.4 - 1e-6
    assert (disc.sheet, set(disc.source)) == ("thin-flock", {"shape-1"})


@pytest.mark.parametrize(
    "spacing", [{"pitch": 3.8}, {"gap": 1}, {"gap": "0.1 cm"}, {"web": "0.5 mm"}]
)
def test_lengths_are_numbers_in_mm_or_text(disc, spacing):
    sheet = sl.load_catalogue().sheet("thin-flock")
    if "web" in spacing:
        spacing = {"web": 3.8 - sheet.hole(2.8)}
    other = sl.lay_polygon(DISC, stone="ss10", sheet=sheet, **spacing)
    assert np.array_equal(other.centres, disc.centres)


def test_the_same_stones_as_the_command_line_lays(tmp_path, disc):
    drawing = tmp_path / "disc.svg"
    data = " ".join(f"{x!r},{y!r}" for x, y in DISC.exterior.coords[:-1])
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" '
        f'viewBox="-30 -30 60 60"><polygon points="{data}"/></svg>',
        encoding="utf-8",
    )
    words = ["lay", str(drawing), "--stone", "ss10", "--gap", "1mm", "-o", str(tmp_path / "l.json")]
    run = subprocess.run(
        [sys.executable, "-m", "stonelayout", *words], cwd=ROOT, capture_output=True, check=False
    )
    assert run.returncode == 0, run.stderr
    laid = np.array(json.loads((tmp_path / "l.json").read_text())["centres"]) - 30
    assert len(laid) == len(disc)
    assert KDTree(laid).query(disc.centres)[0].max() < 2e-6


@pytest.mark.parametrize(
    ("wrong", "error", "words"),
    [
        ({"pattern": "evn"}, sl.JobError, 'pattern: unknown pattern "evn"; did you mean even'),
        ({"stone": "ss99"}, sl.JobError, 'stone: unknown stone "ss99"; did you mean'),
        ({"colour": "blau"}, sl.JobError, 'unknown colour "blau"; did you mean blue'),
        ({"gapp": 1}, sl.JobError, 'unknown key "gapp"; did you mean gap'),
        ({"rows": 2}, sl.JobError, 'unknown key "rows"'),
        ({"pitch": 0.5}, sl.JobError, "a pitch of 0.5 mm is less than the stone: ss10 measures up"),
        ({"gap": "wide"}, sl.JobError, 'gap: "wide" is not a length'),
        ({"gap": 1, "pitch": 4}, sl.JobError, "give one of pitch, gap and web"),
        ({"stone": ["ss6", "ss10"]}, sl.JobError, "courses takes one size, not a list"),
        ({"sheet": "flok"}, sl.CatalogueError, 'unknown sheet "flok"'),
        ({"stone": "ss48"}, sl.LayoutError, "no stone fits"),
    ],
)
def test_wrong_options_are_refused_as_in_a_job_file(wrong, error, words):
    tiny = shapely.box(0, 0, 6, 6)
    with pytest.raises(error, match=words.replace("(", r"\(")):
        sl.lay_polygon(tiny, **{"stone": "ss10", **wrong})


def test_every_problem_is_told_at_once():
    with pytest.raises(sl.JobError) as caught:
        sl.lay_polygon(DISC, stone="ss99", colour="blau", marginn=1)
    assert len(caught.value.problems) == 3
    assert all(line.startswith("lay_polygon: ") for line in caught.value.problems)


def test_a_rule_by_hand_is_checked_too():
    catalogue = sl.load_catalogue()
    stones = (catalogue.stone("ss10"),)
    for wrong, words in (
        ({"pattern": "evn"}, "did you mean even"),
        ({"options": {"rows": 2}}, 'unknown option "rows"'),
        ({"pitches": (0.5,)}, "less than the stone"),
        ({"pitches": ()}, "1 stone sizes with 0 pitches"),
    ):
        given = {"pattern": "courses", "pitches": (4.0,), "options": {}, **wrong}
        with pytest.raises(sl.JobError, match=words):
            sl.Rule(pick=sl.Pick(all=True), stones=stones, colour="red", **given)
    rule = sl.Rule(sl.Pick(all=True), stones, (4.0,), "blau", "even")
    assert rule.options["quality"] == "good"
    with pytest.raises(sl.CatalogueError, match="did you mean blue"):
        sl.lay_stones(sl.artwork_of(DISC), [rule])


def test_cut_files_read_back_in_every_format(tmp_path, disc):
    files = sl.write_cut_files(disc, tmp_path / "cut", ("svg", "dxf", "hpgl", "pdf"))
    assert [file.name for file in files] == [
        f"01-ss10-crystal.{e}" for e in ("dxf", "hpgl", "pdf", "svg")
    ]
    circles = ezdxf.readfile(files[0]).modelspace().query("CIRCLE")
    hole = sl.load_catalogue().sheet("thin-flock").hole(2.8)
    assert sum(abs(2 * circle.dxf.radius - hole) < 1e-4 for circle in circles) == len(disc)


@pytest.mark.parametrize(
    ("options", "error", "words"),
    [
        ({"formats": ("dfx",)}, sl.InputError, 'unknown format "dfx"; did you mean pdf or dxf'),
        ({"formats": ()}, sl.InputError, "no format"),
        ({"sheet": "flok"}, sl.CatalogueError, "unknown sheet"),
        ({"cutter": "big"}, sl.CatalogueError, "unknown cutter"),
    ],
)
def test_wrong_cut_options_write_nothing(tmp_path, disc, options, error, words):
    with pytest.raises(error, match=words):
        sl.write_cut_files(disc, tmp_path / "cut", **options)
    assert not (tmp_path / "cut").exists()


def test_a_proof_by_its_ending(tmp_path, disc):
    svg = sl.write_proof(disc, tmp_path / "disc.svg", garment="black")
    assert svg.read_text(encoding="utf-8").endswith("</svg>\n")
    assert "<html" in sl.write_proof(disc, tmp_path / "disc.html").read_text(encoding="utf-8")
    with pytest.raises(sl.InputError, match="end the name in"):
        sl.write_proof(disc, tmp_path / "disc.gif")
    with pytest.raises(sl.CatalogueError, match="unknown colour"):
        sl.write_proof(disc, tmp_path / "disc.svg", garment="navvy")


def test_the_version_is_the_wheels():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["dynamic"] == ["version"]
    run = subprocess.run(
        [sys.executable, "-m", "stonelayout", "--version"],
        cwd=EXAMPLES,
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip().endswith(sl.__version__)


def test_importing_the_package_imports_nothing_heavy():
    code = (
        "import sys, stonelayout; stonelayout.__version__\n"
        "sys.exit(str({'numpy', 'shapely', 'scipy', 'click'} & set(sys.modules) or ''))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.stderr.strip() == ""


@pytest.mark.filterwarnings("default")
def test_the_reference_is_built_from_docstrings(tmp_path):
    pytest.importorskip("pdoc")
    run = subprocess.run(
        [sys.executable, str(ROOT / ".ci" / "reference.py"), str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (run.returncode, run.stderr) == (0, "")
    page = (tmp_path / "stonelayout.html").read_text(encoding="utf-8")
    assert [name for name in sl.__all__ if f'id="{name}"' not in page] == []
