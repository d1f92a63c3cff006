"""The roll plan against known optimal cases and bounds, and the files that it gives."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from stonelayout.cli import group
from stonelayout.documents.roll_documents import TemplateSet, plan_sets, roll_files
from stonelayout.errors import InputError, LayoutError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layout import Kind, Layout
from stonelayout.template.registration import CLEAR_MM, registration
from stonelayout.template.roll import (
    Roll,
    TemplateSize,
    fits,
    panel_room,
    plan_data,
    plan_roll,
    plan_text,
    roll_of,
)
from stonelayout.template.separation import separate
from stonelayout.template.strip_packing import pack_strips, top
from stonelayout.template.tiles import Tile, tile
from stonelayout.template.tiling import marks_of
from stonelayout.template.tiling import pieces as cut_pieces

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
BARE = {"edge": 0.0, "gap": 0.0}


def assert_sound(plan, pieces):
    """Everything placed once, inside the panels, nothing overlapping, the gap kept."""
    roll = plan.roll
    placed = [p.template for panel in plan.panels for p in panel.placed]
    assert sorted(p.name for p in placed) == sorted(p.name for p in pieces)
    for panel in plan.panels:
        assert panel.length <= min(roll.panel, roll.length) + 1e-6
        boxes = np.array([(p.x, p.y, p.x + p.width, p.y + p.height) for p in panel.placed])
        assert boxes[:, :2].min() >= roll.edge - 1e-6
        assert boxes[:, 2].max() <= roll.width - roll.edge + 0.02
        assert boxes[:, 3].max() <= panel.length - roll.edge + 0.02
        for i, (x0, y0, x1, y1) in enumerate(boxes):
            others = np.delete(boxes, i, axis=0)
            apart = np.maximum.reduce(
                (others[:, 0] - x1, x0 - others[:, 2], others[:, 1] - y1, y0 - others[:, 3])
            )
            assert (apart >= roll.gap - 0.021).all()
    assert plan.used >= plan.bound - 0.05


def test_the_perfect_squared_rectangle():
    """Moron's 33 x 32 rectangle of nine unlike squares (Z. Moron, "O rozkladach prostokatow na
    kwadraty", Przeglad Mat. Fiz. 3 (1925) 152-153): on a strip 32 wide the optimum is 33."""
    squares = [TemplateSize(str(s), s, s) for s in (18, 15, 14, 10, 9, 8, 7, 4, 1)]
    plan = plan_roll(squares, Roll(32, 1000, panel=1000, **BARE))
    assert_sound(plan, squares)
    assert plan.used == 33
    assert plan.bound == 33
    assert plan.share == 1.0


@pytest.mark.parametrize(
    ("copies", "sides", "width", "best"),
    [
        (12, (100, 90), 300, 360),  # three abreast, four rows of 90
        (6, (100, 300), 300, 600),  # three abreast upright, or six turned: 600 both ways
        (6, (251, 275), 292.8, 1506),  # one abreast: turned, 6 x 251
        (7, (150, 100), 300, 400),  # two abreast: 4 rows; three abreast turned would be 450
        (1, (200, 50), 300, 50),
    ],
)
def test_equal_templates_by_hand(copies, sides, width, best):
    pieces = [TemplateSize("t", *sides)] * copies
    plan = plan_roll(pieces, Roll(width, 5000, panel=5000, **BARE))
    assert_sound(plan, pieces)
    assert plan.used == pytest.approx(best, abs=0.02)


def test_a_guillotine_dissection():
    """Ten rectangles cut from 300 x 400 by straight cuts fit 400 again; at most 8 % more here."""
    sides = [(120, 90), (180, 90), (300, 60), (100, 150), (200, 70), (200, 80), (150, 50)]
    sides += [(150, 50), (75, 50), (225, 50)]
    assert sum(w * h for w, h in sides) == 300 * 400
    pieces = [TemplateSize(str(k), *s) for k, s in enumerate(sides)]
    plan = plan_roll(pieces, Roll(300, 1000, panel=1000, **BARE))
    assert_sound(plan, pieces)
    assert 400 <= plan.used <= 432


