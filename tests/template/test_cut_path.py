import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stonelayout.errors import LayoutError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.template import tour_improvement as tours
from stonelayout.template.cut_path import (
    cut_order,
    cut_time,
    mark_lines,
    ordered,
    passes_and_overcut,
    path_length,
    runs,
)
from stonelayout.template.registration import registration

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
CUTTER = CATALOGUE.cutter("desktop-12")


COMPILED_SEARCH = tours.compiled_search


@pytest.fixture(autouse=True)
def _plain(monkeypatch):
    """Without the compiler: the result must not need the optional extra, nor a minute to build."""
    monkeypatch.setattr(tours, "compiled_search", lambda: None)


def hexagonal(width, height, pitch, angle):
    m = int(1.5 * max(width, height))
    x, y = np.meshgrid(np.arange(-m, m), np.arange(-m, m))
    points = np.column_stack(((x + (y % 2) / 2).ravel(), (y * math.sqrt(3) / 2).ravel())) * pitch
    turned = points @ [[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]
    inside = (abs(turned[:, 0]) < width * pitch / 2) & (abs(turned[:, 1]) < height * pitch / 2)
    return turned[inside & (np.hypot(turned[:, 0] - 5, turned[:, 1]) > 8)]


@pytest.mark.parametrize(("width", "height", "angle"), [(14, 11, 0.2), (30, 24, 0.0), (36, 30, 1)])
def test_hexagonal_fill_is_within_two_per_mille_of_its_bound(width, height, angle):
    # No open path through N points at mutual distance >= d is shorter than (N - 1) d.
    centres = hexagonal(width, height, 3.0, angle)
    order = cut_order(centres)
    assert sorted(order.tolist()) == list(range(len(centres)))
    assert path_length(centres, order) <= 1.002 * 3.0 * (len(centres) - 1)


def shortest(centres):
    """Held and Karp's exact dynamic programme, for an open path: the oracle."""
    n = len(centres)
    d = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    best = {(1 << k, k): 0.0 for k in range(n)}
    for mask in range(1, 1 << n):
        for last in range(n):
            if (mask, last) not in best:
                continue
            for k in range(n):
                if not mask >> k & 1:
                    key = (mask | 1 << k, k)
                    length = best[mask, last] + d[last, k]
                    if length < best.get(key, math.inf):
                        best[key] = length
    return min(best[(1 << n) - 1, k] for k in range(n))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=2, max_size=9, unique=True)
)
def test_few_holes_against_the_exact_optimum(places):
    centres = np.array(places, dtype=float)
    order = cut_order(centres)
    assert sorted(order.tolist()) == list(range(len(places)))
    # 2-opt and Or-opt alone: a local optimum, seldom far off, never below the true one.
    length, best = path_length(centres, order), shortest(centres)
    assert best - 1e-9 <= length <= 1.25 * best + 1e-9


@pytest.mark.parametrize("seed", [1, 2])
def test_kicks_only_shorten_and_keep_all_holes(seed):
    centres = np.random.default_rng(seed).uniform(0, 100, (120, 2))
    near = np.argsort(np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1)), axis=1)
    lengths = []
    for kicks in (0, 40, 300):
        tour = np.arange(121)
        xs, ys = centres.T.copy()
        tours.search(tour, near[:, 1:9].copy(), xs, ys, kicks, 50, 0.0)
        assert sorted(tour.tolist()) == list(range(121))
        start = int(np.flatnonzero(tour == 120)[0])
        lengths.append(path_length(centres, np.roll(tour, -start)[1:]))
    assert lengths[0] > lengths[1] > lengths[2]
    # About 0.7124 sqrt(N A) (Beardwood, Halton, Hammersley; constant from later numerical work),
    # and some more for the rim of a small square.
    assert lengths[2] < 1.1 * 0.7124 * math.sqrt(120 * 100 * 100)


def test_compiled_search_makes_the_same_tour():
    pytest.importorskip("numba")
    compiled = COMPILED_SEARCH()
    centres = np.random.default_rng(3).uniform(0, 100, (60, 2))
    near = np.argsort(np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1)), axis=1)
    xs, ys = centres.T.copy()
    found = []
    for search in (tours.search, compiled):
        tour = np.arange(61)
        search(tour, near[:, 1:9].copy(), xs, ys, 50, 50, 0.0)
        found.append(tour.tolist())
    assert found[0] == found[1]


