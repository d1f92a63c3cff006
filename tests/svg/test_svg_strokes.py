"""Strokes of dots and of lines that cross themselves; the plain ones are in tests/svg/strokes."""

import math

import pytest
from svg_texts import read, shape


def test_dots_have_round_or_square_caps_only():
    dot = '<path d="M9 9z" stroke="red" stroke-width="4" stroke-linecap="{}"/>'
    dot += '<rect width="1" height="1"/>'
    assert read(dot.format("round")).shapes[0].stroke_area.area == pytest.approx(
        4 * math.pi, rel=5e-3
    )
    assert read(dot.format("square")).shapes[0].stroke_area.area == pytest.approx(16)
    assert read(dot.format("butt")).shapes[0].tag == "rect"


def test_a_line_that_crosses_itself_is_covered_once():
    body = '<path d="M0 20H40V0H20V40" fill="none" stroke="red" stroke-width="2"/>'
    # bars of 40, 20, 20 and 40 by 2, two mitred corners of 1 each, one crossing counted once
    found = shape(body).stroke_area
    assert found.is_valid
    assert found.area == pytest.approx(240 - 4, abs=1.0)
