"""Rows of several sizes: the largest that fits, changes few and orderly, pitch right for both."""

import itertools

import numpy as np
import pytest
import shapely
from one_shape import lay_edge, lay_spine
from shapely.geometry import Polygon, box

from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.rows.tracks.row import lay_row
from stonelayout.laying.rows.tracks.size_runs import (
    LEAST_END_RUN,
    LEAST_RUN,
    SizeRuns,
    choose_sizes,
)
from stonelayout.model.artwork import Line, rings

SIZES = (Spec(4.0, 4.4), Spec(2.9, 3.3), Spec(2.0, 2.4))
PITCH = np.array([size.pitch for size in SIZES])
RADIUS = np.array([size.diameter / 2 for size in SIZES])
WEDGE = Polygon([(0, -0.9), (120, -7), (120, 7), (0, 0.9)])


def ask(region, **options):
    return Ask(region, tuple(rings(region)), SIZES, options)


def clear(laid):
    """Return the least distance of two stones over their least pitch."""
    apart = np.hypot(*(laid.centres[:, None] - laid.centres[None]).transpose(2, 0, 1))
    own = PITCH[laid.size]
    np.fill_diagonal(apart, np.inf)
    return float((apart / ((own[:, None] + own[None]) / 2)).min())


def test_spine_of_a_wedge_grows_by_steps_and_its_chords_are_in_proportion():
    laid = lay_spine(ask(WEDGE))
    order = np.argsort(laid.centres[:, 0])
    size, spots = laid.size[order], laid.centres[order]
    assert sorted(set(size.tolist())) == [0, 1, 2]
    assert set(np.diff(size).tolist()) == {0, -1}
    own = PITCH[size]
    stretch = np.hypot(*np.diff(spots, axis=0).T) / ((own[1:] + own[:-1]) / 2)
    assert np.ptp(stretch) < 1e-9
    assert 1 - 1e-9 <= stretch[0] < 1.1
    depth = shapely.distance(shapely.points(spots), WEDGE.exterior)
    assert (depth >= RADIUS[size] - 1e-5).all()
    # The largest that fits: a larger one would hang over where a size has gone on for a while.
    late = np.flatnonzero((size > 0) & (np.append(size[1:], -1) == size))
    assert (depth[late] < RADIUS[size[late] - 1] + 0.35).all()


@pytest.mark.parametrize("width", [2.5, 3.5, 5.0])
def test_a_bar_gets_one_size_from_end_to_end(width):
    laid = lay_spine(ask(box(0, 0, 60, width)))
    size = int(np.flatnonzero(width >= 2 * RADIUS)[0])
    assert set(laid.size.tolist()) == {size}
    x = laid.centres[:, 0]
    assert x.min() == pytest.approx(RADIUS[size], abs=1e-5)
    assert x.max() == pytest.approx(60 - RADIUS[size], abs=1e-5)


@pytest.mark.parametrize("where", ["inside", "on"])
def test_edge_rows_leave_the_row_opposite_its_room(where):
    laid = lay_edge(ask(WEDGE, where=where))
    assert clear(laid) >= 1 - 1e-9
    right = laid.centres[:, 0] > 100
    assert set(laid.size[right].tolist()) == {0}
    assert set(laid.size.tolist()) == {0, 1, 2}
    if where == "inside":
        depth = shapely.distance(shapely.points(laid.centres), WEDGE.exterior)
        file = np.abs(laid.centres[:, 1]) < 1e-6  # the tip has its stones in single file
        ramp = (np.abs(depth - RADIUS[laid.size]) > 1e-5) & ~file
        assert ramp.sum() <= 8  # two stones on each of the four ramps
        assert (depth >= RADIUS[laid.size] - 1e-5).all()


def test_sizes_follow_the_artwork_when_it_turns():
    points = np.array([(0, -0.9), (70, -9), (120, -7), (120, 9), (0, 0.9)])
    plain = lay_edge(ask(Polygon(points)))
    turned = lay_edge(ask(Polygon(points[:, ::-1] * [-1, 1])))
    assert set(plain.size.tolist()) == {0, 1, 2}
    moved = plain.centres[:, ::-1] * [-1, 1]
    apart = np.hypot(*(moved[:, None] - turned.centres[None]).transpose(2, 0, 1))
    assert apart.min(axis=1).max() < 1e-6
    assert (turned.size[apart.argmin(axis=1)] == plain.size).all()


def test_a_lone_line_gets_the_largest_size_and_parallel_rows_one_size():
    line = Line(np.array([[0.0, 0.0], [44.0, 0.0]]), closed=False)
    assert set(lay_edge(Ask(None, (line,), SIZES)).size.tolist()) == {0}
    wide = lay_edge(ask(box(0, 0, 60, 40), rows=2))
    narrow = lay_edge(ask(box(0, 0, 60, 9), rows=2))
    assert set(wide.size.tolist()) == {0}
    assert set(narrow.size.tolist()) == {2}


def runs(sizes):
    cuts = np.flatnonzero(np.diff(sizes)) + 1
    return [(int(part[0]), len(part)) for part in np.split(sizes, cuts)]


def test_runs_are_long_change_by_one_and_fit():
    rng = np.random.default_rng(5)
    step = 0.3
    for closed in (False, True):
        for _ in range(20):
            fit = np.repeat(rng.integers(0, 3, 12), rng.integers(5, 90, 12))
            sizes = choose_sizes(fit, step, PITCH, np.zeros(len(fit)), closed)
            assert (sizes >= fit).all() or len(fit) * step < LEAST_RUN * PITCH[0] * 2
            found = runs(sizes)
            assert all(abs(a - b) == 1 for (a, _), (b, _) in itertools.pairwise(found))
            assert all(n * step >= LEAST_RUN * PITCH[k] - step for k, n in found[1:-1])
            if not closed and len(found) > 1:
                for k, n in (found[0], found[-1]):
                    assert n * step >= LEAST_END_RUN * PITCH[k] - step


def test_row_with_a_gauge_keeps_both_pitches():
    t = np.linspace(0, 3, 400)
    path = Polyline.of(np.column_stack((30 * t, 8 * np.sin(2 * t))))
    size_runs = SizeRuns(np.array([0.0, 40.0]), np.array([0, 1]), path.length, PITCH[:2])
    row = lay_row(path, PITCH[0], size_runs=size_runs)
    own = PITCH[row.size]
    stretch = row.chords / ((own[1:] + own[:-1]) / 2)
    assert np.ptp(stretch) < 1e-9
    assert stretch.min() >= 1 - 1e-9
    assert np.count_nonzero(np.diff(row.size)) == 1


def test_free_end_of_a_stub_does_not_take_the_size_of_its_joint():
    """A bar 2.5 mm wide that leaves a post 5 mm wide: from the joint on all stones are small."""
    post = shapely.union_all([box(0, 0, 5, 50), box(5, 20, 17, 22.5)])
    laid = lay_spine(ask(post))
    bar = laid.centres[:, 0] > 5
    assert bar.sum() >= 4
    assert set(laid.size[bar].tolist()) == {2}
    assert set(laid.size[~bar].tolist()) == {0}


def test_ends_of_bars_have_the_size_of_the_bars():
    """Four rows take 2 + 3 * 2.4 = 9.2 mm of the smallest, 12.8 mm of the next: bars of 10 mm."""
    bars = shapely.union_all([box(0, 0, 10, 40), box(24, 0, 34, 40), box(0, 15, 34, 25)])
    assert set(lay_edge(ask(bars, rows=2)).size.tolist()) == {2}
