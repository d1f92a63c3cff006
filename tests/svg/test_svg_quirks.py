"""One quirk a file: tests/svg/AREA/QUIRK.svg against analytic areas and boxes, and against resvg.

Pages are 100 x 50 mm. Areas and boxes are plane geometry; the rules are those of SVG 2.
"""

import math

import pytest
from paths import DATA
from svg_texts import read

from stonelayout.svg import read_svg
from stonelayout.writers.artwork_svg import seen_svg

FOLDER = DATA / "svg"
PX = 25.4 / 96
#: Chord error in mm that the files are read with: an area is off by this times its outline at most.
ERROR = 0.0005
DIAGONAL = math.hypot(100, 50) / math.sqrt(2)
#: File -> the shapes in it: filled area (or the stroke's, where nothing is filled) and box, in mm.
EXPECTED = {
    "clips/circle": [(100 * math.pi, (10, 10, 30, 30))],
    "clips/clip-rule": [(300, (0, 0, 20, 20))],
    "clips/clipped-clip": [(100, (0, 0, 10, 10))],
    "clips/css-circle": [(64 * math.pi, (22, 12, 38, 28))],
    "clips/css-circle-closest-side": [(100 * math.pi, (20, 10, 40, 30))],
    # 20 % of hypot(40, 20) / sqrt(2), whose square is 1000
    "clips/css-circle-percent": [
        (40 * math.pi, (30 - 40**0.5, 20 - 40**0.5, 30 + 40**0.5, 20 + 40**0.5))
    ],
    "clips/css-ellipse": [(25 * math.pi, (40, 10, 50, 20))],
    # the ellipse with half axes 30 and 10, right of a third of the half axis
    "clips/css-ellipse-farthest-side": [
        (300 * (math.pi / 2 + math.sqrt(8) / 9 + math.asin(1 / 3)), (10, 10, 50, 30))
    ],
    "clips/css-fill-box-of-a-stroked-shape": [(400, (10, 10, 30, 30))],
    "clips/css-inset": [(200, (20, 15, 40, 25))],
    "clips/css-inset-four-sides": [(29 * 13, (11, 12, 40, 25))],
    "clips/css-inset-round": [(800 - 25 * (4 - math.pi), (10, 10, 50, 30))],
    "clips/css-of-a-group": [(100, (5, 5, 15, 15)), (100, (15, 5, 25, 15))],
    "clips/css-polygon": [(400, (10, 10, 50, 30))],
    "clips/css-polygon-evenodd": [(300, (10, 10, 30, 30))],
    "clips/css-view-box": [(100 * math.pi, (20, 10, 40, 30))],
    "clips/of-the-box": [(100, (10, 10, 20, 20))],
    "css/child-combinator": [(45, (0, 0, 9, 5))],
    "css/fill-rule-inherited": [(300, (0, 0, 20, 20))],
    "css/important": [(45, (0, 0, 9, 5))],
    "css/width-by-class": [(100, (0, 0, 20, 5))],
    "fills/evenodd": [(300, (0, 0, 20, 20))],
    "fills/hole-by-direction": [(300, (0, 0, 20, 20))],
    "fills/nonzero": [(400, (0, 0, 20, 20))],
    "paths/arc-radii-grow": [(50 * math.pi, (10, 10, 30, 20))],
    "paths/goes-on-after-a-close": [(32, (6, 6, 14, 14))],
    "paths/kept-up-to-the-error": [(100, (0, 0, 10, 10))],
    "paths/packed-arc-flags": [(50 * math.pi, (10, 10, 30, 20))],
    "paths/relative-move-after-close": [(32, (10, 10, 24, 14))],
    "shapes/circle": [(100 * math.pi, (10, 10, 30, 30))],
    "shapes/circle-radius-in-percent": [
        (
            math.pi * (0.2 * DIAGONAL) ** 2,
            (50 - 0.2 * DIAGONAL, 25 - 0.2 * DIAGONAL, 50 + 0.2 * DIAGONAL, 25 + 0.2 * DIAGONAL),
        )
    ],
    "shapes/ellipse": [(60 * math.pi, (5, 16, 35, 24))],
    "shapes/polygon": [(50, (0, 0, 10, 10))],
    "shapes/polyline-fills-as-if-closed": [(200, (10, 10, 30, 30))],
    "shapes/rect": [(600, (10, 5, 40, 25))],
    # radii are clamped to half the side: a stadium
    "shapes/rect-radius-clamped": [(200 + 100 * math.pi, (0, 0, 30, 20))],
    # a rounded rectangle loses (4 - pi) r^2 at its corners
    "shapes/rect-rounded": [(600 - 25 * (4 - math.pi), (0, 0, 30, 20))],
    "strokes/cap-butt": [(160, (10, 8, 50, 12))],
    "strokes/cap-round": [(160 + 4 * math.pi, (8, 8, 52, 12))],
    "strokes/cap-square": [(176, (8, 8, 52, 12))],
    "strokes/circle": [(2 * math.pi * 20 * 4, (28, 3, 72, 47))],
    "strokes/dash": [(80, (10, 8, 45, 12))],
    "strokes/dash-odd-count": [(80, (10, 8, 48, 12))],  # 5 3 2 5 3 2: half of it is drawn
    "strokes/dash-offset": [(80, (10, 8, 50, 12))],
    # four px of the page, at 96 px an inch, on a line 20 mm long
    "strokes/does-not-scale": [(20 * 4 * PX, (5, 5 - 2 * PX, 25, 5 + 2 * PX))],
    "strokes/join-bevel": [(238, (8, 8, 40, 40))],
    "strokes/join-mitre": [(240, (8, 8, 40, 40))],  # two bars of 28 + 2, and 4 at the corner
    "strokes/join-round": [(236 + math.pi, (8, 8, 40, 40))],
    "strokes/mitre-over-its-limit": [(238, (8, 8, 40, 40))],  # 1 / sin 45 degrees: a bevel
    "strokes/mitre-within-its-limit": [(240, (8, 8, 40, 40))],
    "strokes/round-dot": [(4 * math.pi, (7, 7, 11, 11))],
    "strokes/square-dot": [(16, (7, 7, 11, 11))],
    "strokes/unequal-scale": [(80, (10, 4, 50, 6))],
    "structure/switch-first-that-holds": [(50, (0, 0, 10, 5))],
    "structure/use-before-its-target": [(50, (20, 0, 30, 5))],
    "structure/use-of-symbol": [(200, (10, 0, 30, 10))],
    "structure/use-takes-style": [(20, (20, 4, 30, 6))],
    "structure/visible-in-hidden": [(50, (50, 0, 60, 5))],
    "transforms/list-from-the-right": [(50, (15, 20, 20, 30))],
    "transforms/matrix": [(50, (0, 0, 15, 5))],
    "transforms/origin-centre": [(200, (45, 15, 55, 35))],
    "transforms/origin-lengths": [(50, (35, 0, 40, 10))],
    "transforms/rotate-about": [(50, (10, 5, 20, 10))],
    "transforms/scale": [(200, (0, 0, 20, 10))],
    "transforms/skew": [(50, (0, 0, 15, 5))],
    "transforms/translate": [(50, (3, 4, 13, 9))],
    "viewport/aspect-max": [(2500, (50, 0, 100, 50))],
    "viewport/aspect-mid": [(2500, (25, 0, 75, 50))],
    "viewport/aspect-min": [(2500, (0, 0, 50, 50))],
    "viewport/aspect-none": [(5000, (0, 0, 100, 50))],
    "viewport/aspect-slice": [(10000, (0, 0, 100, 100))],
    "viewport/nested-svg": [(400, (50, 5, 70, 25))],
    "viewport/nested-svg-cuts": [(50, (60, 5, 70, 10))],
    "viewport/nested-svg-overflow-visible": [(150, (60, 5, 90, 10))],
    "viewport/view-box-starts-elsewhere": [(25, (10, 10, 15, 15))],
}
#: Files that resvg 0.45 draws otherwise: it reads no geometry from CSS and no transform-box, and
#: strokes that do not scale keep their width in pixels of the picture. Clips by shapes of CSS are
#: new to it as well; Chromium judges them in test_svg_text.py.
NOT_BY_RESVG = {"css/width-by-class", "strokes/does-not-scale", "transforms/origin-centre"}


