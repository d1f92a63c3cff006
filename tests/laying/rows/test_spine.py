"""The spine pattern: a row on the centre line, joints, ends, narrow and wide strokes."""

import numpy as np
import pytest
import shapely
from one_shape import lay_spine
from shapely.geometry import LineString, box

from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.model.artwork import rings

SS6 = (Spec(2.0, 2.4),)


def ask(region, **options):
    return Ask(region, tuple(rings(region)), SS6, options)


def codes(laid):
    return [finding.code for finding in laid.findings]


def test_bar_gets_one_row_from_end_to_end():
    laid = lay_spine(ask(box(0, 0, 40, 3)))
    order = np.argsort(laid.centres[:, 0])
    x, y = laid.centres[order].T
    assert np.abs(y - 1.5).max() < 1e-6
    assert x[0] == pytest.approx(1.0, abs=1e-6)
    assert x[-1] == pytest.approx(39.0, abs=1e-6)
    assert np.ptp(np.diff(x)) < 1e-9 * 2.4
    assert codes(laid) == []


@pytest.mark.parametrize(
    ("arms", "joint"),
    [
        ([(0, 0, 60, 0), (30, 0, 30, 30)], (30, 0)),
        ([(0, 0, 50, 50), (0, 50, 50, 0)], (25, 25)),
    ],
    ids=["T", "X"],
)
def test_joint_has_a_stone(arms, joint):
    lines = [LineString([arm[:2], arm[2:]]) for arm in arms]
    region = shapely.union_all([line.buffer(1.6, cap_style="flat") for line in lines])
    laid = lay_spine(ask(region))
    away = np.hypot(*(laid.centres - joint).T)
    assert away.min() < 0.01
    pairs = np.hypot(*(laid.centres[:, None] - laid.centres[None]).transpose(2, 0, 1))
    assert pairs[~np.eye(len(pairs), dtype=bool)].min() >= 2.4 * (1 - 1e-9)


def test_narrow_stretch_is_left_out_and_said_and_overhang_fills_it():
    wedge = shapely.Polygon([(0, 0), (60, 1.5), (60, 2.5), (0, 4)])
    laid = lay_spine(ask(wedge))
    depth = shapely.distance(shapely.points(laid.centres), wedge.exterior)
    assert depth.min() >= 1 - 1e-5
    assert "stroke-too-narrow" in codes(laid)
    more = lay_spine(ask(wedge, overhang=0.6))
    assert len(more.centres) > len(laid.centres)


@pytest.mark.parametrize(("width", "words"), [(6.0, "two rows"), (3.5, "zigzag")])
def test_wide_stroke_is_said(width, words):
    laid = lay_spine(ask(box(0, 0, 60, width)))
    assert codes(laid) == ["stroke-wide"]
    assert words in laid.findings[0].message


def test_spine_follows_the_artwork():
    t = np.linspace(0, 1, 300)
    stroke = LineString(np.column_stack((70 * t, 10 * np.sin(5 * t) + 6 * t**2))).buffer(1.7)
    plain = lay_spine(ask(stroke)).centres
    turned = lay_spine(
        ask(shapely.transform(stroke, lambda p: p[:, ::-1] * [1, -1] + [5, 9]))
    ).centres
    moved = plain[:, ::-1] * [1, -1] + [5, 9]
    away = np.hypot(*(moved[:, None] - turned[None]).transpose(2, 0, 1)).min(axis=1)
    assert len(plain) == len(turned)
    assert away.max() < 1e-6


def test_spine_is_a_pattern_of_jobs():
    from stonelayout.laying.lay import lay
    from stonelayout.model.artwork import Artwork, area_shape
    from stonelayout.model.catalogue import load_catalogue
    from stonelayout.model.job import Pick, Rule
    from stonelayout.model.pattern_options import PATTERNS

    known = load_catalogue()
    rule = Rule(
        pick=Pick(all=True),
        stones=(known.stone("ss6"),),
        pitches=(2.4,),
        colour="crystal",
        pattern="spine",
        options=PATTERNS["spine"].defaults(),
    )
    artwork = Artwork((area_shape("bar", box(0, 0, 40, 3)),), (40, 3))
    layout = lay(artwork, [rule], known.sheet("thin-flock"))
    assert len(layout) == 16
