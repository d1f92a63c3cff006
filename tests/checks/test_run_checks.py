"""The library's checks give the command line's verdict, finding by finding."""

import json
import math
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import shapely

from stonelayout.checks.run_checks import run_checks
from stonelayout.errors import CatalogueError, InputError, LayoutError, StoneLayoutError
from stonelayout.library import lay_polygon
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layout import Kind, Layout
from stonelayout.template.holes import read_holes
from stonelayout.template.layers_from_holes import rebuild
from stonelayout.template.separation import separate

CATALOGUE = load_catalogue()
SS6, SS10, SS20 = (
    Kind(name, "crystal", CATALOGUE.stone(name).diameter) for name in ("ss6", "ss10", "ss20")
)
WHITE = '[sheet.white-flock]\nbase = "thin-flock"\ncolour = "white"\n'


def layout(*groups, sheet="thin-flock", size=(300, 300)):
    """Return a layout of (kind, centres) groups."""
    centres = [np.asarray(places, dtype=float).reshape(-1, 2) for _, places in groups]
    kind = np.repeat(np.arange(len(groups)), [len(places) for places in centres])
    source = ("hull",) * len(kind)
    kinds = tuple(kind for kind, _ in groups)
    return Layout(size, kinds, np.concatenate(centres), kind, source, sheet=sheet)


def row(count, pitch, y=20.0):
    return [(20 + pitch * k, y) for k in range(count)]


def ring(count, pitch):
    turns, radius = 2 * np.arange(count) * math.pi / count, pitch / 2 / math.sin(math.pi / count)
    return 100 + radius * np.column_stack((np.cos(turns), np.sin(turns)))


def on_white(laid):
    return replace(laid, sheet="white-flock")


PENNANT = shapely.Polygon([(0, 0), (120, 25), (0, 50)])
THIRD = 1 / 3  # no decimal number: the file rounds it
CASES = {
    "good courses": (on_white(lay_polygon(PENNANT, stone="ss10", colour="jet", gap="1 mm")), set()),
    "good at the least web": (lay_polygon(PENNANT, stone="ss6", pattern="lattice"), None),
    "thin webs": (layout((SS10, row(6, 3.3 + THIRD / 10))), {"web-too-thin"}),
    "many thin webs alike": (
        layout((SS10, [p for y in range(12) for p in row(12, 3.4 + THIRD / 10, 20 + y * 4)])),
        {"web-too-thin", "tear-line"},
    ),
    "holes that meet, and doubled": (
        layout((SS10, [*row(3, 2.9), (90, 20), (90, 20)])),
        {"holes-meet", "same-place"},
    ),
    "two sizes too near": (
        layout((SS10, [(20, 20), (40, 20), (60, 20)]), (SS6, [(22, 20), (42.5, 20), (62.45, 20)])),
        {"stones-touch", "stone-over-hole"},
    ),
    "tear line": (layout((SS20, row(12, 5.2 + 0.1 * THIRD))), {"tear-line"}),
    "ring": (layout((SS20, ring(40, 5.6))), {"hangs-on-little"}),
    "weak across": (layout((SS20, row(24, 5.5)), size=(400, 60)), None),
    "poor contrast": (
        layout((replace(SS10, colour="jet"), row(5, 6))),
        {"backs-hard-to-see", "stones-hard-to-see"},
    ),
    "larger than the sheet": (
        layout((SS10, [(20, 20), (390, 20), (20, 390), (390, 390)]), size=(400, 400)),
        {"larger-than-sheet"},
    ),
}


