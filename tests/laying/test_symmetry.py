"""Mirror-symmetric drawings get mirror-symmetric rows: random outlines, several rows, meetings."""

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from one_shape import lay_edge, lay_spine
from shapely.geometry import LineString, Polygon, box

from stonelayout.laying.common.ask import Ask, Obstacles, Spec
from stonelayout.laying.rows.edge import edge_tracks
from stonelayout.laying.rows.row_junctions import lay_rows_together
from stonelayout.laying.rows.row_symmetry import _COST
from stonelayout.model.artwork import Line, rings

SHIFT = np.array([3.3, -1.7])
SIZES = st.builds(lambda d, gap: Spec(d, d + gap), st.floats(1.6, 3.2), st.floats(0.3, 0.6))
LOOKS = [{}, {"rows": 2}, {"where": "outside"}, {"where": "on"}, {"margin": 0.4}]


def mirrored(points, axis=0):
    found = points - SHIFT
    found[:, axis] *= -1
    return found + SHIFT


def missed(points, others):
    return np.hypot(*(points[:, None] - others[None]).transpose(2, 0, 1)).min(axis=1).max()


def worth(centres, pitch):
    """How many stones one side of the axis and its image have at least, the better of the two."""
    away = centres[:, 0] - SHIFT[0]
    on = (np.abs(away) <= 1e-6).sum()
    return max(on + 2 * (2 * side * away >= pitch).sum() for side in (1, -1))


def check(ask, lay):
    """Rows are symmetric unless that costs more than a stone and a share of them."""
    centres = lay(ask).centres
    if len(centres) > 1:
        if worth(centres, ask.sizes[0].pitch) >= len(centres) * (1 - _COST) - 1:
            assert missed(mirrored(centres), centres) <= 1e-6
        apart = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
        pitch = ask.sizes[0].pitch
        assert apart[~np.eye(len(centres), dtype=bool)].min() >= pitch * (1 - 1e-9)


def ask_of(region, size, options):
    region = shapely.transform(region, lambda p: p + SHIFT)
    return Ask(region, tuple(rings(region)), (size,), options)


@st.composite
def letters(draw):
    """Draw letters like A, H and E on their backs: stems and crossbars, with holes."""
    stem, bar = draw(st.floats(2.2, 7)), draw(st.floats(2.2, 7))
    width, height = draw(st.floats(20, 40)), draw(st.floats(20, 40))
    level = draw(st.floats(5, height - 8))
    parts = [
        box(-width / 2, 0, stem - width / 2, height),
        box(width / 2 - stem, 0, width / 2, height),
        box(-width / 2, level, width / 2, level + bar),
    ]
    if draw(st.booleans()):
        parts.append(box(-width / 2, 0, width / 2, bar))
    if draw(st.booleans()):
        parts.append(box(-stem / 2, 0, stem / 2, height))
    return shapely.union_all(parts)


@st.composite
def teeth(draw):
    """Draw a tooth on a bar, its root corners often nearer to each other than a pitch."""
    root = draw(st.floats(1.2, 6))
    end, height = root * draw(st.floats(0.6, 1.2)), draw(st.floats(3, 14))
    half = [(20, 0), (20, -9), (root / 2, -9), (end / 2, -9 - height)]
    return Polygon([*half, *((-x, y) for x, y in half[::-1])])


@st.composite
def stars(draw):
    """Draw stars of three to eight points."""
    tips = draw(st.integers(3, 8))
    turn = np.arange(2 * tips) * math.pi / tips
    outer, inner = draw(st.floats(20, 28)), draw(st.floats(8, 18))
    radius = np.where(np.arange(2 * tips) % 2, inner, outer)
    return Polygon(np.column_stack((radius * np.sin(turn), radius * np.cos(turn))))


@given(st.one_of(letters(), teeth(), stars()), SIZES, st.sampled_from(LOOKS))
@settings(max_examples=60, deadline=None)
def test_edge_rows_of_symmetric_outlines_are_symmetric(region, size, options):
    if options.get("where") == "on":
        # rows on both sides of a stroke narrower than a pitch: like sides may cost a fifth of them
        half = size.pitch / 2
        wide = region.buffer(-half, join_style="mitre").buffer(half, join_style="mitre")
        assume(region.difference(wide).area < 0.1 * region.area)
    check(ask_of(region, size, options), lay_edge)


