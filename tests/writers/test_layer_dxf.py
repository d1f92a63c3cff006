import io
import logging

import numpy as np
import pytest

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.template.registration import registration
from stonelayout.writers.layer_dxf import layer_dxf

SHEET = load_catalogue().sheet("thin-flock")
ONE = Layer(1, Kind("ss6", "crystal", 2.0), np.array([[1.0, 2.0]]), 2.5)

HEAD = """\
0 SECTION
2 HEADER
9 $ACADVER
1 AC1009
9 $EXTMIN
10 0
20 0
30 0
9 $EXTMAX
10 43
20 32
30 0
0 ENDSEC
0 SECTION
2 TABLES
0 TABLE
2 LTYPE
70 1
0 LTYPE
2 CONTINUOUS
70 0
3 Solid line
72 65
73 0
40 0
0 ENDTAB
0 TABLE
2 LAYER
70 3
0 LAYER
2 01-SS6-CRYSTAL
70 0
62 7
6 CONTINUOUS
0 LAYER
2 REGISTRATION
70 0
62 4
6 CONTINUOUS
0 LAYER
2 SCALE
70 0
62 8
6 CONTINUOUS
0 ENDTAB
0 ENDSEC
0 SECTION
2 ENTITIES
0 LINE
8 REGISTRATION
10 5.75
20 26.25
30 0
11 5.75
21 5.75
31 0
"""
TAIL = """\
0 LINE
8 SCALE
10 2.5
20 2.5
30 0
11 22.5
21 2.5
31 0
0 TEXT
8 SCALE
10 2.5
20 0.5
30 0
40 1.5
1 20 MM, 1 UNIT = 1 MM
0 CIRCLE
8 01-SS6-CRYSTAL
10 9
20 17
30 0
40 1.25
0 ENDSEC
0 EOF
"""


def tags(text):
    lines = text.split("\r\n")
    assert lines[-1] == ""
    assert "\n" not in text.replace("\r\n", "")
    return "".join(f"{a} {b}\n" for a, b in zip(lines[:-1:2], lines[1::2], strict=True))


def test_exact_text_of_a_small_layer():
    found = tags(layer_dxf(ONE, registration([ONE], SHEET)))
    assert found.startswith(HEAD)
    assert found.endswith(TAIL)
    assert found.count("0 LINE\n") == 2 + 3 + 3 * 2 + 1


@pytest.mark.parametrize(
    "extra", [{}, {"pin": 4.0, "outline": True}, {"drawn": True, "mirrored": True}]
)
def test_ezdxf_finds_no_fault_and_every_circle_in_its_place(extra):
    ezdxf = pytest.importorskip("ezdxf")
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    rng = np.random.default_rng(4)
    layer = Layer(2, Kind("ss10", "Light Rosé", 2.8), rng.uniform(0, 150, (200, 2)), 3.3)
    frame = registration([layer], SHEET, **extra)
    document = ezdxf.read(io.StringIO(layer_dxf(layer, frame).replace("\r\n", "\n")))
    audit = document.audit()
    assert (len(audit.errors), len(audit.fixes)) == (0, 0)
    assert document.dxfversion == "AC1009"
    name = "02-SS10-LIGHT_ROS"
    circles = document.modelspace().query(f'CIRCLE[layer=="{name}"]')
    assert len(circles) == 200
    meant = frame.page.place(layer.centres) * (1, -1) + (0, frame.page.size[1])
    found = np.array([(c.dxf.center.x, c.dxf.center.y) for c in circles])
    assert np.abs(found - meant).max() <= 1e-6
    assert {c.dxf.radius for c in circles} == {1.65}
    bar = document.modelspace().query('LINE[layer=="SCALE"]')[0]
    assert (bar.dxf.end - bar.dxf.start).magnitude == pytest.approx(100.0)
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert used == {layer.dxf.name for layer in document.layers} - {"0", "Defpoints"}


def test_long_names_stay_within_r12():
    layer = Layer(1, Kind("ss6", "a very long colour name of ours", 2.0), ONE.centres, 2.5)
    text = layer_dxf(layer, registration([layer], SHEET))
    assert "\r\n01-SS6-A_VERY_LONG_COLOUR_NAME_\r\n" in text
