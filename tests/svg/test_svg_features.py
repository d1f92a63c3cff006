"""One feature at a time: units, viewports, transforms, CSS, use, clips, layers, what is skipped."""

import gzip
import math

import pytest
from svg_texts import HEAD, read, shape

from stonelayout.errors import ArtworkError
from stonelayout.svg import read_svg

BARE = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {}>'
R = '<rect id="r" width="10" height="5"/>'


@pytest.mark.parametrize(
    ("unit", "mm"),
    [("px", 25.4 / 96), ("in", 25.4), ("cm", 10), ("mm", 1), ("q", 0.25), ("pt", 25.4 / 72),
     ("pc", 25.4 / 6), ("", 25.4 / 96)],
)  # fmt: skip
def test_units(unit, mm):
    """CSS Values and Units 4, absolute lengths."""
    art = read(R, head=BARE.format(f'width="12{unit}" height="6{unit}" viewBox="0 0 12 6"'))
    assert art.size == pytest.approx((12 * mm, 6 * mm))


def test_old_files_of_72_px_an_inch():
    art = read(R, head=BARE.format('width="72" height="36"'), dpi=72)
    assert art.size == pytest.approx((25.4, 12.7))
    assert art.shapes[0].bounds == pytest.approx((0, 0, 254 / 72, 127 / 72))


def test_a_view_box_alone_is_read_with_a_loud_note():
    art = read(R, head=BARE.format('viewBox="0 0 96 48"'))
    assert art.size == pytest.approx((25.4, 12.7))
    assert "96 px an inch" in art.size_from
    assert "--width" in art.notes[0]
    assert read(R, head=BARE.format('viewBox="0 0 96 48"'), width=240).notes == ()


def test_width_and_height_must_agree():
    with pytest.raises(ArtworkError, match="proportions"):
        read(R, width=100, height=100)
    assert read(R, width=100, height=50).size == (100, 50)


def test_arcs_survive_a_mirror_with_unequal_scale():
    """The case that transforming arc parameters gets wrong: points are transformed instead."""
    d = "M10 0A20 10 30 0 1 30 15"
    plain = shape(f'<path d="{d}" stroke="red"/>')
    moved = shape(f'<g transform="translate(40 5) scale(-.5 2)"><path d="{d}" stroke="red"/></g>')
    (x0, y0, x1, y1) = (
        plain.outline[0].points.min(axis=0).tolist() + plain.outline[0].points.max(axis=0).tolist()
    )
    low, high = moved.outline[0].points.min(axis=0), moved.outline[0].points.max(axis=0)
    assert [*low, *high] == pytest.approx(
        [40 - x1 / 2, 5 + 2 * y0, 40 - x0 / 2, 5 + 2 * y1], abs=0.02
    )


@pytest.mark.parametrize(
    ("css", "colour"),
    [
        (".a{fill:#f00}", "#ff0000"),
        ("rect{fill:red} #r{fill:lime} .a{fill:blue}", "#00ff00"),
        (".a{fill:blue !important} #r{fill:red}", "#0000ff"),
        ("g > .a{fill:rgb(0,128,0)} .a{fill:red}", "#008000"),
        ("g{color:teal} .a{fill:currentColor}", "#008080"),
        ("@media print{.a{fill:red}} .a{fill:hsl(120 100% 50%)}", "#00ff00"),
        (".a{fill:oklch(62.8% 0.2577 29.23)}", "#ff0000"),
    ],
)
def test_css(css, colour):
    assert (
        shape(f'<style>{css}</style><g><rect id="r" class="a" width="9" height="9"/></g>').fill
        == colour
    )


def test_copies_by_use_have_ids_of_their_own():
    art = read(R + '<use id="copy" href="#r" x="20"/><use href="#r" x="40"/>')
    assert [item.id for item in art.shapes] == ["r", "copy", "r-2"]
    assert len({item.id for item in art.shapes}) == 3


def test_clips_cut_areas_and_lines():
    clip = '<clipPath id="c"><circle cx="20" cy="20" r="10"/></clipPath>'
    disc = shape(clip + '<rect width="50" height="50" clip-path="url(#c)"/>')
    assert disc.area.area == pytest.approx(100 * math.pi, rel=1e-3)
    assert len(disc.outline) == 1
    line = shape(clip + '<path d="M0 20H50" stroke="red" fill="none" clip-path="url(#c)"/>')
    assert line.outline[0].length == pytest.approx(20, abs=0.01)


