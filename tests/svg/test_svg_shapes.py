"""The page that is asked for."""

import pytest
from svg_texts import read


def test_the_page_is_as_wide_as_asked():
    art = read('<rect width="100" height="50"/>', width=240.0)
    assert art.size == (240.0, 120.0)
    assert art.shapes[0].bounds == pytest.approx((0, 0, 240, 120))