@pytest.fixture
def own(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(WHITE)
    return file


def commanded(laid, own, *args):
    """Return the findings that the command prints for the layout's file, and its exit code."""
    file = own.with_name("layout.json")
    file.write_text(laid.to_json())
    run = subprocess.run(
        [sys.executable, "-m", "stonelayout", "check", file, "--format", "json"]
        + ["--catalogue", own, *args],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.stderr == ""
    return json.loads(run.stdout)["findings"], run.returncode


@pytest.mark.parametrize(("laid", "codes"), CASES.values(), ids=CASES)
def test_a_layout_gets_the_commands_findings(laid, codes, own):
    found = run_checks(laid, catalogue=load_catalogue(own))
    told, code = commanded(laid, own)
    assert [finding.as_dict() for finding in found] == told
    assert code == any(finding.severity == "error" for finding in found)
    if codes is not None:
        assert {finding.code for finding in found} >= codes
        assert bool(codes) == bool(found)


@pytest.mark.parametrize("sheet", ["thin-flock", "white-flock"])
def test_a_sheet_goes_before_the_layouts_own_and_may_be_a_name(sheet, own):
    laid, catalogue = CASES["poor contrast"][0], load_catalogue(own)
    told, _ = commanded(laid, own, "--sheet", sheet)
    for given in (sheet, catalogue.sheet(sheet)):
        assert [f.as_dict() for f in run_checks(laid, given, catalogue)] == told
    assert ("backs-hard-to-see" in {one["code"] for one in told}) == (sheet == "thin-flock")


def test_layers_in_any_order_get_the_layouts_findings():
    laid = CASES["two sizes too near"][0]
    layers = separate(laid, CATALOGUE.sheet("thin-flock"))
    assert run_checks(iter(layers[::-1])) == run_checks(laid) != ()


def test_tiles_are_not_judged_by_their_size(own):
    laid = CASES["larger than the sheet"][0]
    told, code = commanded(laid, own, "--tile")
    assert [finding.as_dict() for finding in run_checks(laid, tile=True)] == told
    assert code == 0


GOOD = CASES["tear line"][0]
LAYER = separate(GOOD, CATALOGUE.sheet("thin-flock"))[0]


@pytest.mark.parametrize(
    ("arguments", "error", "words"),
    [
        (("layout.json",), InputError, "a Layout or a sequence of Layers is wanted, not str"),
        ((None,), InputError, "not NoneType"),
        (([LAYER, 3],), InputError, "holds one of type int"),
        (([],), LayoutError, "there are no holes: nothing to cut"),
        ((layout((SS10, [])),), LayoutError, "there are no holes: nothing to cut"),
        ((GOOD, "thin-flok"), CatalogueError, "did you mean thin-flock"),
        ((GOOD, 3), InputError, "a sheet or its name is wanted, not int"),
        ((GOOD, None, "stones.toml"), InputError, "a catalogue is wanted"),
        ((replace(GOOD, sheet="felt"),), CatalogueError, 'unknown sheet "felt"'),
        ((replace(GOOD, kind=GOOD.kind + 1),), LayoutError, "kind must hold"),
        ((replace(GOOD, kind=GOOD.kind[1:]),), LayoutError, "kind must hold"),
        ((replace(GOOD, centres=GOOD.centres[:, :1]),), LayoutError, "shape (n, 2)"),
        ((replace(GOOD, centres=["bow"]),), LayoutError, "numbers of mm"),
        ((replace(GOOD, centres=GOOD.centres * np.nan),), LayoutError, "not finite"),
        (([replace(LAYER, centres=LAYER.centres * np.inf)],), LayoutError, "not finite"),
        (([replace(LAYER, hole=0.0)],), LayoutError, "a hole of 0.0 mm is no size"),
        ((replace(GOOD, kinds=(Kind("ss20", "jet", -1.0),)),), LayoutError, "no size"),
    ],
)
def test_bad_arguments_get_clear_words(arguments, error, words):
    with pytest.raises(StoneLayoutError) as refused:
        run_checks(*arguments)
    assert type(refused.value) is error
    assert words in str(refused.value)


def test_plain_lists_and_whole_numbers_are_places_too():
    places = [[20, 20], [23, 20], [60, 20]]
    found = run_checks(layout((SS10, places)))
    assert "holes-meet" in {finding.code for finding in found}
    kind = layout((SS10, places)).kind.tolist()
    assert run_checks(replace(layout((SS10, places)), centres=places, kind=kind)) == found
    layer = separate(layout((SS10, places)), CATALOGUE.sheet("thin-flock"))[0]
    assert run_checks([replace(layer, centres=places)]) == found


HOLES = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{0}mm" height="60mm" viewBox="0 0 {0} 60">'
    "{1}</svg>"
)


def drawn(layers, width=120):
    circles = "".join(
        f'<circle cx="{x}" cy="{y}" r="{layer.hole / 2}"/>'
        for layer in layers
        for x, y in layer.centres
    )
    return HOLES.format(width, circles)


@pytest.mark.parametrize("together", [True, False])
def test_hole_files_get_the_commands_findings(together, tmp_path):
    near = layout((SS10, [*row(4, 3.4), (90, 20)]), (SS6, [(23.6, 23.6), (92.95, 20)]))
    layers = separate(near, CATALOGUE.sheet("thin-flock"))
    groups = [layers] if together else [[layer] for layer in layers]
    files = []
    for k, group in enumerate(groups):
        files.append(tmp_path / f"bought-{k}.svg")
        files[-1].write_text(drawn(group))
    run = subprocess.run(
        [sys.executable, "-m", "stonelayout", "check", *files, "--format", "json"],
        capture_output=True,
        text=True,
        check=False,
    )
    told = json.loads(run.stdout)["findings"]
    read = [(str(file), read_holes(file.read_bytes(), str(file))) for file in files]
    rebuilt = rebuild(read, CATALOGUE.sheet("thin-flock"), CATALOGUE)
    found = run_checks(rebuilt.layers, files=rebuilt.files)
    assert [finding.as_dict() for finding in found] == told
    codes = {finding.code for finding in found}
    assert "web-too-thin" in codes
    assert ("web-between-sizes" in codes) == together


def test_files_of_others_must_fit_without_our_marks_and_ours_with_them():
    layer = separate(layout((SS10, [(0, 0), (289, 0), (0, 289)])), CATALOGUE.sheet("thin-flock"))[0]
    for file, large in (("bought.svg", False), (f"out/{layer.name}.svg", True)):
        found = run_checks([layer], files=[file])
        assert ("larger-than-sheet" in {finding.code for finding in found}) == large
    with pytest.raises(InputError, match="1 layers and the names of 2 files"):
        run_checks([layer], files=["one.svg", "two.svg"])
