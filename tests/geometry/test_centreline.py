"""The centre line: known centres, whiskers, joints."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon, box

from stonelayout.geometry.centreline import centreline


def test_wavy_stroke_of_known_centre():
    # A stroke made by sweeping a disc of radius 4 along a curve has that curve as its centre.
    t = np.linspace(0, 1, 1200)
    middle = LineString(np.column_stack((140 * t, 12 * np.sin(2 * np.pi * 1.3 * t))))
    stroke = middle.buffer(4.0, quad_segs=48)
    branches = centreline(stroke)
    assert len(branches) == 1
    assert branches[0].free == (True, True)
    away = shapely.distance(shapely.points(branches[0].points), middle)
    assert away.max() <= 0.002 * 8.0
    assert np.allclose(branches[0].radius, 4.0, atol=0.01)


def test_ring_has_a_closed_centre():
    ring = shapely.Point(3, 4).buffer(20, quad_segs=90) - shapely.Point(3, 4).buffer(
        14, quad_segs=90
    )
    (branch,) = centreline(ring)
    assert (branch.points[0] == branch.points[-1]).all()
    away = np.hypot(*(branch.points - [3, 4]).T)
    assert np.abs(away - 17).max() <= 0.002 * 6


@pytest.mark.parametrize(
    ("arms", "ends", "at"),
    [
        ([(0, 0, 60, 0), (30, 0, 30, 30)], 3, (30, 0)),
        ([(0, 0, 25, 20), (50, 0, 25, 20), (25, 20, 25, 55)], 3, (25, 20)),
        ([(0, 0, 50, 50), (0, 50, 50, 0)], 4, (25, 25)),
        ([(0, 25, 50, 25), (25, 0, 25, 50)], 4, (25, 25)),
    ],
    ids=["T", "Y", "X", "plus"],
)
def test_strokes_join_in_one_place(arms, ends, at):
    lines = [LineString([arm[:2], arm[2:]]) for arm in arms]
    region = shapely.union_all([line.buffer(3, cap_style="flat") for line in lines])
    branches = centreline(region)
    tips = sum(sum(branch.free) for branch in branches)
    joints = {
        tuple(np.round(branch.points[0 if k == 0 else -1], 9))
        for branch in branches
        for k in (0, 1)
        if not branch.free[k]
    }
    assert tips == ends
    assert len(branches) == ends
    assert len(joints) == 1
    assert np.hypot(*(np.array(joints.pop()) - at)) < (0.5 if len(arms) == 3 else 0.002 * 6)


def test_square_ends_have_no_forks_and_bad_regions_no_crash():
    (branch,) = centreline(box(0, 0, 50, 6))
    assert np.abs(branch.points[:, 1] - 3).max() < 1e-6
    assert centreline(Polygon()) == []
    assert len(centreline(box(0, 0, 1e-9, 1e-9))) <= 4
