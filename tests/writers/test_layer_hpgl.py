"""HP-GL by exact text, by a small interpreter of the language, and by a real one."""

import math
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer, Page
from stonelayout.model.layout import Kind
from stonelayout.template.cut_path import runs
from stonelayout.template.registration import registration
from stonelayout.writers.layer_hpgl import beyond_16_bits, layer_hpgl

SHEET = load_catalogue().sheet("thin-flock")
ONE = Layer(1, Kind("ss6", "crystal", 2.0), np.array([[1.0, 2.0]]), 2.5)
#: HP-GL: 1 unit = 0.025 mm (HP-GL/2 Reference Guide).
UNIT = 0.025

EXPECTED = """\
IN;
SP1;
VS20;
FS80;
PU230,1050;PD230,230,710,230;PU;
PU310,810;PD310,1050,454,1050;PU;
PU310,942;PD418,942;PU;
PU1270,930;PD1510,930;PU;
PU1390,1050;PD1390,810;PU;
PU1270,430;PD1510,430;PU;
PU1390,550;PD1390,310;PU;
PU310,430;PD550,430;PU;
PU430,550;PD430,310;PU;
PU337,636;PD;AA360,680,-360;AA360,680,-22.92;PU;
PU0,0;SP0;
"""


def test_exact_text_of_a_small_layer():
    frame = registration([ONE], SHEET)
    way = runs(ONE, frame, passes=1, overcut=0.5)
    assert layer_hpgl(way, frame, speed=20, force=80) == EXPECTED


def interpret(text):
    """Run HP-GL: return per pen-down path the pen and its points in mm; arcs in 1 degree steps."""
    paths, down, pen, at = [], False, 0, (0.0, 0.0)
    for command in re.findall(r"([A-Z]{2})([^;]*);", text):
        name, values = command[0], [float(v) for v in command[1].split(",") if v]
        if name == "SP":
            pen = int(values[0])
        elif name in ("PU", "PD"):
            down = name == "PD"
            if down:
                paths.append((pen, [at]))
            for point in zip(values[::2], values[1::2], strict=True):
                at = point
                if down:
                    paths[-1][1].append(at)
        elif name == "AA":
            cx, cy, sweep = values
            start = math.atan2(at[1] - cy, at[0] - cx)
            radius = math.hypot(at[0] - cx, at[1] - cy)
            steps = max(1, math.ceil(abs(sweep)))
            for k in range(1, steps + 1):
                angle = start + math.radians(sweep) * k / steps
                at = (cx + radius * math.cos(angle), cy + radius * math.sin(angle))
                assert down
                paths[-1][1].append(at)
        else:
            assert name in ("IN", "VS", "FS")
    return [(pen, np.array(points) * UNIT) for pen, points in paths]


def circles_in(paths, height):
    """Return centre (y down) and mean radius of the paths that go round, and their turning."""
    found = []
    for _, points in paths:
        if len(points) < 12:
            continue
        low, high = points.min(axis=0), points.max(axis=0)
        centre = (low + high) / 2
        way = points - centre
        steps = np.diff(np.unwrap(np.arctan2(way[:, 1], way[:, 0])))
        found.append((centre[0], height - centre[1], np.hypot(*way.T).mean(), steps.sum()))
    return np.array(found)


@pytest.mark.parametrize("arcs", [True, False])
@pytest.mark.parametrize(("passes", "overcut"), [(1, 0.5), (2, 0.0), (1, 0.0)])
def test_an_interpreter_finds_every_hole_closed_within_one_unit(arcs, passes, overcut):
    rng = np.random.default_rng(3)
    layer = replace(ONE, centres=rng.uniform(0, 120, (80, 2)))
    frame = registration([layer], SHEET)
    way = runs(layer, frame, passes=passes, overcut=overcut)
    paths = interpret(layer_hpgl(way, frame, arcs=arcs))
    found = circles_in(paths, frame.page.size[1])
    assert len(found) == 80
    assert np.abs(found[:, :2] - frame.page.place(layer.centres)).max() <= UNIT
    assert np.abs(found[:, 2] - 1.25).max() <= UNIT
    # clockwise in y-up coordinates, whole turns and the overcut
    turned = -found[:, 3]
    assert turned == pytest.approx(2 * math.pi * passes + overcut / 1.25, abs=0.05)


def test_drawn_marks_use_the_pen_before_the_knife_and_the_edge_comes_last():
    frame = registration([ONE], SHEET, drawn=True, pin=5.0, outline=True)
    paths = interpret(layer_hpgl(runs(ONE, frame), frame))
    pens = [pen for pen, _ in paths]
    assert pens == sorted(pens, reverse=True)
    assert set(pens) == {1, 2}
    assert len(circles_in([p for p in paths if p[0] == 1], frame.page.size[1])) == 4
    edge = paths[-1][1]
    assert np.ptp(edge, axis=0) == pytest.approx(frame.page.size, abs=UNIT)
    assert tuple(edge[0]) == tuple(edge[-1])


def test_a_real_reader_takes_it(tmp_path):
    program = shutil.which("hp2xx")
    if program is None:
        pytest.skip("hp2xx is not installed")
    rng = np.random.default_rng(9)
    layer = replace(ONE, centres=rng.uniform(0, 100, (60, 2)))
    frame = registration([layer], SHEET)
    (tmp_path / "a.hpgl").write_text(layer_hpgl(runs(layer, frame, passes=1, overcut=0.5), frame))
    command = [program, "-q", "-t", "-m", "dxf", "-f", "a.dxf", "a.hpgl"]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=60)
    text = (tmp_path / "a.dxf").read_text()
    starts = re.findall(r"\b10\s+(\S+)\s+20\s+(\S+)\s+30\s", text)
    points = np.array(starts, dtype=float)
    meant = frame.page.place(layer.centres) * (1, -1) + (0, frame.page.size[1])
    # It moves the origin: compare after one shift, that of the register edge's left end.
    left, bottom = corner(frame)
    shift = points.min(axis=0) - (left, frame.page.size[1] - bottom)
    for centre in meant + shift:
        off = np.abs(np.hypot(*(points - centre).T) - 1.25)
        assert (off <= 2 * UNIT).sum() >= 60


def corner(frame):
    ends = np.concatenate([frame.page.place(line) for m in frame.marks for line in m.lines])
    return ends[:, 0].min(), ends[:, 1].max()


def test_sixteen_bits_end_at_819_mm():
    # 32767 units = 819.175 mm (HP-GL/2 Reference Guide)
    frame = registration([ONE], SHEET)
    assert not beyond_16_bits(replace(frame, page=Page(819.0, 100)))
    assert beyond_16_bits(replace(frame, page=Page(820.0, 100)))
