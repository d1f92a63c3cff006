import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stonelayout.errors import LayoutError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer, Page
from stonelayout.model.layout import Kind
from stonelayout.template.registration import (
    MARGIN_MM,
    UNLIKE_MM,
    bounds_of,
    registration,
    scale_from_bar,
)
from stonelayout.writers.layer_svg import registration_svg

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
HEAVY = CATALOGUE.sheet("heavy-rubber")


def layer(centres, hole=2.5, order=1):
    return Layer(order, Kind("ss6", "crystal", 2.0), np.array(centres, dtype=float), hole)


def to_segment(point, first, second):
    (px, py), (ax, ay), (bx, by) = point, first, second
    along = (bx - ax) ** 2 + (by - ay) ** 2
    t = max(0.0, min(1.0, ((px - ax) * (bx - ax) + (py - ay) * (by - ay)) / along))
    return math.hypot(px - ax - t * (bx - ax), py - ay - t * (by - ay))


def segments(found):
    return [
        pair for mark in found.marks for line in mark.lines for pair in itertools.pairwise(line)
    ]


places = st.lists(st.tuples(st.floats(-500, 500), st.floats(-500, 500)), min_size=1, max_size=12)


@settings(max_examples=200, deadline=None)
@given(places, st.sampled_from([2.5, 7.0]), st.sampled_from([SHEET, HEAVY]), st.booleans())
def test_marks_are_clear_of_holes_outside_the_artwork_and_inside_the_page(
    centres, hole, sheet, pinned
):
    one = layer(centres, hole)
    pin = 8.0 if pinned else 0.0
    found = registration([one], sheet, pin=pin)
    x0, y0, x1, y1 = bounds_of([one])
    for first, second in segments(found):
        for centre in centres:
            assert to_segment(centre, first, second) - hole / 2 >= sheet.least_web - 1e-9
        for x, y in (first, second):
            assert x < x0 + 1e-9 or x > x1 or y < y0 or y > y1
    for x, y in found.pins:
        for cx, cy in centres:
            assert math.hypot(x - cx, y - cy) - (hole + pin) / 2 >= sheet.least_web - 1e-9
    page = found.page
    ends = [end for pair in segments(found) for end in pair]
    on_page = page.place(ends)
    assert (on_page >= MARGIN_MM - 1e-6).all()
    assert (on_page <= np.array(page.size) - MARGIN_MM + 1e-6).all()
    placed = page.place(one.centres)
    assert (placed - hole / 2 >= MARGIN_MM).all()
    assert (placed + hole / 2 <= np.array(page.size) - MARGIN_MM + 1e-6).all()


def d4(points, turn, mirror):
    moved = np.array(points, dtype=float) @ np.linalg.matrix_power([[0, -1], [1, 0]], turn)
    if mirror:
        moved[:, 0] *= -1
    return moved - moved.min(axis=0)


@settings(max_examples=200, deadline=None)
@given(places, st.booleans())
def test_the_set_fits_itself_in_one_way_only(centres, pinned):
    found = registration([layer(centres)], SHEET, pin=4.0 if pinned else 0.0)
    ends = found.pins if pinned else [end for pair in segments(found) for end in pair]
    start = d4(ends, 0, mirror=False)
    for turn, mirror in itertools.product(range(4), (False, True)):
        if (turn, mirror) == (0, False):
            continue
        moved = d4(ends, turn, mirror)
        far = max(np.hypot(*(moved - point).T).min() for point in start)
        assert far > (UNLIKE_MM / 2 if pinned else 0.5)


def test_same_for_every_layer_and_in_place():
    layers = [layer([(0, 0), (100, 60)]), layer([(50, 30)], 3.3, order=2)]
    found = registration(layers, SHEET)
    # x: margin 5, clear 2, holes 102.5, margin 5; y: 5, mark 6, 2, holes 62.5, 2, 6, 2 (foot), 5;
    # each up to a whole mm, the shift first.
    assert Page(116.0, 92.0, (9.0, 15.0)) == found.page
    assert [mark.name for mark in found.marks] == [
        "register-edge",
        "key",
        "cross-1",
        "cross-2",
        "cross-3",
    ]
    edge = found.marks[0].lines[0]
    assert min(x for x, _ in edge) == min(x for pair in segments(found) for x, _ in pair)


def test_offset_is_in_whole_mm_so_that_decimals_stay():
    found = registration([layer([(0.123456, 7.654321), (40, 50)])], SHEET)
    assert [float(int(part)) for part in found.page.offset] == list(found.page.offset)
    x, y = found.page.place([(0.123456, 7.654321)])[0]
    assert (round(x % 1, 6), round(y % 1, 6)) == (0.123456, 0.654321)


def test_mirror_and_scale_move_holes_and_marks_alike_and_undo():
    one = layer([(0, 0), (100, 60)])
    plain = registration([one], SHEET)
    both = registration([one], SHEET, mirrored=True, scale=(1.002, 0.999))
    size = plain.page.width, plain.page.height
    for points in (one.centres, *(line for mark in plain.marks for line in mark.lines)):
        meant = plain.page.place(points)
        meant[:, 0] = size[0] - meant[:, 0]
        assert np.allclose(both.page.place(points), meant * (1.002, 0.999), atol=1e-12)


def test_pins_stand_in_place_of_crosses_unless_these_are_drawn():
    one = [layer([(0, 0), (100, 60)])]
    cut, drawn = (registration(one, SHEET, pin=5.0, drawn=d) for d in (False, True))
    assert 3 == len(cut.pins) == len(drawn.pins)
    assert [mark.name for mark in cut.marks] == ["register-edge", "key"]
    assert len(drawn.marks) == 5
    assert registration_svg(cut).count("<circle") == 3
    assert registration_svg(registration(one, SHEET)).count("<circle") == 0


def test_scale_from_a_measured_bar():
    # A bar of 200 mm that measures 199 mm along x: everything must grow by 200/199.
    x, y = scale_from_bar((200.0, 200.0), (199.0, 200.0))
    assert (x, y) == (200 / 199, 1.0)
    assert 199.0 * x == pytest.approx(200.0)
    for measured in ((0, 200), (150, 200), (200, -1)):
        with pytest.raises(LayoutError):
            scale_from_bar((200.0, 200.0), measured)


def test_nothing_to_register_is_an_error():
    with pytest.raises(LayoutError, match="no holes"):
        registration([], SHEET)
    with pytest.raises(LayoutError, match="pin hole"):
        registration([layer([(0, 0)])], SHEET, pin=-1)
    with pytest.raises(LayoutError, match="10 %"):
        registration([layer([(0, 0)])], SHEET, scale=(2, 1))
