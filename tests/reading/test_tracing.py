"""Tracing a picture: the extra, the size, the colours."""

import sys

import numpy as np
import pytest

from stonelayout.errors import ArtworkError, MissingExtraError
from stonelayout.reading.tracing import few_colours, trace


@pytest.fixture
def picture(tmp_path):
    image = pytest.importorskip("PIL.Image")
    draw = pytest.importorskip("PIL.ImageDraw")
    path = tmp_path / "disc.png"
    canvas = image.new("RGB", (200, 100), "white")
    draw.Draw(canvas).ellipse((60, 10, 140, 90), fill="red")
    canvas.save(path)
    return path


def test_a_disc_is_traced_to_size(picture):
    pytest.importorskip("vtracer")
    art = trace(picture, colours=2, width=100.0)
    assert art.size == pytest.approx((100, 50))
    (disc,) = art.shapes
    assert disc.area.area == pytest.approx(3.14159 * 20**2, rel=0.05)
    assert "traced" in art.notes[-1]


def test_a_missing_extra_is_said(monkeypatch, picture):
    monkeypatch.setitem(sys.modules, "vtracer", None)
    with pytest.raises(MissingExtraError, match=r"stonelayout\[trace\]"):
        trace(picture, width=100.0)


def test_a_picture_has_no_size_of_its_own(tmp_path):
    with pytest.raises(ArtworkError, match="give a width"):
        trace(tmp_path / "none.png")


def blended(tmp_path, name="badge.png"):
    """A red disc and a navy bar on white, drawn four times as large, then made smaller."""
    image = pytest.importorskip("PIL.Image")
    draw = pytest.importorskip("PIL.ImageDraw")
    canvas = image.new("RGB", (1200, 800), "white")
    pen = draw.Draw(canvas)
    pen.ellipse((100, 100, 700, 700), fill="#cc0000")
    pen.rectangle((800, 100, 1100, 700), fill="#001f5b")
    path = tmp_path / name
    canvas.resize((300, 200), image.Resampling.LANCZOS).save(path)
    return path


@pytest.mark.parametrize("name", ["badge.png", "badge.jpg"])
def test_blends_along_edges_are_no_colours_and_the_background_is_left_out(tmp_path, name):
    pytest.importorskip("vtracer")
    art = trace(blended(tmp_path, name), width=300.0)
    large = [shape for shape in art.shapes if shape.area.area > 10]
    assert len({shape.fill for shape in large}) == 2
    areas = sorted(shape.area.area for shape in large)
    assert areas == pytest.approx([75 * 150, 3.14159 * 75**2], rel=0.03)
    assert any("background" in note and "--knock-out none" in note for note in art.notes)
    assert art.notes[-1].startswith("traced from a picture in 3 colours")


def test_the_background_stays_when_asked(tmp_path):
    pytest.importorskip("vtracer")
    art = trace(blended(tmp_path), width=300.0, knock_out="none")
    assert len({shape.fill for shape in art.shapes}) == 3
    assert not any("background" in note for note in art.notes)


def test_the_rarest_inner_colour_joins_its_nearest():
    palette = np.array([[255, 255, 255], [0, 0, 0], [120, 120, 120], [250, 0, 0]], np.uint8)
    index = np.zeros((20, 20), np.uint8)
    index[2:9, 2:18] = 1
    index[9, 2:18] = 2  # a blend one pixel wide
    index[12:18, 4:10] = 3
    found = few_colours(index, palette, 8)
    assert found[9, 5].tolist() == [0, 0, 0]
    assert len(np.unique(found.reshape(-1, 3), axis=0)) == 3
    assert len(np.unique(few_colours(index, palette, 2).reshape(-1, 3), axis=0)) == 2


def flag(tmp_path, size, name, **saved):
    """A navy ring round a red arrow on white, drawn eight times as large, then made smaller."""
    image = pytest.importorskip("PIL.Image")
    draw = pytest.importorskip("PIL.ImageDraw")
    canvas = image.new("RGB", (1600, 1600), "white")
    pen = draw.Draw(canvas)
    pen.ellipse((150, 150, 1450, 1450), fill="#143ca0")
    pen.ellipse((330, 330, 1270, 1270), fill="white")
    pen.polygon([(800, 380), (1080, 640), (520, 640)], fill="#c81e1e")
    pen.rectangle((670, 640, 930, 1150), fill="#c81e1e")
    path = tmp_path / name
    canvas.resize((size, size), image.Resampling.LANCZOS).save(path, **saved)
    return path


@pytest.mark.parametrize("quality", [95, 85, 75, 60])
@pytest.mark.parametrize("size", [150, 500])
def test_a_flat_jpeg_is_traced_in_its_own_colours(tmp_path, size, quality):
    pytest.importorskip("vtracer")
    art = trace(flag(tmp_path, size, "flag.jpg", quality=quality), width=150.0)
    assert len(art.shapes) == 2  # the ring and the arrow, no specks
    assert len({shape.fill for shape in art.shapes}) == 2
    assert art.notes[-1] == (
        "traced from a picture in 3 colours: look at it before you cut; if it shall have fewer, "
        "say how many: colours = 2 in the job, or --colours 2"
    )


def test_a_small_picture_keeps_its_colours_and_is_told_to_be_coarse(tmp_path):
    pytest.importorskip("vtracer")
    art = trace(flag(tmp_path, 60, "small.png"), width=150.0)
    assert len({shape.fill for shape in art.shapes}) == 2
    ring = max(shape.area.area for shape in art.shapes)
    assert ring == pytest.approx(3.14159 * (650**2 - 470**2) * (150 / 1600) ** 2, rel=0.15)
    assert art.notes[-2] == (
        "the picture is coarse: 60 x 60 px, so that a pixel is 2.5 mm and edges come out in "
        "steps; a larger picture gives better ones"
    )
    fine = trace(flag(tmp_path, 500, "fine.png"), width=150.0)
    assert not any("coarse" in note for note in fine.notes)


def test_a_picture_of_nothing_but_background_is_told_as_such(tmp_path):
    pytest.importorskip("vtracer")
    image = pytest.importorskip("PIL.Image")
    image.new("RGB", (90, 90), "white").save(tmp_path / "empty.png")
    with pytest.raises(ArtworkError) as told:
        trace(tmp_path / "empty.png", name="empty.png", width=90.0)
    assert str(told.value) == (
        "empty.png: nothing is seen in the picture but its background (#ffffff): take a larger or "
        "clearer picture"
    )


def test_colours_that_are_alike_become_one_and_others_stay_apart():
    palette = np.array([[200, 30, 30], [206, 36, 30], [20, 60, 160], [20, 60, 200]], np.uint8)
    index = np.repeat(np.arange(4, dtype=np.uint8), 100).reshape(20, 20)
    found = {tuple(colour) for colour in few_colours(index, palette, 8).reshape(-1, 3).tolist()}
    assert len(found) == 3
    assert {(20, 60, 160), (20, 60, 200)} < found
