"""Where rows meet: shared stones, shared edges, the fewest removed, nothing in silence."""

import itertools

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from one_shape import lay_edge

from stonelayout.geometry.independent_set import most_kept
from stonelayout.geometry.polylines import Polyline
from stonelayout.laying.common.ask import Ask, Spec
from stonelayout.laying.rows.edge import edge_tracks
from stonelayout.laying.rows.gap_closing import Gap
from stonelayout.laying.rows.row_junctions import lay_rows_together
from stonelayout.model.artwork import Line

PITCH = 2.4
SS6 = (Spec(2.0, PITCH),)


def drawn(*lines, closed=False):
    return Ask(None, tuple(Line(np.array(p, dtype=float), closed) for p in lines), SS6)


def least(centres):
    away = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    return away[~np.eye(len(away), dtype=bool)].min()


def has(centres, spot):
    return bool((np.hypot(*(centres - spot).T) < 1e-6).any())


def test_crossing_lines_share_one_stone_and_are_spaced_from_it():
    laid = lay_edge(drawn([[0, 0], [50, 0]], [[20, -20], [20, 25]]))
    assert has(laid.centres, [20, 0])
    assert least(laid.centres) >= PITCH * (1 - 1e-9)
    assert len(laid.centres) == 1 + 8 + 12 + 8 + 10
    assert laid.findings == ()


def test_shallow_crossing_removes_stones_and_says_so():
    laid = lay_edge(drawn([[0, 0], [50, 10]], [[0, 10], [50, 0]]))
    assert has(laid.centres, [25, 5])
    assert least(laid.centres) >= PITCH * (1 - 1e-9)
    assert [finding.code for finding in laid.findings] == ["row-stones-removed"]
    assert laid.findings[0].count >= 4


def test_shared_edge_is_laid_once():
    square = np.array([[0, 0], [24, 0], [24, 24], [0, 24]], dtype=float)
    asks = [drawn(square, closed=True), drawn(square + [24, 0], closed=True)]
    one, two = lay_rows_together(asks, edge_tracks)
    assert len(one.centres) == 40
    assert len(two.centres) == 40 - 11
    assert least(np.concatenate((one.centres, two.centres))) >= PITCH * (1 - 1e-9)


def test_edge_shared_in_part_is_laid_once():
    long = [[0, 0], [48, 0], [48, 12], [0, 12]]
    short = [[12, 12], [36, 12], [36, 36], [12, 36]]
    one, two = lay_rows_together([drawn(long, closed=True), drawn(short, closed=True)], edge_tracks)
    centres = np.concatenate((one.centres, two.centres))
    assert has(one.centres, [12, 12])
    assert has(one.centres, [36, 12])
    assert least(centres) >= PITCH * (1 - 1e-9)
    assert two.centres[:, 1].min() > 12 + 1e-6


def test_rows_side_by_side_keep_the_longer_and_account_for_the_rest():
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    unit = np.column_stack((np.cos(t), np.sin(t)))
    asks = [drawn(unit * r, closed=True) for r in (20.0, 20.0 + 0.8 * PITCH)]
    alone = [len(lay_edge(ask).centres) for ask in asks]
    both = lay_rows_together(asks, edge_tracks)
    centres = np.concatenate([laid.centres for laid in both])
    assert least(centres) >= PITCH * (1 - 1e-9)
    assert len(centres) >= max(alone)
    said = sum(finding.count for laid in both for finding in laid.findings)
    assert said >= sum(alone) - len(centres)


def test_touching_circles_keep_their_distance():
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    unit = np.column_stack((np.cos(t), np.sin(t))) * 12
    asks = [drawn(unit, closed=True), drawn(unit + [24, 0], closed=True)]
    centres = np.concatenate([laid.centres for laid in lay_rows_together(asks, edge_tracks)])
    assert least(centres) >= PITCH * (1 - 1e-9)
    assert np.hypot(*(centres - [12, 0]).T).min() < 0.03


def test_figure_of_eight_shares_its_own_crossing():
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False) + 0.7
    eight = np.column_stack((30 * np.sin(t), 14 * np.sin(2 * t)))
    laid = lay_edge(drawn(eight, closed=True))
    assert np.hypot(*laid.centres.T).min() < 1e-3
    assert least(laid.centres) >= PITCH * (1 - 1e-9)


def brute(weights, pairs):
    best = 0.0
    for chosen in itertools.product((0, 1), repeat=len(weights)):
        if all(not (chosen[a] and chosen[b]) for a, b in pairs):
            best = max(best, float(np.dot(chosen, weights)))
    return best