def test_layers():
    label = (
        'xmlns:i="http://www.inkscape.org/namespaces/inkscape" i:groupmode="layer" i:label="waves"'
    )
    body = f'<g id="l1" {label}><g id="inner">{R}</g></g>'
    body += '<g id="named"><g><path d="M0 0H9V9z"/></g></g>'
    first, second = read(body).shapes
    assert (first.layer, first.layer_id) == ("waves", "l1")
    assert (second.layer, second.layer_id) == ("named", "named")
    assert second.id == "path-1"


@pytest.mark.parametrize(
    ("body", "what", "words"),
    [
        ('<text id="t">Hi</text>', "text", "convert text to outlines"),
        ('<image id="i" width="5" height="5"/>', "image", "trace"),
        ('<path id="d" display="none" d="M0 0H9V9z"/>', "path", "display: none"),
        ('<path id="v" visibility="hidden" d="M0 0H9V9z"/>', "path", "visibility"),
        ('<path id="o" opacity="0" d="M0 0H9V9z"/>', "path", "transparent"),
        ('<path id="n" fill="none" d="M0 0H9V9z"/>', "path", "neither fill nor stroke"),
        ('<use id="u" href="#nothing"/>', "use", "nothing"),
        ('<rect id="p" x="500" width="5" height="5"/>', "rect", "outside the page"),
        ('<path id="b" d="M0 0H9V9L3,,3"/>', "path", "up to there"),
        ('<mask id="m"/><rect id="k" mask="url(#m)" width="5" height="5"/>', "rect", "mask"),
    ],
)
def test_what_is_not_read_is_named(body, what, words):
    art = read("\n" + body + R)
    (entry,) = art.skipped
    assert entry.what == what
    assert words in entry.reason
    assert entry.line == 2
    assert entry.id


def test_hidden_shapes_are_counted():
    art = read('<path display="none" d="M0 0H9V9z"/>' * 7 + R)
    assert [entry.count for entry in art.skipped] == [7]


def test_gradients_are_told_and_read_flat():
    body = '<linearGradient id="g"><stop stop-color="#123456"/></linearGradient>'
    art = read(body + '<rect fill="url(#g)" width="9" height="9"/>')
    assert art.shapes[0].fill == "#123456"
    assert "flat" in art.skipped[0].reason


def test_white_shapes_knock_out_when_asked():
    body = '<rect id="r" width="20" height="20"/><circle cx="10" cy="10" r="5" fill="white"/>'
    assert len(read(body).shapes) == 2
    (left,) = read(body, knockout="white").shapes
    assert left.area.area == pytest.approx(400 - 25 * math.pi, rel=1e-3)
    assert len(left.outline) == 2
    with pytest.raises(ArtworkError, match="no colour"):
        read(body, knockout="whitish")


def test_the_box_of_a_switch_is_that_of_what_it_draws():
    units = 'clipPathUnits="objectBoundingBox"'
    clip = f'<clipPath id="c" {units}><rect width=".5" height="1"/></clipPath>'
    body = f'<switch clip-path="url(#c)">{R}<rect width="40" height="30"/></switch>'
    assert read(clip + body).shapes[0].bounds == pytest.approx((0, 0, 5, 5))


def test_switch_and_languages():
    body = f'<switch><g systemLanguage="de"><path d="M0 0H9V9z"/></g>{R}<circle r="4"/></switch>'
    assert [item.tag for item in read(body).shapes] == ["rect"]


def test_svgz_utf16_and_lost_prefixes():
    text = HEAD + R + "</svg>"
    assert len(read_svg(gzip.compress(text.encode())).shapes) == 1
    assert len(read_svg(text.encode("utf-16")).shapes) == 1
    lost = HEAD + R + '<use xlink:href="#r" y="20"/></svg>'
    assert len(read_svg(b"\n " + lost.encode()).shapes) == 2


def test_what_css_hides_is_not_counted_as_unfolded():
    many = "".join(f'<use href="#r" x="{k % 90}"/>' for k in range(300))
    hidden = '<g class="h">' + '<use href="#a"/>' * 9 + "</g>"
    body = f'{R}<g id="a">{many}</g><g id="b">{hidden}</g>' + '<use href="#b"/>' * 300
    parts = "<style>.h{display:none}</style>" + body
    assert len(read(parts).shapes) == 301
    with pytest.raises(ArtworkError, match="unfolds to over"):
        read(body)
