"""Tracing a picture: the extra, the size, the colours."""

import sys

import pytest

from stonelayout.errors import ArtworkError, MissingExtraError
from stonelayout.tracing import trace


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
    disc = min(art.shapes, key=lambda shape: shape.area.area)
    assert disc.area.area == pytest.approx(3.14159 * 20**2, rel=0.05)
    assert "traced" in art.notes[-1]


def test_a_missing_extra_is_said(monkeypatch, picture):
    monkeypatch.setitem(sys.modules, "vtracer", None)
    with pytest.raises(MissingExtraError, match=r"stonelayout\[trace\]"):
        trace(picture, width=100.0)


def test_a_picture_has_no_size_of_its_own(tmp_path):
    with pytest.raises(ArtworkError, match="give a width"):
        trace(tmp_path / "none.png")