def test_stones_put_into_a_gap_that_turns_back_beside_itself_keep_their_distance():
    corners = [[0, 0], [9, 0], [9, 0.3], [3, 0.3], [3, 9]]
    hairpin = Polyline.of(np.array(corners) * PITCH)
    gap = Gap(hairpin, PITCH, lambda points: np.ones(len(points), dtype=bool))
    found = gap.places(0.0, hairpin.length, True, True)
    assert len(found) >= 10
    assert least(hairpin.at([0.0, *found, hairpin.length])) >= PITCH * (1 - 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_most_kept_is_the_best_by_brute_force(data):
    size = data.draw(st.integers(1, 9))
    weights = np.array(data.draw(st.lists(st.floats(0.5, 3), min_size=size, max_size=size)))
    every = list(itertools.combinations(range(size), 2))
    pairs = np.array(
        data.draw(st.lists(st.sampled_from(every), unique=True)) if every else [], dtype=np.intp
    ).reshape(-1, 2)
    keep, proved = most_kept(weights, pairs)
    assert proved
    assert not (keep[pairs[:, 0]] & keep[pairs[:, 1]]).any()
    assert float(weights[keep].sum()) == pytest.approx(brute(weights, pairs))


def test_most_kept_of_paths_and_cycles_by_formula():
    # A path of n nodes has an independent set of ceil(n / 2), a cycle of floor(n / 2).
    for size in (2, 7, 500, 2001):
        path = np.column_stack((np.arange(size - 1), np.arange(1, size)))
        assert most_kept(np.ones(size), path)[0].sum() == (size + 1) // 2
        ring = np.concatenate((path, [[size - 1, 0]])) if size > 2 else path
        assert most_kept(np.ones(size), ring)[0].sum() == size // 2


def test_a_tangle_is_cut_down_and_not_called_proved():
    rng = np.random.default_rng(2)
    every = np.array(list(itertools.combinations(range(24), 2)))
    pairs = every[rng.random(len(every)) < 0.15]
    keep, proved = most_kept(np.ones(24), pairs, most_states=4)
    assert not proved
    assert not (keep[pairs[:, 0]] & keep[pairs[:, 1]]).any()
    assert keep.sum() >= 0.7 * most_kept(np.ones(24), pairs)[0].sum()


def test_row_comes_as_near_to_a_crossing_as_the_other_row_lets_it():
    # At 45 degrees a stone s pitches from the shared one, beside a row with a stone at one pitch,
    # is a pitch off it from s = 2 cos 45 degrees = 1.414 on; nine pitches more fit in 10.45.
    slant = np.array([1, 1]) * 10.45 * PITCH / np.sqrt(2)
    laid = lay_edge(drawn([[-24, 0], [24, 0]], [-slant, slant]))
    away = np.hypot(*laid.centres[np.abs(laid.centres[:, 1]) > 1e-6].T) / PITCH
    assert len(away) == 20
    assert np.sort(away)[:2] == pytest.approx(2 * np.cos(np.pi / 4), abs=0.002)


def test_a_gap_between_two_shared_stones_takes_the_stone_that_fits_off_its_middle():
    # a K: an arm from a stem, and a leg from the arm; half way between the two joints is no room
    unit = 7.91 * PITCH / 21
    stem, arm, leg = [[0, 0], [0, 21]], [[0, 14], [14, 0]], [[5, 9], [14, 21]]
    laid = lay_edge(drawn(*(np.array(line) * unit for line in (stem, arm, leg))))
    places = laid.centres - (0, 14 * unit)
    along, across = (places @ (np.sqrt(0.5), way * np.sqrt(0.5)) for way in (-1, 1))
    arm = np.sort(along[(np.abs(across) < 1e-6) & (along > -1e-6)])
    assert np.diff(arm).max() < 1.5 * PITCH
    assert least(laid.centres) >= PITCH * (1 - 1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 24), st.floats(0, 24), st.floats(3, 24)), min_size=2, max_size=4
    )
)
@example([(19.0, 0.0, 3.0), (18.6875, 0.0, 6.0), (0.0, 0.0, 3.0), (21.375, 3.25, 4.625)])
def test_no_place_for_a_stone_is_left_on_lines_that_meet(starts):
    lines = []
    for k, (x, y, long) in enumerate(starts):
        angle = 0.3 + k * np.pi / len(starts) + 0.02 * x
        lines.append(np.array([[x, y], [x + long * np.cos(angle), y + long * np.sin(angle)]]))
    centres = lay_edge(drawn(*lines)).centres
    assert least(centres) >= PITCH * (1 - 1e-9)
    for line in lines:
        count = int(np.hypot(*(line[1] - line[0])) / (0.02 * PITCH)) + 2
        places = line[0] + np.linspace(0, 1, count)[:, None] * (line[1] - line[0])
        away = np.hypot(*(places[:, None] - centres).transpose(2, 0, 1)).min(axis=1)
        assert away.max() < 1.01 * PITCH
