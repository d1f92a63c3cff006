"""Strokes as local widths: read from the drawing as the matrix demands, followed by sizes."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from one_shape import lay_edge, lay_spine

from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.lay import lay
from stonelayout.model.artwork import Line
from stonelayout.model.catalogue import DEFAULT_SHEET, load_catalogue
from stonelayout.model.job import Pick, Rule
from stonelayout.model.pattern_options import PATTERNS
from stonelayout.svg import read_svg

CATALOGUE = load_catalogue()
#: ss16 3.9 mm, ss10 2.8 mm, ss6 2.0 mm (the catalogue's middle diameters)
SIZES = ("ss16", "ss10", "ss6")
GAP = 0.4


def read(body, attributes='width="100mm" height="60mm" viewBox="0 0 100 60"', **options):
    text = f'<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{body}</svg>'
    return read_svg(text.encode(), **options)


def laid(body, pattern="edge", **options):
    stones = tuple(CATALOGUE.stone(name) for name in SIZES)
    rule = Rule(
        Pick(all=True),
        stones,
        tuple(stone.diameter + GAP for stone in stones),
        "crystal",
        pattern,
        PATTERNS[pattern].defaults() | options,
        "lay[1]",
        "j:1",
    )
    return lay(read(body), [rule], CATALOGUE.sheet(DEFAULT_SHEET))


def codes(layout):
    return [finding.code for finding in layout.findings]


def stroke(width, path="M10 10H90"):
    return f'<path d="{path}" fill="none" stroke="#000" stroke-width="{width}"/>'


@given(
    st.lists(st.floats(-2, 2), min_size=4, max_size=4).filter(
        lambda m: abs(m[0] * m[3] - m[1] * m[2]) > 0.05
    ),
    st.floats(0, math.tau),
)
@settings(max_examples=60, deadline=None)
def test_width_across_a_line_is_its_area_by_its_length(matrix, way):
    """A straight stroke with butt ends is a parallelogram: area = length * width, by shapely."""
    x, y = 30 * math.cos(way), 30 * math.sin(way)
    body = (
        f'<g transform="translate(50 30) scale(.5) matrix({" ".join(map(str, matrix))} 0 0)">'
        f"{stroke(1.5, f'M0 0L{x} {y}')}</g>"
    )
    shape = read(body, 'width="200mm" height="160mm" viewBox="-50 -50 200 160"').shapes[0]
    line = shape.outline[0]
    ways = np.diff(line.points, axis=0)
    ways /= np.hypot(*ways.T)[:, None]
    assert line.widths(ways)[0] * line.length == pytest.approx(shape.stroke_area.area, rel=1e-6)


def test_page_scale_and_non_scaling_strokes():
    body = stroke(2) + stroke(2, "M10 30H90").replace("/>", ' vector-effect="non-scaling-stroke"/>')
    for scale in (1, 2):  # the page's px grow with the page
        plain, fixed = read(body, width=100.0 * scale).shapes
        assert np.allclose(plain.outline[0].pen, 2 * scale * np.eye(2))
        assert np.allclose(fixed.outline[0].pen, 2 * scale * 25.4 / 96 * np.eye(2))
    assert read('<rect width="9" height="9"/>').shapes[0].outline[0].pen is None
    assert not Line(np.zeros((1, 2)), closed=False).widths(np.array([[1.0, 0.0]])).any()


def test_a_cut_line_keeps_its_width():
    clip = '<clipPath id="c"><rect x="20" y="0" width="30" height="60"/></clipPath>'
    line = stroke(3).replace("/>", ' clip-path="url(#c)"/>')
    disc = '<circle cx="30" cy="40" r="15" stroke="red" stroke-width="3" clip-path="url(#c)"/>'
    for shape in read(clip + line + disc).shapes:
        assert all(np.allclose(part.pen, 3 * np.eye(2)) for part in shape.outline)
    bar = '<rect x="40" y="0" width="5" height="60" fill="#ffffff"/>'
    parts = read(stroke(3) + bar, knockout="#ffffff").shapes[0].outline
    assert len(parts) == 2
    assert all(np.allclose(part.pen, 3 * np.eye(2)) for part in parts)


@pytest.mark.parametrize("pattern", ["edge", "spine"])
@pytest.mark.parametrize(
    ("width", "size"), [(4, "ss16"), (3.9, "ss16"), (3.8, "ss10"), (2.8, "ss10"), (2, "ss6")]
)
def test_a_stroke_gets_the_largest_size_that_fits_in_it(pattern, width, size):
    layout = laid(stroke(width), pattern)
    assert {layout.kinds[k].size for k in layout.kind} == {size}
    assert codes(layout) == []


def test_margin_counts_on_both_sides():
    assert set(laid(stroke(2.8), margin=0.0).kind) == {1}
    assert set(laid(stroke(2.8), margin=0.1).kind) == {2}
    assert set(laid(stroke(3.0), margin=0.1).kind) == {1}


def test_hairlines_only_guide_unless_the_drawing_means_its_widths():
    alone = laid(stroke(0.1))
    assert set(alone.kind) == {0}
    assert codes(alone) == ["line-as-guide"]
    among = laid(stroke(0.1) + stroke(4, "M10 30H90"))
    assert set(among.kind[among.centres[:, 1] < 20]) == {2}
    assert set(among.kind[among.centres[:, 1] > 20]) == {0}
    assert codes(among) == ["stroke-under-stone"]
    assert "0.1 mm wide" in among.findings[0].message
    assert set(laid(stroke(1.2)).kind) == {2}


def test_dots_of_a_drawing_get_the_size_that_fits():
    dot = '<path d="M{} 20h0" stroke="red" stroke-width="{}" stroke-linecap="round"/>'
    layout = laid(dot.format(20, 4.5) + dot.format(40, 3) + dot.format(60, 2) + dot.format(80, 1))
    assert layout.kind[np.argsort(layout.centres[:, 0])].tolist() == [0, 1, 2, 2]


def test_sizes_follow_a_stroke_that_unequal_scales_have_made_uneven():
    """A circle of radius 20 under scale(2, 1): across the tangent of angle t a pen of w is
    2 w / sqrt(4 sin^2 t + cos^2 t) wide (area is kept, length stretches), so the place where
    ss10 stops fitting is known."""
    w, radius = 2.2, 20.0
    layout = laid(
        f'<circle transform="translate(50 30) scale(2 1)" r="{radius}" fill="none" stroke="red" '
        f'stroke-width="{w}"/>'
    )
    x, y = (layout.centres - [50, 30]).T
    t = np.arctan2(y, x / 2)
    width = 2 * w / np.sqrt(4 * np.sin(t) ** 2 + np.cos(t) ** 2)
    diameter = layout.diameters
    assert set(layout.kind) == {1, 2}
    assert (width >= diameter - 0.05).all()
    limit = math.asin(math.sqrt(((2 * w / 2.8) ** 2 - 1) / 3))
    edge = radius * np.array([2 * math.cos(limit), math.sin(limit)])
    small = np.column_stack((np.abs(x), np.abs(y)))[layout.kind == 2]
    assert np.hypot(*(small - edge).T).min() < 3.2  # the change is within a pitch of that place
    for mirrored in ([-1, 1], [1, -1]):
        flipped = (layout.centres - [50, 30]) * mirrored
        apart = np.hypot(*(flipped[:, None] - (layout.centres - [50, 30])[None]).transpose(2, 0, 1))
        assert apart.min(axis=1).max() < 1e-6
        assert (layout.kind[apart.argmin(axis=1)] == layout.kind).all()


TURNS = [np.array(m, dtype=float) for m in ([[0, -1], [1, 0]], [[-1, 0], [0, 1]], [[0, 1], [1, 0]])]


@pytest.mark.parametrize("lay_rows", [lay_edge, lay_spine])
@pytest.mark.parametrize("turn", TURNS, ids=["turned", "mirrored", "mirrored diagonally"])
def test_widths_turn_with_the_artwork(lay_rows, turn):
    t = np.linspace(0, 2.6, 200)
    points = np.column_stack((25 * t, 12 * np.sin(1.5 * t)))
    pen = np.array([[4.6, 0.7], [0.0, 2.1]])
    sizes = (Spec(3.9, 4.3), Spec(2.8, 3.2), Spec(2.0, 2.4))
    plain = lay_rows(Ask(None, (Line(points, closed=False, pen=pen),), sizes))
    turned = lay_rows(Ask(None, (Line(points @ turn.T, closed=False, pen=turn @ pen),), sizes))
    assert len(set(plain.size.tolist())) > 1
    moved = plain.centres @ turn.T
    apart = np.hypot(*(moved[:, None] - turned.centres[None]).transpose(2, 0, 1))
    assert apart.min(axis=1).max() < 1e-6
    assert (turned.size[apart.argmin(axis=1)] == plain.size).all()


@pytest.mark.parametrize("scale", [0.5, 2.0])
def test_widths_grow_with_the_artwork(scale):
    line = Line(np.array([[0.0, 0.0], [80.0, 5.0]]), closed=False, pen=2.9 * np.eye(2))
    sizes = [Spec(s * d, s * (d + 0.4)) for s in (1, scale) for d in (3.9, 2.8, 2.0)]
    plain = lay_edge(Ask(None, (line,), tuple(sizes[:3])))
    grown = Line(scale * line.points, closed=False, pen=scale * line.pen)
    grown = lay_edge(Ask(None, (grown,), tuple(sizes[3:])))
    assert set(plain.size.tolist()) == {1}
    assert np.allclose(grown.centres, scale * plain.centres, atol=1e-9)
    assert (grown.size == plain.size).all()


def test_single_line_words_take_the_largest_size_of_a_list(tmp_path):
    pytest.importorskip("HersheyFonts")
    from stonelayout.lettering.job_artwork import with_texts
    from stonelayout.model.job import parse_job

    job = parse_job(
        '[[text]]\nid = "name"\nwords = "Ida"\nface = "plain"\nheight = "40 mm"\n'
        '[[lay]]\npick = { layer = "name" }\nstone = ["ss10", "ss6"]\ncolour = "jet"\n'
        'pattern = "edge"\n',
        "choir.toml",
        CATALOGUE,
    )
    art = with_texts(job, None, tmp_path)
    pens = [line.pen for shape in art.shapes for line in shape.outline]
    assert pens
    assert all(np.allclose(pen, 2.8 * np.eye(2)) for pen in pens)
    layout = lay(art, job.rules, job.sheet)
    assert set(layout.kind) == {0}
    assert "line-as-guide" not in codes(layout)


def test_guides_side_by_side_take_a_size_that_leaves_both_their_room():
    """Two lines 3.5 mm apart: ss16 needs 4.3 mm between centres, ss10 3.2 mm."""
    layout = laid(stroke(0.1, "M20 5V55") + stroke(0.1, "M23.5 5V55") + stroke(0.1, "M60 5V55"))
    near = layout.centres[:, 0] < 40
    assert set(layout.kind[near]) == {1}
    assert set(layout.kind[~near]) == {0}
    assert codes(layout) == ["line-as-guide"]


@pytest.mark.parametrize(
    "path",
    [
        "M5 5L95 25M5 25L95 5M50 15V55",
        "M50 3L60 24L83 24L64 37L71 58L50 45L29 58L36 37L17 24L40 24Z",
    ],
    ids=["lines that meet", "corners"],
)
@pytest.mark.parametrize("width", [0.1, 4])
def test_a_meeting_or_a_corner_is_no_reason_for_another_size(path, width):
    assert set(laid(stroke(width, path)).kind) == {0}


def test_two_rows_on_a_stroke_take_the_largest_size_of_which_both_fit():
    """Two rows of ss16 take 3.9 + 4.3 mm, of ss10 2.8 + 3.2 mm, of ss6 2 + 2.4 mm."""
    for width, size in ((8.2, 0), (8.1, 1), (6, 1), (5.9, 2), (4.4, 2)):
        layout = laid(stroke(width, "M10 30H90"), rows=2)
        assert set(layout.kind) == {size}
        apart = np.ptp(layout.centres[:, 1])
        assert apart == pytest.approx((4.3, 3.2, 2.4)[size])
