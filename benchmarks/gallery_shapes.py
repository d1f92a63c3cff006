"""Shapes for the gallery: letters of an open font, line art and outlines made by formula."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from stonelayout.model.artwork import Line, Shape, area_shape

#: Where Debian, Ubuntu and Fedora put the DejaVu fonts.
FONT_FOLDERS = ("/usr/share/fonts/truetype/dejavu", "/usr/share/fonts/dejavu-sans-fonts")
Art = list[Shape]
Spot = tuple[float, float]


def letters(text: str, height: float, font: str = "DejaVuSans-Bold.ttf") -> Art:
    """Return the glyphs of a text as filled shapes; cap height in mm."""
    from fontTools.pens.recordingPen import DecomposingRecordingPen
    from fontTools.ttLib import TTFont

    path = next((p for f in FONT_FOLDERS if (p := Path(f) / font).exists()), None)
    if path is None:
        raise FileNotFoundError(f"{font} is not installed (package fonts-dejavu)")
    face = TTFont(path)
    glyphs, cmap = face.getGlyphSet(), face.getBestCmap()
    scale = height / face["glyf"]["H"].yMax
    shapes, x = [], 0.0
    for k, letter in enumerate(text):
        pen = DecomposingRecordingPen(glyphs)
        glyphs[cmap[ord(letter)]].draw(pen)
        region: BaseGeometry = Polygon()
        for ring in _rings(pen.value):
            table = (np.array(ring) * [1, -1] + [x, 0]) * scale
            region = shapely.symmetric_difference(region, shapely.make_valid(Polygon(table)))
        x += glyphs[cmap[ord(letter)]].width
        if not region.is_empty:
            shapes.append(area_shape(f"{letter}-{k + 1}", region))
    return shapes


def _rings(
    commands: Sequence[tuple[str, tuple[tuple[float, float], ...]]],
) -> list[list[tuple[float, float]]]:
    rings: list[list[Spot]] = []
    for name, points in commands:
        if name == "moveTo":
            rings.append([points[0]])
        elif name == "lineTo":
            rings[-1].append(points[0])
        elif name == "qCurveTo":
            spots = list(points)
            for k, control in enumerate(spots[:-1]):
                last = k == len(spots) - 2
                end = spots[-1] if last else tuple(np.add(control, spots[k + 1]) / 2)
                start = np.array(rings[-1][-1])
                for t in np.linspace(0, 1, 33)[1:]:
                    spot = (1 - t) ** 2 * start + 2 * t * (1 - t) * np.array(control)
                    rings[-1].append(tuple(spot + t * t * np.array(end)))
    return rings


def drawn(name: str, *paths: np.ndarray, closed: bool = False) -> Art:
    """Return one line shape of several paths (m, 2) in mm."""
    return [Shape(id=name, stroke="#000000", outline=tuple(Line(p, closed) for p in paths))]


def polar(radius: Callable[[np.ndarray], np.ndarray], count: int = 1440) -> np.ndarray:
    """Return points (count, 2) of a closed curve given by its radius over the angle."""
    t = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return np.column_stack((np.sin(t), -np.cos(t))) * radius(t)[:, None]


def star(outer: float = 30.0, inner: float = 13.0, tips: int = 5) -> Art:
    """Return a star, one tip up."""
    k = np.arange(2 * tips)
    radius = np.where(k % 2 == 0, outer, inner)
    points = np.column_stack((np.sin(math.pi * k / tips), -np.cos(math.pi * k / tips)))
    return [area_shape("star", Polygon(points * radius[:, None]))]


def heart(size: float = 50.0) -> Art:
    """Return a heart from two round lobes: cusp above, tip below."""
    t = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    x = 16 * np.sin(t) ** 3
    y = -(13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t))
    return [area_shape("heart", Polygon(np.column_stack((x, y)) * size / 32))]


def spiral(turns: float = 4.0, step: float = 6.5) -> Art:
    """Return an Archimedean spiral as a line."""
    t = np.linspace(0.8, turns * 2 * math.pi, 2400)
    return drawn(
        "spiral", np.column_stack((np.cos(t), np.sin(t))) * (step * t / 2 / math.pi)[:, None]
    )


def gear(teeth: int = 12, outer: float = 28.0, inner: float = 22.0, bore: float = 9.0) -> Art:
    """Return a gear with a round bore."""
    points = []
    for k in range(teeth):
        for share, radius in (
            (0.0, inner),
            (0.28, inner),
            (0.38, outer),
            (0.72, outer),
            (0.82, inner),
        ):
            a = 2 * math.pi * (k + share + 0.45) / teeth
            points.append((radius * math.sin(a), -radius * math.cos(a)))
    hole = polar(lambda t: np.full(len(t), bore), 360)
    return [area_shape("gear", Polygon(points, [hole]))]


def swash() -> Art:
    """Return a pen stroke that swells and tapers: a script flourish of our own, filled."""
    t = np.linspace(0, 1, 900)
    x = 90 * t + 14 * np.sin(2 * math.pi * 1.5 * t)
    y = -16 * np.sin(2 * math.pi * t) * (1 - 0.3 * t) + 8 * np.cos(3 * math.pi * t)
    middle = np.column_stack((x, y))
    way = np.gradient(middle, axis=0)
    way /= np.hypot(*way.T)[:, None]
    half = (0.9 + 2.0 * np.sin(math.pi * t) ** 2)[:, None]
    normal = np.column_stack((-way[:, 1], way[:, 0]))
    ring = np.concatenate((middle + normal * half, (middle - normal * half)[::-1]))
    return [area_shape("swash", shapely.make_valid(Polygon(ring)))]


def crossing() -> Art:
    """Return lines that cross: a steep and a shallow pair, and a wave over a line."""
    t = np.linspace(0, 1, 400)
    wave = np.column_stack((80 * t, 34 + 7 * np.sin(4 * math.pi * t)))
    return drawn(
        "crossing",
        np.array([[0.0, 0.0], [80.0, 20.0]]),
        np.array([[0.0, 20.0], [80.0, 0.0]]),
        np.array([[20.0, -6.0], [28.0, 26.0]]),
        np.array([[0.0, 34.0], [80.0, 34.0]]),
        wave,
    )


def concentric(pitch: float) -> Art:
    """Return rings 0.8 pitch apart."""
    return drawn(
        "rings",
        *(
            polar(lambda t, r=r: np.full(len(t), r), 720)
            for r in (20.0 + 0.8 * pitch * k for k in range(3))
        ),
        closed=True,
    )


def traced(spread: float = 0.05, seed: int = 7) -> Art:
    """Return a leaf-like outline with the noise of a traced picture."""
    rng = np.random.default_rng(seed)
    smooth = polar(lambda t: 22 + 6 * np.cos(2 * t) + 2 * np.sin(3 * t), 900)
    return [area_shape("traced", Polygon(smooth + rng.normal(0, spread, smooth.shape)))]


def squares() -> Art:
    """Return three squares that share edges, as lines."""
    corners = np.array([[0.0, 0.0], [24.0, 0.0], [24.0, 24.0], [0.0, 24.0]])
    return drawn("squares", corners, corners + [24.0, 0.0], corners + [12.0, 24.0], closed=True)


def plain() -> Art:
    """Return shapes with two axes of symmetry: a rectangle, an ellipse and the letter H."""
    ellipse = polar(lambda t: 1 / np.hypot(np.sin(t) / 24, np.cos(t) / 15), 720) + [62.0, 15.0]
    bars = [shapely.box(92, 0, 102, 40), shapely.box(116, 0, 126, 40), shapely.box(92, 15, 126, 25)]
    return [
        area_shape("rectangle", shapely.box(0, 0, 33, 21)),
        area_shape("ellipse", Polygon(ellipse)),
        area_shape("H", shapely.union_all(bars)),
    ]


def shapes(pitch: float) -> Mapping[str, Art]:
    """Return the table of artworks; ``pitch`` in mm for those whose form depends on it."""
    return {
        "capitals": letters("BRS&", 45.0),
        "serif": letters("Qay", 45.0, "DejaVuSerif-Bold.ttf"),
        "star": star(),
        "heart": heart(),
        "spiral": spiral(),
        "gear": gear(),
        "swash": swash(),
        "crossing": crossing(),
        "concentric": concentric(pitch),
        "squares": squares(),
        "traced": traced(),
        "plain": plain(),
    }
