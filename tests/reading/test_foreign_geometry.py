"""Geometry of other libraries as artwork."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from stonelayout import ArtworkError, artwork_of

BOW_TIE = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])


def test_polygons_keep_their_holes_and_coordinates():
    ring = shapely.Point(-5, 40).buffer(30) - shapely.Point(-5, 40).buffer(12)
    shape = artwork_of(ring).shapes[0]
    assert shape.area.equals(ring)
    assert [line.closed for line in shape.outline] == [True, True]


def test_the_page_holds_everything_right_of_and_below_the_origin():
    assert artwork_of(shapely.box(10, 20, 40, 30)).size == (40, 30)
    assert artwork_of(shapely.box(-10, -20, 40, 30)).size == (50, 50)


def test_names_come_from_a_mapping_or_from_the_order():
    parts = [shapely.box(0, 0, 5, 5), shapely.LineString([(0, 0), (9, 9)])]
    assert [shape.id for shape in artwork_of(parts).shapes] == ["shape-1", "shape-2"]
    named = artwork_of({"hull": parts[0], "mast": parts[1]})
    assert [(shape.id, shape.kind) for shape in named.shapes] == [
        ("hull", "area"),
        ("mast", "line"),
    ]
    whole = artwork_of(shapely.GeometryCollection(parts))
    assert [shape.id for shape in whole.shapes] == ["shape-1-1", "shape-1-2"]
    assert artwork_of(whole) is whole


def test_lines_close_where_their_ends_meet():
    corners = [(0, 0), (9, 0), (9, 9), (0, 0)]
    ring, line = artwork_of([shapely.LineString(corners), shapely.LineString(corners[:3])]).shapes
    assert (ring.outline[0].closed, len(ring.outline[0].points)) == (True, 3)
    assert (line.outline[0].closed, len(line.outline[0].points)) == (False, 3)
    multi = artwork_of(shapely.MultiLineString([corners[:2], corners[1:3]])).shapes[0]
    assert len(multi.outline) == 2


@pytest.mark.parametrize(
    ("geometry", "words"),
    [
        (BOW_TIE, r"shape-1: the polygon is not valid: Self-intersection\[5 5\].*make_valid"),
        ({"left": shapely.Point(1, 2)}, "left: a Point is neither area nor line"),
        (shapely.Polygon(), "empty"),
        (7, "type int is no shape.*shapely polygons"),
        ([], "no shape in it"),
        ({3: shapely.box(0, 0, 1, 1)}, "3 is no name"),
        (shapely.from_wkt("LINESTRING (0 0, 1 inf)"), "not a finite number"),
    ],
)
def test_what_cannot_be_laid_is_refused_in_words(geometry, words):
    with pytest.raises(ArtworkError, match=words):
        artwork_of(geometry)


def test_paths_of_svgpathtools_are_taken_as_they_are():
    svgpathtools = pytest.importorskip("svgpathtools")
    path = svgpathtools.parse_path("M0,0 L30,0 A15,15 0 0 1 30,30 L0,30 Z M5,5 V25 H20 V5 Z")
    shape = artwork_of(path).shapes[0]
    # the area by the library's own integral of the curve (Green's theorem), curves not flattened
    outer, inner = (abs(part.area()) for part in path.continuous_subpaths())
    assert outer == pytest.approx(900 + math.pi * 15**2 / 2, rel=1e-4)
    assert shape.area.area == pytest.approx(outer - inner, rel=2e-4)
    wave = artwork_of(svgpathtools.Path(svgpathtools.CubicBezier(0, 10 + 9j, 20 - 9j, 30)))
    assert (wave.shapes[0].kind, wave.shapes[0].outline[0].closed) == ("line", False)


@given(st.lists(st.tuples(*[st.floats(-500, 500)] * 2), min_size=3, max_size=12))
def test_any_ring_is_taken_whole_or_refused(corners):
    polygon = shapely.Polygon(corners)
    try:
        shape = artwork_of(polygon).shapes[0]
    except ArtworkError:
        assert polygon.is_empty or not polygon.is_valid
    else:
        assert shape.area.area == polygon.area
        assert np.allclose(shape.bounds, polygon.bounds)