@pytest.mark.parametrize("places", [[], [(1, 2)], [(5, 5), (0, 0)], [(3, 3)] * 40])
def test_few_or_equal_holes(places):
    order = cut_order(np.array(places, dtype=float).reshape(-1, 2))
    assert sorted(order.tolist()) == list(range(len(places)))


def test_it_begins_at_the_end_nearer_to_the_start():
    row = np.column_stack((np.arange(9.0), np.zeros(9)))
    assert list(range(9)) == cut_order(row, (-5.0, 0.0)).tolist()
    assert list(range(9))[::-1] == cut_order(row, (20.0, 0.0)).tolist()


def one_layer(centres):
    return Layer(1, Kind("ss6", "jet", 2.0), np.array(centres, dtype=float), 2.5)


def test_runs_face_the_travel_and_close():
    layer = one_layer([(0, 0), (10, 0), (10, 10)])
    frame = registration([layer], SHEET)
    one = runs(layer, frame, passes=2, overcut=0.5)
    assert one.sweep == pytest.approx(4 * math.pi + 0.5 / 1.25)
    starts, ends = one.start_points(), one.end_points()
    here = np.array((0.0, frame.page.size[1]))
    for centre, start, end in zip(one.centres, starts, ends, strict=True):
        assert np.hypot(*(start - centre)) == pytest.approx(1.25)
        # the nearest point of the circle: in line with the centre, on this side
        gap = np.hypot(*(start - here))
        assert gap == pytest.approx(np.hypot(*(centre - here)) - 1.25)
        here = end
    # an arc of 0.5 mm beyond the start
    chord = 2 * 1.25 * math.sin(0.5 / 1.25 / 2)
    assert np.hypot(*(ends - starts).T) == pytest.approx(chord)


def test_blade_holder_runs_ahead_of_the_tip_on_a_wider_circle():
    layer = one_layer([(0, 0)])
    frame = registration([layer], SHEET)
    plain, held = (runs(layer, frame, blade_offset=b) for b in (0.0, 0.25))
    assert held.radius == pytest.approx(math.hypot(1.25, 0.25))
    tip, holder = plain.start_points()[0], held.start_points()[0]
    assert np.hypot(*(holder - tip)) == pytest.approx(0.25)
    # The blade trails along the tangent: square to the radius at the tip.
    assert np.dot(holder - tip, tip - plain.centres[0]) == pytest.approx(0, abs=1e-9)


def test_time_counts_cuts_travel_and_lifts():
    layer = one_layer([(0, 0), (10, 0)])
    frame = registration([layer], SHEET)
    way = runs(layer, frame, passes=1)
    found = cut_time(way, frame, CUTTER)
    marks = mark_lines(frame)
    cut = 2 * math.pi * 2.5 + sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in marks)
    assert found.cut == pytest.approx(cut)
    assert found.lifts == 2 + len(marks)
    seconds = cut / CUTTER.speed + found.travel / CUTTER.travel + found.lifts * CUTTER.lift
    assert found.seconds == pytest.approx(seconds)
    assert found.as_dict()["lifts"] == found.lifts


def test_several_passes_need_no_overcut():
    from dataclasses import replace

    assert passes_and_overcut(SHEET) == (2, 0.0)
    assert passes_and_overcut(replace(SHEET, passes=1)) == (1, SHEET.overcut)


def test_ordered_keeps_every_hole():
    layer = one_layer(np.random.default_rng(1).uniform(0, 80, (150, 2)))
    frame = registration([layer], SHEET)
    again = ordered(layer, frame)
    assert sorted(map(tuple, again.centres)) == sorted(map(tuple, layer.centres))
    short = path_length(again.centres, np.arange(150))
    assert short < 0.5 * path_length(layer.centres, np.arange(150))


@pytest.mark.parametrize("wrong", [{"passes": 0}, {"overcut": -1.0}, {"blade_offset": 9.0}])
def test_values_out_of_bounds(wrong):
    layer = one_layer([(0, 0)])
    with pytest.raises(LayoutError):
        runs(layer, registration([layer], SHEET), **wrong)
