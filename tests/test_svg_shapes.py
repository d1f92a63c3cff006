"""Reading a drawing given as text: what other tests start from, and the page asked for."""

import pytest

from stonelayout.svg import read_svg

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'


def read(body, head=HEAD, **options):
    return read_svg((head + body + "</svg>").encode(), name="test.svg", **options)


def shape(body, **options):
    return read(body, **options).shapes[0]


def test_the_page_is_as_wide_as_asked():
    art = read('<rect width="100" height="50"/>', width=240.0)
    assert art.size == (240.0, 120.0)
    assert art.shapes[0].bounds == pytest.approx((0, 0, 240, 120))
