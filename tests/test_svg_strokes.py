"""Strokes as areas against their formulas (plane geometry), mitre limits as SVG 2 says."""

import math

import pytest
from test_svg_shapes import read, shape


def area(body):
    return shape(body, tolerance=0.0005).stroke_area.area


LINE = '<path d="M10 10H50" fill="none" stroke="red" stroke-width="4" {}/>'


@pytest.mark.parametrize(
    ("style", "expected"),
    [
        ("", 160),
        ('stroke-linecap="square"', 176),
        ('stroke-linecap="round"', 160 + 4 * math.pi),
        ('stroke-dasharray="5"', 80),
        ('stroke-dasharray="5 3 2"', 80),  # repeated to 5 3 2 5 3 2: half of it is drawn
        ('stroke-dasharray="10" stroke-dashoffset="5"', 80),
    ],
)
def test_caps_and_dashes(style, expected):
    assert area(LINE.format(style)) == pytest.approx(expected, rel=1e-4)


CORNER = '<path d="M10 40V10H40" fill="none" stroke="red" stroke-width="4" {}/>'


@pytest.mark.parametrize(
    ("style", "expected"),
    [
        ("", 240),  # the mitre adds 4 to two bars of 28 + 2 over a shared 4 x 4 corner
        ('stroke-linejoin="bevel"', 238),
        ('stroke-linejoin="round"', 236 + math.pi),
        ('stroke-miterlimit="1.41"', 238),  # 1 / sin 45 degrees is over the limit: a bevel
        ('stroke-miterlimit="1.42"', 240),
    ],
)
def test_joins_and_the_mitre_limit(style, expected):
    assert area(CORNER.format(style)) == pytest.approx(expected, rel=1e-4)


def test_a_stroked_circle_is_a_ring():
    ring = '<circle cx="50" cy="25" r="20" fill="none" stroke="red" stroke-width="4"/>'
    assert area(ring) == pytest.approx(2 * math.pi * 20 * 4, rel=1e-4)


def test_unequal_scale_stretches_the_stroke():
    body = f'<g transform="scale(1 .5)">{LINE.format("")}</g>'
    assert area(body) == pytest.approx(80)


def test_a_stroke_that_does_not_scale_keeps_its_px():
    line = LINE.format('vector-effect="non-scaling-stroke"')
    body = f'<g transform="scale(.5)">{line}</g>'
    # four px of the page, at 96 px an inch, on a line 20 mm long
    assert area(body) == pytest.approx(20 * 4 * 25.4 / 96)


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
