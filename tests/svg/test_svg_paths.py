"""Path data against svgpathtools (an independent reader), arcs against the standard's formulas."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import flatten
from stonelayout.svg.pathdata import parse_path

numbers = st.integers(-400, 400).map(lambda n: n / 8)
pair = st.tuples(numbers, numbers).map(lambda p: f"{p[0]} {p[1]}")
radius = st.integers(1, 200).map(lambda n: n / 4)
segment = st.one_of(
    st.builds("{}{}".format, st.sampled_from("LlTt"), pair),
    st.builds("{}{}".format, st.sampled_from("HhVv"), numbers),
    st.builds("{}{},{}".format, st.sampled_from("SsQq"), pair, pair),
    st.builds("{}{} {} {}".format, st.sampled_from("Cc"), pair, pair, pair),
    st.builds(
        "{}{} {} {} {} {} {}".format,
        st.sampled_from("Aa"), radius, radius, numbers, st.sampled_from("01"),
        st.sampled_from("01"), pair,
    ),
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(pair, st.lists(segment, min_size=1, max_size=6))
def test_paths_agree_with_svgpathtools(start, segments):
    svgpathtools = pytest.importorskip("svgpathtools")
    d = f"M{start}" + "".join(segments)
    try:
        theirs = svgpathtools.parse_path(d)
    except AssertionError:  # it refuses arcs without length, which the standard drops
        return
    (ours,) = parse_path(d).subpaths
    flat = flatten(ours, 1e-4).points
    for k, piece in enumerate(theirs):
        if not isinstance(piece, svgpathtools.Arc):
            for t in (0.0, 0.37, 1.0):
                assert distance(flat, piece.point(t)) < 2e-4, (d, k)
        else:
            assert distance(flat, piece.point(0.37)) < 1e-3, (d, k)


def distance(flat, z):
    p = np.array([z.real, z.imag])
    a, b = flat[:-1], flat[1:]
    if not len(a):
        return math.hypot(*(flat[0] - p))
    along = ((p - a) * (b - a)).sum(axis=1) / np.maximum(((b - a) ** 2).sum(axis=1), 1e-300)
    foot = a + (b - a) * np.clip(along, 0, 1)[:, None]
    return float(np.hypot(*(foot - p).T).min())


def test_packed_arc_flags():
    packed = parse_path("M0 0a5 5 0 1110 0").subpaths[0]
    spaced = parse_path("M0 0a5 5 0 1 1 10 0").subpaths[0]
    assert np.array_equal(packed.points, spaced.points)
    assert len(parse_path("M0 0a1 1 0 00.5.5").subpaths[0].degrees)


@pytest.mark.parametrize(
    ("d", "kept"),
    [
        ("M0 0L10 0L5,,5", 1),
        ("M0 0L10 0 5", 1),
        ("M0 0L10 0 X 7 7", 1),
        ("M0 0L10 0A5 5 0 2 0 9 9", 1),
        ("L0 0", 0),
        ("M0 0L10 0L 1e", 1),
    ],
)
def test_a_broken_path_is_kept_up_to_the_error(d, kept):
    """SVG 2, "Path data error handling": draw up to, not including, the segment in error."""
    data = parse_path(d)
    assert data.problem
    assert sum(len(path.degrees) for path in data.subpaths) == kept


def test_a_closed_dot_is_not_lost():
    (dot,) = parse_path("M5 5z").subpaths
    assert dot.closed
    assert len(flatten(dot).points) == 1


def test_drawing_goes_on_from_the_start_after_a_close():
    first, second = parse_path("M1 1h4v4zl2 2").subpaths
    assert first.closed
    assert second.points.tolist() == [[1, 1], [3, 3]]


@pytest.mark.parametrize("bad", ["M0 0L1e400 1", "M0 0L-1e999 1"])
def test_numbers_beyond_reach_are_refused(bad):
    with pytest.raises(ArtworkError, match="too large"):
        parse_path(bad)


@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize("sweep", [False, True])
def test_arcs_stand_on_their_ellipse(large, sweep):
    """SVG 2, implementation notes: every point is on one ellipse."""
    (arc,) = parse_path(f"M3 4A9 5 30 {large:d} {sweep:d} 11 7").subpaths
    on_curve = arc.points[::3]
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    u = np.column_stack((on_curve @ [c, s] / 9.0, on_curve @ [-s, c] / 5.0))
    # a circle through the stretched points: |u|^2 = 2 u.m + k, solved by least squares
    table = np.column_stack((2 * u, np.ones(len(u))))
    m0, m1, k = np.linalg.lstsq(table, (u**2).sum(axis=1), rcond=None)[0]
    assert m0**2 + m1**2 + k == pytest.approx(1.0, abs=1e-9)
    turn = np.unwrap(np.arctan2(u[:, 1] - m1, u[:, 0] - m0))
    assert bool(abs(turn[-1] - turn[0]) > math.pi) is large
    assert bool(turn[-1] > turn[0]) is sweep


def test_radii_too_small_grow_to_half_the_span():
    (arc,) = parse_path("M0 0A1 1 0 0 1 10 0").subpaths
    assert arc.points[:, 1].min() == pytest.approx(-5.0, abs=0.02)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(numbers, numbers), min_size=4, max_size=4), st.sampled_from([1, 0.05]))
def test_chords_stay_within_the_stated_error(nodes, error):
    d = "M{} {}C{} {} {} {} {} {}".format(*(v for node in nodes for v in node))
    (path,) = parse_path(d).subpaths
    flat = flatten(path, error).points
    t = np.linspace(0, 1, 40)[:, None]
    p = np.array(nodes)
    curve = (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2]
    for x, y in curve + t**3 * p[3]:
        assert distance(flat, complex(x, y)) <= error * (1 + 1e-9) + 1e-12