@pytest.mark.parametrize(
    "shape",
    ["circle(1px, 2px)", "inset(5px round 1px 2px)", "ellipse(5px)", "polygon(1px)", "circle(-1px)",
     "rect(0 0 0 0)", "circle(calc(1px + 2%))", "polygon(0 0, 5 y)", "inset()"],
)  # fmt: skip
def test_clips_that_are_not_read_are_named(shape):
    body = f'<rect width="9" height="9" style="clip-path:{shape}"/>'
    art = read(body)
    assert art.shapes[0].area.area == 81
    assert shape in art.skipped[0].reason
    stroked = body.replace(shape, "circle(3px)").replace("<rect", '<rect stroke="red"')
    assert "taken whole" in read(stroked).skipped[0].reason  # its box takes the stroke in


def test_every_file_has_its_expected_shapes():
    found = {f"{path.parent.name}/{path.stem}" for path in FOLDER.glob("*/*.svg")}
    assert {name for name in found if not name.startswith("text/")} == set(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_areas_and_boxes(name):
    art = read_svg(FOLDER / f"{name}.svg", tolerance=ERROR)
    assert art.size == pytest.approx((100, 50))
    assert len(art.shapes) == len(EXPECTED[name])
    for shape, (area, box) in zip(art.shapes, EXPECTED[name], strict=True):
        region = shape.area if shape.area is not None else shape.stroke_area
        assert region.area == pytest.approx(area, abs=ERROR * region.length)
        assert shape.bounds == pytest.approx(box, abs=1e-3)


@pytest.mark.parametrize(
    "name", sorted(name for name in EXPECTED if name not in NOT_BY_RESVG and "/css-" not in name)
)
def test_a_file_is_read_as_resvg_draws_it(name):
    pytest.importorskip("resvg_py", reason="the reference renderer is optional")
    from judge import coverage, differing, render

    path = FOLDER / f"{name}.svg"
    size = 400, 200
    theirs = coverage(render(path.read_text(encoding="utf-8"), size, stretch=False))
    ours = coverage(render(seen_svg(read_svg(path)), size, stretch=True))
    assert theirs.max() == 255
    assert differing(ours, theirs) <= 2
