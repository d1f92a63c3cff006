"""Areas, boxes and lengths of the basic shapes against their formulas (analytic geometry)."""

import math

import pytest

from stonelayout.svg import read_svg

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'


def read(body, head=HEAD, **options):
    return read_svg((head + body + "</svg>").encode(), name="test.svg", **options)


def shape(body, **options):
    return read(body, **options).shapes[0]


@pytest.mark.parametrize(
    ("body", "area", "box"),
    [
        ('<rect x="10" y="5" width="30" height="20"/>', 600, (10, 5, 40, 25)),
        ('<circle cx="20" cy="20" r="10"/>', 100 * math.pi, (10, 10, 30, 30)),
        ('<ellipse cx="20" cy="20" rx="15" ry="4"/>', 60 * math.pi, (5, 16, 35, 24)),
        ('<polygon points="0,0 10,0 0,10"/>', 50, (0, 0, 10, 10)),
        # a rounded rectangle loses (4 - pi) r^2 at its corners
        ('<rect width="30" height="20" rx="5"/>', 600 - 25 * (4 - math.pi), (0, 0, 30, 20)),
        # radii are clamped to half the side: a stadium
        ('<rect width="30" height="20" ry="90" rx="10"/>', 200 + 100 * math.pi, (0, 0, 30, 20)),
    ],
)
def test_areas_and_boxes(body, area, box):
    found = shape(body, tolerance=0.0005)
    assert found.area.area == pytest.approx(area, rel=3e-4)
    assert found.bounds == pytest.approx(box, abs=1e-3)


def test_the_page_is_as_wide_as_asked():
    art = read('<rect width="100" height="50"/>', width=240.0)
    assert art.size == (240.0, 120.0)
    assert art.shapes[0].bounds == pytest.approx((0, 0, 240, 120))
