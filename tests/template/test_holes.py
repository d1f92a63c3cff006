"""Round holes from anywhere: every way to write a circle, in any transform and unit."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from stonelayout.checks.webs import check
from stonelayout.errors import ArtworkError, LayoutError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.svg import read_svg
from stonelayout.template.fast_circles import read_plain
from stonelayout.template.holes import fit_circle, groups_of, holes_of, read_holes
from stonelayout.template.layers_from_holes import rebuild

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")

KAPPA = 0.5522847498307936


def drawing(body, width="100mm", height="80mm", box="0 0 100 80"):
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="{box}">{body}</svg>'
    )


def bezier(x, y, r):
    k = r * KAPPA
    return (
        f"M{x + r} {y}C{x + r} {y + k} {x + k} {y + r} {x} {y + r}S{x - r} {y + k} {x - r} {y}"
        f"S{x - k} {y - r} {x} {y - r}S{x + r} {y - k} {x + r} {y}Z"
    )


WAYS = {
    "circle": '<circle cx="30" cy="20" r="1.25"/>',
    "ellipse": '<ellipse cx="30" cy="20" rx="1.25" ry="1.25"/>',
    "arcs": '<path d="M31.25 20A1.25 1.25 0 1 1 28.75 20A1.25 1.25 0 1 1 31.25 20Z"/>',
    "two half arcs": '<path d="M28.75 20a1.25 1.25 0 0 1 2.5 0a1.25 1.25 0 0 1 -2.5 0z"/>',
    "bezier": f'<path d="{bezier(30, 20, 1.25)}"/>',
    "rounded square": '<rect x="28.75" y="18.75" width="2.5" height="2.5" rx="1.25"/>',
    "moved": '<g transform="translate(10 5)"><circle cx="20" cy="15" r="1.25"/></g>',
    "turned": '<g transform="rotate(30 30 20)"><circle cx="30" cy="20" r="1.25"/></g>',
    "scaled": '<g transform="scale(2.5)"><circle cx="12" cy="8" r="0.5"/></g>',
    "mirrored": '<circle cx="-30" cy="20" r="1.25" transform="scale(-1 1)"/>',
    "squeezed to round": '<ellipse cx="15" cy="20" rx=".625" ry="1.25" transform="scale(2 1)"/>',
    "styled": '<circle cx="30" cy="20" r="1.25" style="fill:none;stroke:#000"/>',
}


@pytest.mark.parametrize("way", WAYS)
def test_every_way_to_write_a_hole(way):
    holes = read_holes(drawing(WAYS[way]))
    assert holes.centres == pytest.approx(np.array([[30.0, 20.0]]), abs=0.001)
    # Four Bezier curves are up to 0.027 % of the radius wide of a circle.
    assert holes.diameters == pytest.approx([2.5], abs=0.001)
    assert holes.not_round == ()
    assert holes.size == (100.0, 80.0)


@pytest.mark.parametrize(
    ("width", "height", "box", "unit"),
    [
        ("100mm", "80mm", "0 0 100 80", 1.0),
        ("10cm", "8cm", "0 0 1000 800", 0.1),
        ("4in", "3in", "0 0 4 3", 25.4),
        ("96", "96", "0 0 96 96", 25.4 / 96),
        ("72pt", "144pt", "10 20 72 144", 25.4 / 72),
    ],
)
def test_units_come_out_in_mm(width, height, box, unit):
    # CSS Values and Units, absolute lengths: 1 in = 25.4 mm = 96 px = 72 pt.
    x0, y0 = (float(part) for part in box.split()[:2])
    text = drawing(f'<circle cx="{x0 + 2}" cy="{y0 + 1}" r="0.5"/>', width, height, box)
    holes = read_holes(text)
    assert holes.centres == pytest.approx(np.array([[2.0 * unit, unit]]))
    assert holes.diameters == pytest.approx([unit])


number = st.floats(-20, 20).map(lambda v: round(v, 3))
step = st.one_of(
    st.tuples(number, number).map(lambda v: f"translate({v[0]},{v[1]})"),
    st.floats(0.3, 3).map(lambda v: f"scale({v:.4f})"),
    st.floats(0.3, 3).map(lambda v: f"scale({v:.4f} -{v:.4f})"),
    st.tuples(number, number, number).map(lambda v: f"rotate({v[0]} {v[1]} {v[2]})"),
    st.just("matrix(0 1.5 -1.5 0 3 4)"),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.lists(step, max_size=3), st.lists(step, max_size=2), number, st.floats(0.2, 9))
def test_the_quick_way_agrees_with_the_importer(outer, inner, x, radius):
    body = (
        f'<g transform="translate(50 40) {" ".join(outer)}">'
        f'<circle cx="{x}" cy="7" r="{radius:.3f}" transform="{" ".join(inner)}"/></g>'
    )
    text = drawing(body).encode()
    table, _, size, in_px = read_plain(text)
    assert not in_px
    # The importer leaves out what stands wholly off the page, and says so; `check` reports both.
    assume(0 < table[0, 0] < 100 and 0 < table[0, 1] < 80)
    slow = holes_of(read_svg(text, name="a.svg"))
    assert size == slow.size
    assert table[0] == pytest.approx([*slow.centres[0], slow.diameters[0] / 2], rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    "body",
    [
        '<rect width="3" height="3"/>',
        '<circle cx="3" cy="3" r="1" style="display:none"/>',
        '<circle cx="3" cy="3" r="1" visibility="hidden"/>',
        '<circle cx="3" cy="3" r="1" transform="scale(1 2)"/>',
        '<circle cx="3" cy="3" r="1" transform="skewX(3)"/>',
        '<ellipse cx="3" cy="3" rx="1" ry="2"/>',
        '<circle cx="3" cy="3" r="0"/>',
        '<circle cx="3" cy="3" r="-1"/>',
        '<circle cx="nan" cy="3" r="1"/>',
        '<circle cx="1e308" cy="3" r="1"/>',
        '<circle cx="3%" cy="3" r="1"/>',
        "<style>circle{r:3px}</style><circle r='1'/>",
        '<defs><circle cx="3" cy="3" r="1"/></defs>',
        "<g>" * 60 + "</g>" * 60,
    ],
)
def test_the_quick_way_leaves_to_the_importer_what_it_cannot_read(body):
    assert read_plain(drawing(body).encode()) is None


def test_what_is_not_round_is_named():
    body = (
        '<circle cx="10" cy="10" r="1.25"/><ellipse id="egg" cx="20" cy="20" rx="3" ry="2"/>'
        '<path id="stroke" d="M0 0L9 9" stroke="#000" fill="none"/>'
        '<rect id="box" width="5" height="5"/>'
    )
    holes = read_holes(drawing(body))
    assert len(holes) == 1
    assert [(s.id, s.reason) for s in holes.not_round] == [
        ("egg", "not round"),
        ("stroke", "not a closed line"),
        ("box", "not round"),
    ]


def test_marks_of_ours_are_no_holes():
    edge = '<path id="register-edge" d="M0 0L9 9" stroke="#000"/>'
    pins = f'<g id="registration"><circle cx="3" cy="3" r="2"/>{edge}</g>'
    body = f'{pins}<g id="holes"><circle cx="9" cy="9" r="1"/></g>'
    body += '<rect id="outline" width="100" height="80"/>'
    for more in ("", '<path d="M1 1h2" stroke="#000"/>'):  # the quick way, and the importer
        assert len(read_holes(drawing(body + more))) == 1
        found = read_holes(drawing(body.replace("register-edge", "edge") + more))
        assert len(found) == 2  # marks of others may be holes
        assert "outline" in {entry.id for entry in found.not_round}


@pytest.mark.parametrize(
    "body",
    [
        '<circle id="registration1" cx="20" cy="20" r="1"/><circle cx="23" cy="20" r="1"/>',
        '<g id="outline"><circle cx="20" cy="20" r="1"/><circle cx="23" cy="20" r="1"/></g>',
        '<path d="M19 20a1 1 0 1 0 2 0a1 1 0 1 0 -2 0"/><circle cx="23" cy="20" r="1"/>',
        '<ellipse style="rx:1px; ry:1px" cx="20" cy="20" rx="3" ry="3"/>'
        '<circle cx="23" cy="20" r="1"/>',
        '<circle style="scale:0.5" cx="40" cy="40" r="2"/><circle cx="23" cy="20" r="1"/>',
    ],
)
def test_no_hole_of_others_is_left_out(body):
    found = read_holes(drawing(body))
    assert len(found) == 2
    if "scale" not in body:
        assert np.hypot(*(found.centres[0] - found.centres[1])) == pytest.approx(3.0, abs=1e-3)
        assert found.diameters == pytest.approx([2.0, 2.0], abs=1e-3)


def test_an_oval_is_as_wide_as_its_widest():
    """Half a percent off round counts as a hole; its web is no wider than the true one."""
    found = read_holes(drawing('<ellipse cx="20" cy="20" rx="1.674" ry="1.626"/>'))
    assert found.diameters == pytest.approx([2 * 1.674], abs=1e-4)


def circle_points(count, radius=2.0, wobble=0.0):
    turn = np.arange(count) * 2 * math.pi / count
    r = radius * (1 + wobble * np.cos(3 * turn))
    return np.column_stack((5 + r * np.cos(turn), 7 + r * np.sin(turn)))


@pytest.mark.parametrize(
    ("points", "round_"),
    [
        (circle_points(8), True),
        (circle_points(90), True),
        (circle_points(90)[::-1], True),
        (circle_points(6), False),  # a hexagon
        (circle_points(90, wobble=0.003), True),
        (circle_points(90, wobble=0.05), False),
        (circle_points(90)[:60], False),  # a piece of pie
        (np.concatenate((circle_points(30), circle_points(30))), False),  # twice round
        (np.zeros((20, 2)), False),
        (np.column_stack((np.arange(20.0), np.zeros(20))), False),
    ],
)
def test_round_or_not(points, round_):
    found = fit_circle(points)
    assert (found is not None) == round_
    if found:
        (x, y), diameter = found
        assert (x, y, diameter) == pytest.approx((5, 7, 4), abs=0.02)


def test_groups_are_never_wider_than_their_tolerance():
    values = np.array([2.5, 3.3, 2.51, 2.53, 3.31, 2.55])
    groups = groups_of(values)
    assert [group.tolist() for group in groups] == [[0, 2, 3], [5], [1, 4]]
    assert groups_of(np.empty(0)) == []
    with pytest.raises(LayoutError, match="no template"):
        groups_of(np.arange(200.0))


@pytest.mark.parametrize("text", ["", "not xml", "<html></html>", drawing("")])
def test_bad_files_are_refused_with_one_line(text):
    with pytest.raises(LayoutError if "svg" in text else ArtworkError) as caught:
        rebuild([("bad.svg", read_holes(text, "bad.svg"))], SHEET, CATALOGUE)
    assert str(caught.value).startswith("bad.svg")
    assert "\n" not in str(caught.value)


def test_ten_thousand_copies_are_counted_not_paired():
    holes = read_holes(drawing('<circle cx="9" cy="9" r="1.25"/>' * 10_000))
    rebuilt = rebuild([("a.svg", holes)], SHEET, CATALOGUE)
    found = check(rebuilt.layers, SHEET, CATALOGUE)
    assert {f.code for f in found} == {"same-place"}
    assert sum(f.count for f in found) == 9_999


@pytest.mark.parametrize("radius", ["0", "-1", "1e309"])
def test_a_hole_of_no_size_is_named_and_the_others_are_read(radius):
    body = f'<circle cx="9" cy="9" r="1.25"/><circle id="bad" cx="20" cy="9" r="{radius}"/>'
    holes = read_holes(drawing(body), "a.svg")
    assert len(holes) == 1
    assert [entry.id for entry in holes.skipped] == ["bad"]


def test_what_is_no_number_is_refused_by_name():
    with pytest.raises(ArtworkError, match="bad"):
        read_holes(drawing('<circle id="bad" cx="20" cy="9" r="nan"/>'), "a.svg")


def test_concentric_holes_of_two_sizes_are_an_error():
    body = '<circle cx="9" cy="9" r="1.25"/><circle cx="9" cy="9" r="2.6"/>'
    rebuilt = rebuild([("a.svg", read_holes(drawing(body)))], SHEET, CATALOGUE)
    assert [f.code for f in check(rebuilt.layers, SHEET, CATALOGUE)] == ["stones-touch"]


def test_holes_over_the_edge_are_named():
    body = '<circle id="low" cx="0.5" cy="9" r="1.25"/><circle cx="150" cy="9" r="1.25"/>'
    (finding,) = rebuild([("a.svg", read_holes(drawing(body)))], SHEET, CATALOGUE).findings
    assert (finding.code, finding.count, finding.at) == ("off-page", 2, (0.5, 9.0))


@pytest.mark.parametrize(
    ("diameter", "clearance", "size"),
    # Holes over the largest stone by about 0.3 to 0.6 mm: SS6 2.4-2.6, SS10 3.2-3.5, SS16 4.4-4.7,
    # SS20 5.2-5.5 mm (common practice, from memory).
    [
        (2.5, 0.5, "ss6"),
        (3.3, 0.5, "ss10"),
        (4.4, 0.5, "ss16"),
        (5.2, 0.5, "ss20"),
        (3.4, 0.6, "ss10"),
    ],
)
def test_the_likely_stone_of_a_hole(diameter, clearance, size):
    body = f'<circle cx="9" cy="9" r="{diameter / 2}"/>'
    sheet = replace(SHEET, clearance=clearance)
    (layer,) = rebuild([("a.svg", read_holes(drawing(body)))], sheet, CATALOGUE).layers
    assert layer.kind.size == size