def test_many_names_come_close_to_the_area_bound():
    """No plan beats the area; best-fit is known for a few percent on many unlike rectangles."""
    pieces = [TemplateSize(f"n{k}", 60 + 13 * (k * 7 % 11), 35 + k % 5) for k in range(100)]
    plan = plan_roll(pieces, Roll(304.8, 4572))
    assert_sound(plan, pieces)
    assert plan.used <= 1.04 * plan.bound


@given(
    st.lists(st.tuples(st.floats(5, 280), st.floats(5, 280)), min_size=1, max_size=25),
    st.floats(0, 8),
    st.floats(0, 6),
    st.booleans(),
)
def test_any_pieces_are_placed_soundly(sides, edge, gap, turn):
    pieces = [TemplateSize(f"p{k}", round(w, 3), round(h, 3)) for k, (w, h) in enumerate(sides)]
    plan = plan_roll(pieces, Roll(304.8, 900.0, edge, gap, panel=500.0, turn=turn))
    assert_sound(plan, pieces)
    assert plan == plan_roll(pieces, Roll(304.8, 900.0, edge, gap, panel=500.0, turn=turn))
    if not turn:
        assert not any(p.turned for panel in plan.panels for p in panel.placed)
    assert plan.rolls == len(plan.panels) or plan.rolls * 900.0 >= plan.used
    assert 0 <= plan.left < 900.0


def test_strips_hold_their_rectangles():
    with pytest.raises(ValueError, match="larger than a strip"):
        pack_strips([(5, 50)], 10, 40, turn=False)
    (strip,) = pack_strips([(5, 50)], 60, 10)
    assert strip[0].turned
    assert top(strip, [(5, 50)]) == 5


def test_no_room():
    with pytest.raises(InputError, match=r"big: larger than the 292\.8 mm x 988 mm"):
        plan_roll([TemplateSize("big", 400, 300), TemplateSize("ok", 3, 3)], Roll(304.8, 4572))
    with pytest.raises(InputError, match="free edges"):
        plan_roll([], Roll(10, 100, edge=5))
    assert plan_roll([], Roll(304.8, 4572)).used == 0


def test_panels_fill_rolls_without_running_over_the_end():
    pieces = [TemplateSize("t", 280, 380)] * 5
    plan = plan_roll(pieces, Roll(304.8, 1000, panel=400))
    assert [panel.length for panel in plan.panels] == [392.0] * 5
    assert plan.rolls == 3  # two panels a roll
    assert plan.left == pytest.approx(608.0)
    assert "on 3 rolls" in plan_text(plan)
    assert plan_data(plan)["rolls"] == 3


def banner(length, height=8, pitch=4.0):
    """Rows of stones of an invented regatta banner: two kinds, in a 4 mm grid."""
    x, y = np.meshgrid(np.arange(length) * pitch, np.arange(height) * pitch)
    centres = np.column_stack((x.ravel(), y.ravel())) + 5.0
    return Layout(
        size=(length * pitch + 10, height * pitch + 10),
        kinds=(Kind("ss10", "red", 2.8), Kind("ss6", "gold", 2.0)),
        centres=centres,
        kind=(np.arange(len(centres)) % 2).astype(np.intp),
        source=("row",) * len(centres),
    )


def whole(layers, marks):
    return (Tile(1, 1, layers, marks),)


def layers_of(layout):
    layers = separate(layout, SHEET)
    return layers, registration(layers, SHEET)


@pytest.mark.parametrize(("length", "height", "strips"), [(130, 120, 2), (300, 180, 3), (20, 8, 1)])
def test_a_design_larger_than_the_sheet_is_tiled(length, height, strips):
    layers, _ = layers_of(banner(length, height))
    tiles = tile(layers, SHEET, (292.8, 1300.0))
    assert len(tiles) == strips
    for layer in layers:
        mine = [one for t in tiles for one in t.layers if one.name == layer.name]
        together = np.vstack([one.centres for one in mine])
        assert sorted(map(tuple, together)) == sorted(map(tuple, layer.centres))  # each hole once
    for t in tiles:
        page = t.registration.page
        assert min(page.size) <= 292.8
        for layer in t.layers:  # every hole whole on its sheet
            places = page.place(layer.centres)
            assert (places >= layer.hole / 2 + CLEAR_MM).all()
            assert (places <= np.array(page.size) - layer.hole / 2 - CLEAR_MM).all()