@given(st.one_of(letters(), teeth()), SIZES)
@settings(max_examples=20, deadline=None)
def test_spines_of_symmetric_outlines_are_symmetric(region, size):
    check(ask_of(region, size, {}), lay_spine)


def test_mirrored_shapes_get_mirrored_rows():
    wing = np.array([[4, 0], [30, -6], [34, 8], [20, 10], [18, 21], [5, 14]], dtype=float)
    asks = [ask_of(Polygon(wing * [side, 1]), Spec(2.0, 2.4), {"rows": 2}) for side in (1.0, -1.0)]
    one, two = (laid.centres for laid in lay_rows_together(asks, edge_tracks))
    assert len(one) == len(two) > 40
    assert missed(mirrored(one), two) <= 1e-6


def test_lines_that_cross_are_symmetric_about_an_axis_that_costs_no_stones():
    # About the level axis as well it would cost two or three stones where the lines cross.
    ends = np.array([[[-30, -9], [30, 9]], [[-30, 9], [30, -9]], [[-30, 0], [30, 0]]], dtype=float)
    for some in (ends, ends[:2]):
        asks = [Ask(None, (Line(end + SHIFT, False),), (Spec(2.0, 2.4),)) for end in some]
        centres = np.concatenate([laid.centres for laid in lay_rows_together(asks, edge_tracks)])
        assert missed(mirrored(centres), centres) <= 1e-6


def test_whole_ring_of_an_odd_number_keeps_its_equal_chords():
    t = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    for axes in ((24.0, 15.0), (25.0, 15.0), (26.0, 15.0), (27.0, 15.0)):
        ellipse = Polygon(np.column_stack((np.cos(t), np.sin(t))) * axes)
        centres = lay_edge(ask_of(ellipse, Spec(2.0, 2.4), {})).centres
        chords = np.hypot(*(centres - np.roll(centres, 1, axis=0)).T)
        assert np.ptp(chords) <= 1e-9 * chords.mean()


def test_obstacle_beside_the_axis_is_kept_clear_even_at_the_cost_of_symmetry():
    bow = Polygon([(-15, -12), (0, -3), (15, -12), (15, 12), (0, 3), (-15, 12)])
    ask = ask_of(bow, Spec(2.0, 2.4), {})
    stand = np.array([[12.0, 9.0]]) + SHIFT
    ask = Ask(ask.region, ask.lines, ask.sizes, {}, Obstacles(stand, np.array([[5.0]])))
    centres = lay_edge(ask).centres
    assert np.hypot(*(centres - stand).T).min() >= 5.0 * (1 - 1e-9)


@pytest.mark.parametrize("root", [2.2, 2.8, 3.4])
def test_gear_teeth_are_alike(root):
    body = shapely.Point(0, 0).buffer(20, quad_segs=90)
    tooth = LineString([(0, 15), (0, 26)]).buffer(root / 2, cap_style="flat")
    turns = [shapely.affinity.rotate(tooth, 90 * k, origin=(0, 0)) for k in range(4)]
    centres = lay_edge(Ask(gear := shapely.union_all([body, *turns]), tuple(rings(gear)),
                           (Spec(2.0, 2.4),))).centres  # fmt: skip
    outside = centres[np.hypot(*centres.T) > 20]
    for turned in (outside[:, ::-1] * [1, -1], outside * [-1, 1], outside * [1, -1]):
        assert missed(turned, outside) < 1e-6


@pytest.mark.parametrize("height", [20, 30])
def test_a_lone_stone_where_strokes_meet_stands_on_the_axis(height):
    # only where bars and stems meet is there room for a stone, on a ring smaller than a pitch
    stems = [box(x - 1.5, 0, x + 1.5, height) for x in (-8.5, 0, 8.5)]
    comb = shapely.union_all([*stems, box(-10, 6, 10, 9)])
    centres = lay_edge(ask_of(comb, Spec(2.5, 3.0), {"margin": 0.4})).centres
    assert len(centres) == 3
    assert missed(mirrored(centres), centres) <= 1e-6
