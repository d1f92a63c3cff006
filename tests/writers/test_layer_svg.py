import numpy as np
import pytest

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.template.holes import read_holes
from stonelayout.template.registration import registration
from stonelayout.template.verify import verify_layers
from stonelayout.writers.layer_svg import layer_svg, registration_svg

SHEET = load_catalogue().sheet("thin-flock")
ONE = Layer(1, Kind("ss6", "crystal", 2.0), np.array([[1.0, 2.0], [41.25, 22.125]]), 2.5)
TWO = Layer(2, Kind("ss10", "jet & co", 2.8), np.array([[20.0, 10.0]]), 3.3)

EXPECTED = """\
<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="56mm" height="52mm" viewBox="0 0 56 52">
<title>01-ss6-crystal</title>
<desc>2 holes of 2.5 mm for ss6 crystal. Cut at 100 %: one unit is one mm.</desc>
<g id="registration" fill="none" stroke="#000000" stroke-width="0.05">
<path id="register-edge" d="M5.75 5.75L5.75 46.375L17.75 46.375"/>
<path id="key" d="M7.75 11.75L7.75 5.75L11.35 5.75M7.75 8.45L10.45 8.45"/>
<path id="cross-1" d="M44.5 8.75L50.5 8.75M47.5 5.75L47.5 11.75"/>
<path id="cross-2" d="M44.5 41.375L50.5 41.375M47.5 38.375L47.5 44.375"/>
<path id="cross-3" d="M23.75 41.375L29.75 41.375M26.75 38.375L26.75 44.375"/>
</g>
<g id="holes" fill="none" stroke="#000000" stroke-width="0.05">
<circle cx="9" cy="15" r="1.25"/>
<circle cx="49.25" cy="35.125" r="1.25"/>
</g>
</svg>
"""


def test_exact_text_of_a_small_layer():
    assert layer_svg(ONE, registration([ONE, TWO], SHEET)) == EXPECTED


def test_registration_is_the_same_bytes_in_every_layer_and_names_are_escaped():
    frame = registration([ONE, TWO], SHEET)
    first, second = (layer_svg(layer, frame) for layer in (ONE, TWO))
    group = registration_svg(frame)
    assert group in first
    assert group in second
    assert "jet &amp; co" in second


def test_drawn_marks_have_the_pens_colour_and_an_outline_comes_last():
    text = layer_svg(ONE, registration([ONE], SHEET, drawn=True, outline=True, pin=4.0))
    assert '<g id="registration" fill="none" stroke="#0000ff"' in text
    assert text.rstrip().splitlines()[-2].startswith('<rect id="outline" width="')


@pytest.mark.parametrize("extra", [{}, {"pin": 5.0, "drawn": True, "outline": True}])
@pytest.mark.parametrize("turn", [{}, {"mirrored": True, "scale": (1.003, 0.998)}])
def test_layers_read_back_as_meant(extra, turn):
    rng = np.random.default_rng(2)
    layer = Layer(1, Kind("ss6", "jet", 2.0), rng.uniform(-30, 200, (400, 2)), 2.5)
    frame = registration([layer], SHEET, **extra, **turn)
    verify_layers({f"{layer.name}.svg": layer_svg(layer, frame).encode()}, [layer], frame.page)
    holes = read_holes(layer_svg(layer, frame))
    assert len(holes) == 400
    assert np.allclose(holes.centres, frame.page.place(layer.centres), rtol=0, atol=1.1e-6)