def named_lines(tiles):
    return [{m.name: m.lines for m in t.registration.marks} for t in tiles]


def assert_marks_clear(tiles):
    """No mark of a tile meets a hole of it, nor another mark."""
    for t in tiles:
        segments = [  # all marks are straight, upright or level: a segment is its own box
            (mark.name, np.minimum(a, b), np.maximum(a, b))
            for mark in t.registration.marks
            for line in mark.lines
            for a, b in zip(np.array(line[:-1]), np.array(line[1:]), strict=True)
        ]
        for i, (name, low, high) in enumerate(segments):
            for layer in t.layers:
                off = np.maximum(low - layer.centres, layer.centres - high).clip(0)
                assert np.hypot(*off.T).min() - layer.hole / 2 >= SHEET.least_web
            for other, low2, high2 in segments[:i]:
                if name != other:
                    assert np.maximum(low - high2, low2 - high).max() > 0.5


def test_neighbouring_strips_share_their_crosses():
    layers, _ = layers_of(banner(300, 180))
    tiles = tile(layers, SHEET, (292.8, 1300.0))
    lines = named_lines(tiles)
    for left, right, seam in ((0, 1, 1), (1, 2, 2)):
        for end in ("first", "last"):
            name = f"overlap-{seam}-{end}"
            assert lines[left][name] == lines[right][name]
    assert "overlap-2-first" not in lines[0]
    assert_marks_clear(tiles)


def ring(across, hole):
    """A square ring of stones: what stands in the middle is left out."""
    layout = banner(across, across)
    middle = np.abs(layout.centres - layout.centres.mean(axis=0)).max(axis=1)
    keep = middle > hole
    return replace(
        layout,
        centres=layout.centres[keep],
        kind=layout.kind[keep],
        source=("row",) * int(keep.sum()),
    )


@pytest.mark.parametrize(
    ("layout", "along", "count"),
    [
        (banner(200, 200), 400.0, 12),  # marks take 33 mm: 4 x 3
        (ring(200, 250), 400.0, 10),
        (ring(230, 420), 290.0, 12),  # the four in the middle are empty
    ],
)
def test_a_design_wider_and_taller_than_the_sheet_is_tiled_both_ways(layout, along, count):
    layers, _ = layers_of(layout)
    tiles = tile(layers, SHEET, (292.8, along))
    assert len(tiles) == count
    for layer in layers:
        mine = [one.centres for t in tiles for one in t.layers if one.name == layer.name]
        assert sorted(map(tuple, np.vstack(mine))) == sorted(map(tuple, layer.centres))
    lines = named_lines(tiles)
    for k, mine in enumerate(lines):
        page = tiles[k].registration.page
        assert min(page.size) <= 292.8
        assert max(page.size) <= along
        shared = {
            name for name in mine if name.startswith("overlap") for o in lines[:k] if name in o
        }
        assert k == 0 or len(shared) >= 2  # seated by one before it
        assert all(o[name] == mine[name] for name in shared for o in lines[:k] if name in o)
    assert_marks_clear(tiles)


def test_a_design_that_no_tiles_can_hold():
    layers, _ = layers_of(banner(200, 200))
    with pytest.raises(InputError, match="cannot be divided into tiles that fit 293 x 40 mm"):
        tile(layers, SHEET, (292.8, 40.0))


