"""Rows of several sizes: symmetric outlines get symmetric rows, and rows follow their artwork."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from one_shape import lay_edge, lay_spine
from shapely.geometry import Polygon, box

from stonelayout.geometry.symmetry import ALIKE_MM
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.rows.tracks.size_runs import LEAST_RUN, choose_sizes
from stonelayout.model.artwork import Line, rings

SIZES = (Spec(3.9, 4.3), Spec(2.8, 3.2), Spec(2.0, 2.4))
PITCH = np.array([size.pitch for size in SIZES])
MIRROR = np.array([[-1.0, 0.0], [0.0, 1.0]])
TURN = np.array([[0.0, -1.0], [1.0, 0.0]])


def ask(region, **options):
    return Ask(region, tuple(rings(region)), SIZES, options)


def same(laid, other, turn):
    """Tell whether one answer is the other, turned (2, 2), to 1e-6 mm, the same sizes there."""
    if len(laid.centres) != len(other.centres):
        return False
    moved = laid.centres @ np.asarray(turn).T
    apart = np.hypot(*(moved[:, None] - other.centres[None]).transpose(2, 0, 1))
    there = apart.argmin(axis=1)
    return bool(apart.min(axis=1).max() < 1e-6 and (other.size[there] == laid.size).all())


def clear(laid):
    apart = np.hypot(*(laid.centres[:, None] - laid.centres[None]).transpose(2, 0, 1))
    own = PITCH[laid.size]
    np.fill_diagonal(apart, np.inf)
    return float((apart / ((own[:, None] + own[None]) / 2)).min())


def crescent():
    return shapely.Point(0, 0).buffer(30, quad_segs=64) - shapely.Point(0, 9).buffer(
        25.5, quad_segs=64
    )


def leaf():
    t = np.linspace(0, math.pi, 300)
    x, y = -55 * np.cos(t), 9 * np.sin(t) ** 1.5
    return Polygon(np.concatenate((np.column_stack((x, y)), np.column_stack((x, -y))[::-1])))


def drop():
    t = np.linspace(0, 2 * math.pi, 300, endpoint=False)
    return Polygon(np.column_stack((18 * np.sin(t) * np.sin(t / 2) ** 2, -30 * np.cos(t))))


def ring():
    return shapely.Point(0, 0).buffer(26, quad_segs=64) - shapely.Point(0, 3.5).buffer(
        20, quad_segs=64
    )


def weight():
    ends = [shapely.Point(x, 0).buffer(10, quad_segs=32) for x in (-27, 27)]
    return shapely.union_all([box(-27, -2.25, 27, 2.25), *ends])


SHAPES = {"crescent": crescent, "drop": drop, "ring": ring, "weight": weight}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_symmetric_outlines_get_symmetric_rows(shape):
    laid = lay_edge(ask(shape()))
    assert len(set(laid.size.tolist())) > 1
    assert same(laid, laid, MIRROR)
    assert clear(laid) >= 1 - 1e-9
    assert same(laid, lay_edge(ask(shapely.transform(shape(), lambda p: p @ TURN.T))), TURN)


@pytest.mark.parametrize("shape", [leaf, drop])
def test_two_rows_change_their_size_together_and_keep_their_depth(shape):
    region = shape()
    laid = lay_edge(ask(region, rows=2))
    assert len(set(laid.size.tolist())) > 1
    assert same(laid, laid, MIRROR)
    assert clear(laid) >= 1 - 1e-9
    half = np.array([size.diameter / 2 for size in SIZES])[laid.size]
    depth = shapely.distance(shapely.points(laid.centres), shapely.boundary(region))
    first = np.abs(depth - half) < 1e-4
    second = np.abs(depth - half - PITCH[laid.size]) < 1e-4
    assert (first | second).mean() > 0.75  # the others stand on ramps and in tips
    outer = np.flatnonzero(first)
    for stone in np.flatnonzero(second):
        apart = np.hypot(*(laid.centres[outer] - laid.centres[stone]).T)
        near = outer[apart < 1.6 * PITCH[laid.size[stone]]]
        assert laid.size[stone] in laid.size[near]


@pytest.mark.parametrize("width", [0.0, 3.0])
def test_symmetric_drawn_lines_get_symmetric_rows(width):
    """A round arch on legs that come near each other and part again."""
    turn = np.linspace(-math.pi / 2, math.pi / 2, 101)
    leg = np.linspace(0, 1, 101)[1:]
    neck = 2.0 if width else 5.2
    right = np.column_stack((7.0 - neck * np.sin(math.pi * leg) ** 2, 60 * leg))
    arch = np.column_stack((7 * np.sin(turn), -7 * np.cos(turn)))
    points = np.concatenate((right[::-1] * [-1, 1], arch, right))
    pen = np.array([[1.4 * width, 0.0], [0.0, 0.6 * width]]) if width else None
    line = Line(points, closed=False, pen=pen)
    laid = lay_edge(Ask(None, (line,), SIZES))
    assert len(set(laid.size.tolist())) > 1
    assert same(laid, laid, MIRROR)


def bumpy(radii, mirrored):
    """Return a closed outline by radii (k,) at even angles, smooth between, mirrored or not."""
    radii = np.asarray(radii)
    t = np.linspace(-math.pi, math.pi, 240, endpoint=False)
    waves = np.arange(1, len(radii) + 1)
    if mirrored:
        r = 16 + (radii[:, None] * np.cos(waves[:, None] * t)).sum(axis=0)
    else:
        r = 16 + (radii[:, None] * np.cos(waves[:, None] * t + waves[:, None])).sum(axis=0)
    return np.column_stack((np.sin(t), -np.cos(t))) * r[:, None]


RADII = st.lists(st.floats(-3.5, 3.5), min_size=3, max_size=4)


@given(RADII, st.booleans(), st.integers(1, 2))
@example([-2.5, 0.0, 0.0], True, 2)  # stones put back into two gaps beside each other
@example([-2.5, 3.0, -3.5, -1.0], True, 2)  # all that a row had lost is put back
@settings(max_examples=12, deadline=None)
def test_any_symmetric_outline_gets_symmetric_rows(radii, band, rows):
    points = bumpy(radii, mirrored=True)
    shape = Polygon(points).buffer(0)
    if band:
        shape = shape - shapely.Point(0, 1.0).buffer(9, quad_segs=32)
    if shape.geom_type != "Polygon":
        return
    laid = lay_edge(ask(shape, rows=rows))
    if not any(finding.code == "row-stones-removed" for finding in laid.findings):
        # with two axes a row starts on one of them; an odd number of stones has no other
        both = not band and max(map(abs, radii[::2])) < ALIKE_MM
        assert same(laid, laid, MIRROR) or (both and same(laid, laid, -MIRROR))
    assert clear(laid) >= 1 - 1e-9


@given(
    RADII,
    st.integers(0, 239),
    st.booleans(),
    st.sampled_from(["turn", "mirror", "both"]),
    st.integers(1, 2),
)
@settings(max_examples=12, deadline=None)
def test_start_direction_turn_and_mirror_do_not_matter(radii, start, back, move, rows):
    turn = {"turn": TURN, "mirror": MIRROR, "both": TURN @ MIRROR}[move]
    points = bumpy(radii, mirrored=False)
    hole = np.array(shapely.Point(2.0, 1.0).buffer(8, quad_segs=24).exterior.coords)[:-1]
    other = np.roll(points, start, axis=0)
    other = other[::-1] if back else other
    if not Polygon(points, [hole]).is_valid:
        return
    plain = lay_edge(ask(Polygon(points, [hole]), rows=rows))
    moved = lay_edge(ask(Polygon(other @ turn.T, [hole @ turn.T]), rows=rows))
    assert same(plain, moved, turn)


@given(RADII, st.sampled_from(["turn", "mirror", "both"]))
@settings(max_examples=8, deadline=None)
def test_spine_of_a_stroke_follows_its_artwork(radii, move):
    turn = {"turn": TURN, "mirror": MIRROR, "both": TURN @ MIRROR}[move]
    t = np.linspace(0, 1, 160)
    middle = np.column_stack((90 * t, 5 * radii[0] * np.sin(4 * t)))
    way = np.gradient(middle, axis=0)
    way /= np.hypot(*way.T)[:, None]
    half = (1.2 + 2.2 * np.sin(math.pi * t) ** 2 + 0.1 * radii[1] * t)[:, None]
    side = way[:, ::-1] * [-1, 1] * half
    points = np.concatenate((middle + side, (middle - side)[::-1]))
    plain = lay_spine(ask(Polygon(points)))
    assert len(set(plain.size.tolist())) > 1
    assert same(plain, lay_spine(ask(Polygon(points @ turn.T))), turn)
    assert same(plain, lay_spine(ask(Polygon(points[::-1]))), np.eye(2))


def test_changes_of_size_stand_where_the_width_passes_what_rows_need():
    """In a wedge of half-angle a, half as wide as h at its end, two rows of stones of diameter D,
    a pitch P apart, fit from x = ((D + P) / 2 / cos a - h) / tan a on, four (two on each side)
    from x = ((D + 3 P) / 2 / cos a - h) / tan a: by trigonometry."""
    half, length, rise = 0.9, 120.0, 6.1
    wedge = Polygon([(0, -half), (length, -half - rise), (length, half + rise), (0, half)])
    laid = lay_edge(ask(wedge))
    slope = rise / length
    for k, size in enumerate(SIZES[:2]):
        from_here = ((size.diameter + size.pitch) / 2 * math.hypot(1, slope) - half) / slope
        first = float(laid.centres[laid.size == k, 0].min())
        assert from_here - 0.1 <= first < from_here + size.pitch
    four = lay_edge(ask(wedge, rows=2))
    from_here = ((SIZES[1].diameter + 3 * PITCH[1]) / 2 * math.hypot(1, slope) - half) / slope
    first = float(four.centres[four.size == 1, 0].min())
    assert from_here - 0.1 <= first < from_here + PITCH[1]
    one = lay_spine(ask(wedge))
    for k, size in enumerate(SIZES[:2]):
        from_here = (size.diameter / 2 * math.hypot(1, slope) - half) / slope
        first = float(one.centres[one.size == k, 0].min())
        assert from_here - 0.1 <= first < from_here + size.pitch


def test_runs_are_centred_where_they_are_needed_and_turn_with_the_row():
    fit = np.zeros(400, dtype=np.intp)
    fit[150:158] = 1
    loose = np.zeros(400)
    sizes = choose_sizes(fit, 0.3, PITCH, loose, closed=False)
    run = np.flatnonzero(sizes == 1)
    assert len(run) * 0.3 >= LEAST_RUN * PITCH[1] - 0.3
    assert run.mean() == pytest.approx(153.5, abs=0.5)
    back = choose_sizes(fit[::-1], 0.3, PITCH, loose, closed=False)
    assert (back[::-1] == sizes).all()


@pytest.mark.parametrize("tips", [5, 6])
def test_tips_of_a_star_are_alike(tips):
    k, step = np.arange(2 * tips), math.pi / tips
    radius = np.where(k % 2 == 0, 45, 9)
    star = Polygon(np.column_stack((np.sin(step * k), -np.cos(step * k))) * radius[:, None])
    laid = lay_edge(ask(star))
    place = np.arctan2(laid.centres[:, 0], -laid.centres[:, 1]) / (2 * step)
    own = np.abs(place - np.round(place)) < 0.45  # in the valleys stands one stone for two
    sector = np.round(place) % tips
    counts = [
        np.bincount(laid.size[own & (sector == k)], minlength=3).tolist() for k in range(tips)
    ]
    assert counts[0][1] + counts[0][2] > 0
    assert counts == counts[:1] * tips


def test_a_row_never_takes_the_curve_of_the_row_opposite():
    """An oval ring, thin at top and bottom: both rows have room, so no stone is left out."""
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    oval = np.column_stack((np.cos(t), np.sin(t)))
    laid = lay_edge(ask(Polygon(oval * [29, 31], [oval * [21, 26.5]])))
    assert set(laid.size.tolist()) == {1, 2}
    assert laid.findings == ()