def test_panels_hold_every_hole_of_every_template_in_place():
    big, small = layers_of(banner(60, 20)), layers_of(banner(12, 4))
    sets = [
        TemplateSet("banner", whole(*big)),
        TemplateSet("flag", whole(*small), 3),
        TemplateSet("flag", whole(*small)),
    ]
    plan, templates = plan_sets(sets, roll_of(SHEET))
    files = roll_files(plan, templates, "Regatta")
    assert sorted(files) == ["panel-01.svg", "roll.json", "roll.svg", "roll.txt"]
    text = files["panel-01.svg"]
    assert f'width="304.8mm" height="{plan.used:g}mm"' in text
    assert len(re.findall("<circle ", text)) == 60 * 20 + 4 * 12 * 4
    assert "flag-2/01-ss6-gold" in files["roll.json"]
    (panel,) = plan.panels
    groups = re.findall(r"<g id=\"template-1-\d+\"><title>(.*?)</title>(.*?)</g>", text, re.DOTALL)
    for placed, (name, group_) in zip(panel.placed, groups, strict=True):
        layer, found = templates[name]
        assert name == placed.template.name
        holes = np.array(
            [
                [float(v) for v in one]
                for one in re.findall(r'<circle cx="(.*?)" cy="(.*?)" r="(.*?)"', group_)
            ]
        )
        assert np.allclose(holes[:, 2] * 2, layer.hole)
        expected = found.page.place(layer.centres)
        local = holes[:, :2] - (placed.x, placed.y)
        if placed.turned:  # a quarter clockwise, y down: x' = height - y, y' = x
            local = np.column_stack((local[:, 1], placed.template.height - local[:, 0]))
        assert np.allclose(local, expected, atol=1e-6)


@pytest.mark.parametrize("turn", [True, False])
def test_a_turned_template_is_not_mirrored(turn):
    """The F of the key still reads as an F: its signed area keeps its sign."""
    layers, marks = layers_of(banner(60, 8))
    pieces = Roll(100.0, 4572, panel=1000, turn=True) if turn else roll_of(SHEET)
    plan, templates = plan_sets([TemplateSet("b", whole(layers, marks))], pieces)
    assert any(p.turned for p in plan.panels[0].placed) is turn
    text = roll_files(plan, templates, "b")["panel-01.svg"]
    key = re.findall(r'<path[^>]* d="([^"]*)"/>', text)[1]
    first = [tuple(map(float, p.split())) for p in key[1:].split("M")[0].split("L")]
    (ax, ay), (bx, by), (cx, cy) = first
    assert (bx - ax) * (cy - by) - (by - ay) * (cx - bx) > 0  # foot, corner, arm: as drawn


def run(*args):
    return CliRunner().invoke(group, [str(arg) for arg in args], standalone_mode=False)


def test_the_roll_command(tmp_path):
    path = tmp_path / "banner.json"
    path.write_text(banner(60, 20).to_json())
    found = run("roll", f"{path}:2", "--format", "json", "--out", tmp_path / "roll")
    assert found.exception is None
    data = json.loads(found.stdout)
    assert len(data["panels"][0]["placed"]) == 4
    assert (tmp_path / "roll" / "panel-01.svg").exists()
    wide = run("roll", f"{path}:2", "--roll-width", "24in", "--gap", "3mm", "--no-turn")
    assert wide.exception is None
    assert wide.stdout.startswith("4 templates use ")
    assert "turned" not in wide.stdout


@pytest.mark.parametrize("side", [100.0, 100.004, 100.006])
def test_what_fits_is_packed_and_what_does_not_is_named(side):
    # A panel of 100.005 mm holds 10,000 hundredths of a mm.
    roll = Roll(112.005, 1000)
    pieces = [TemplateSize("t", side, 20)]
    assert fits((side, 20), panel_room(roll), turn=False) == (side == 100.0)
    if side == 100.0:
        assert len(plan_roll(pieces, replace(roll, turn=False)).panels) == 1
    else:
        with pytest.raises(InputError, match="t: larger than"):
            plan_roll(pieces, replace(roll, turn=False))
    assert fits((side, 20), panel_room(roll), turn=True)
    assert plan_roll(pieces, roll).panels[0].placed[0].turned == (side != 100.0)


def test_a_design_too_large_for_a_short_panel_is_told_what_that_holds():
    layers, _ = layers_of(banner(200, 200))
    register = marks_of(SHEET)
    with pytest.raises(LayoutError, match=r"holds templates of 292\.8 mm .* x 88\.0 mm"):
        cut_pieces(layers, SHEET, register, tiled=False, roll=Roll(304.8, 4572, panel=100))
