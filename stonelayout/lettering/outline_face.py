"""Outline faces: font files, shaped by HarfBuzz (kerning, ligatures, marks, right-to-left)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry import Polygon

from stonelayout.errors import InputError, MissingExtraError

from .bidi_runs import Run, runs
from .face import Glyph, clusters
from .glyph_drawing import Command, Drawing, joined, move

#: A capital's height in ems where a font says nothing of it (no H, no OS/2 entry).
CAPITAL_EMS = 0.7
#: Overlap, as a share of a letter's area, below which contours are taken as apart.
OVERLAP = 1e-6
#: Scripts whose letters join along a line: no tracking comes between them.
JOINED_SCRIPTS = frozenset({"Arab", "Syrc", "Mong", "Deva", "Beng", "Guru", "Nkoo"})
_STOP = Glyph(Drawing(), 0.0, 0.0, "")


class OutlineFace:
    """A font file. Units: those of the font, y down."""

    def __init__(self, path: Path, index: int = 0) -> None:
        try:
            import uharfbuzz as hb
        except ImportError:
            raise MissingExtraError(
                'lettering needs an extra: pip install "stonelayout[letters]"'
            ) from None
        try:
            data = path.read_bytes()
        except OSError as error:
            raise InputError(f"cannot read: {error.strerror}", file=str(path)) from None
        if data[:4] not in (b"\0\1\0\0", b"OTTO", b"true", b"ttcf"):
            raise InputError(
                "not a font file that can be read (TrueType or OpenType)", file=str(path)
            )
        self._hb: Any = hb
        self._font: Any = hb.Font(hb.Face(data, index))
        if not self._font.face.glyph_count:
            raise InputError("this font file is damaged: it holds no letter", file=str(path))
        self.name = path.name
        self._drawings: dict[int, Drawing] = {}
        self.em = float(self._font.face.upem)
        self.capital = self._capital()
        extents = self._font.get_font_extents("ltr")
        self.ascent, self.descent = float(extents.ascender), -float(extents.descender)
        tag = hb.OTMetricsTag.X_HEIGHT
        self.x_height = float(self._font.get_metric_position(tag) or 0.0)

    def _capital(self) -> float:
        glyph = self._font.get_nominal_glyph(ord("H"))
        if glyph:
            extents = self._font.get_glyph_extents(glyph)
            if extents is not None and extents.y_bearing > 0:
                return float(extents.y_bearing)
        tag = self._hb.OTMetricsTag.CAP_HEIGHT
        return float(self._font.get_metric_position(tag) or CAPITAL_EMS * self.em)

    def lacks(self, text: str) -> list[str]:
        """Return the letters (with their marks) that the font cannot draw, each once."""
        found = []
        for cluster in clusters(text):
            if cluster.isspace():
                continue
            shaped = [self._shape(run) for run in runs(cluster)]
            if any(info.codepoint == 0 for buffer in shaped for info in buffer.glyph_infos):
                found.append(cluster)
        return list(dict.fromkeys(found))

    def set(self, text: str, spaced: bool = False) -> list[Glyph]:
        """Return the letters of a line, left to right; glyphs of one cluster are one letter."""
        found: list[Glyph] = []
        x = 0.0
        for run in runs(text):
            for glyph in self._glyphs(run, spaced):
                found.append(replace(glyph, x=x, drawing=glyph.drawing.mapped(move(x, 0.0))))
                x += glyph.advance
        return found

    def _shape(self, run: Run, spaced: bool = False) -> Any:
        buffer = self._hb.Buffer()
        buffer.add_str(run.text)
        buffer.direction = "rtl" if run.right_to_left else "ltr"
        buffer.script = run.script
        buffer.guess_segment_properties()
        self._hb.shape(self._font, buffer, {"liga": False, "clig": False} if spaced else {})
        return buffer

    def _glyphs(self, run: Run, spaced: bool) -> list[Glyph]:
        buffer = self._shape(run, spaced)
        infos, places = buffer.glyph_infos, buffer.glyph_positions
        starts = sorted({info.cluster for info in infos})
        ends = dict(zip(starts, [*starts[1:], len(run.text)], strict=True))
        found: list[Glyph] = []
        last = None
        for info, place in zip(infos, places, strict=True):
            x = found[-1].advance if info.cluster == last else 0.0
            drawing = self._drawing(info.codepoint).mapped(
                move(x + place.x_offset, -float(place.y_offset))
            )
            advance = float(place.x_advance)
            if info.cluster == last:
                before = found.pop()
                drawing = joined([before.drawing, drawing])
                advance += before.advance
            text = run.text[info.cluster : ends[info.cluster]]
            joins = run.script in JOINED_SCRIPTS and not text.isspace()
            found.append(Glyph(drawing, 0.0, advance, text, joins))
            last = info.cluster
        return [replace(g, joins=g.joins and n.joins) for g, n in pairwise([*found, _STOP])]

    def _drawing(self, glyph: int) -> Drawing:
        if glyph not in self._drawings:
            pen = _ContourPen()
            self._font.draw_glyph_with_pen(glyph, pen)
            self._drawings[glyph] = merged(pen.drawing())
        return self._drawings[glyph]


class _ContourPen:
    """Collects a glyph's contours (the pen protocol of fontTools), y turned down."""

    def __init__(self) -> None:
        self.commands: list[Command] = []

    def _add(self, op: str, *points: tuple[float, float]) -> None:
        self.commands.append((op, tuple(float(v) for x, y in points for v in (x, -y))))

    def moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802 - fontTools' pen protocol
        self._add("M", point)

    def lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802 - fontTools' pen protocol
        self._add("L", point)

    def curveTo(self, *points: tuple[float, float]) -> None:  # noqa: N802 - pen protocol
        self._add("C", *points)

    def qCurveTo(self, *points: tuple[float, float]) -> None:  # noqa: N802 - pen protocol
        # HarfBuzz draws one quadratic curve at a time: a control point and an end.
        self._add("Q", *points)

    def closePath(self) -> None:  # noqa: N802 - fontTools' pen protocol
        self.commands.append(("Z", ()))

    def endPath(self) -> None:  # noqa: N802 - fontTools' pen protocol
        self.closePath()

    def drawing(self) -> Drawing:
        parts = Drawing(tuple(self.commands)).subpaths()
        return Drawing(tuple(c for part in parts if len(part) > 2 for c in part))


@lru_cache(maxsize=64)
def merged(drawing: Drawing) -> Drawing:
    """Return a filled drawing without overlaps, its curves kept.

    Contours that do not overlap come back as they are; others are merged by Skia's path
    operations (cubic curves become quadratic ones there).
    """
    lines = drawing.lines()
    if len(lines) < 2 and not _crosses(lines):
        return drawing
    if not _crosses(lines):
        signed = sum(_signed(line) for line in lines)
        filled = region(drawing).area
        if abs(abs(signed) - filled) <= OVERLAP * max(filled, 1e-12):
            return drawing
    import pathops

    path = pathops.Path()
    pen = path.getPen()
    for op, v in drawing.commands:
        points = list(zip(v[::2], v[1::2], strict=True))
        {"M": pen.moveTo, "L": pen.lineTo, "Q": pen.qCurveTo, "C": pen.curveTo}.get(
            op, lambda *_: pen.closePath()
        )(*points)
    path.simplify(fix_winding=True, keep_starting_points=True)
    ops = {"MOVE": "M", "LINE": "L", "QUAD": "Q", "CUBIC": "C", "CLOSE": "Z"}
    commands = tuple(
        (ops[verb.name], tuple(float(v) for point in points for v in point))
        for verb, points in path
    )
    return Drawing(commands)


def _crosses(lines: list[Any]) -> bool:
    return any(not shapely.LinearRing(line).is_simple for line in lines if len(line) > 3)


def _signed(line: Any) -> float:
    x, y = line[:, 0], line[:, 1]
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2)


def region(drawing: Drawing) -> Any:
    """Return the filled region (nonzero rule) as polygons, flattened."""
    rings = [line for line in drawing.lines() if len(line) > 3]
    if not rings:
        return Polygon()
    cells = list(
        shapely.get_parts(
            shapely.polygonize([shapely.unary_union([shapely.LineString(ring) for ring in rings])])
        )
    )
    inside = [cell for cell in cells if _winding(cell.representative_point(), rings)]
    return shapely.union_all(inside)


def _winding(point: Any, rings: list[Any]) -> int:
    total = 0
    for ring in rings:
        x, y = ring[:, 0] - point.x, ring[:, 1] - point.y
        up, down = (y[:-1] <= 0) & (y[1:] > 0), (y[:-1] > 0) & (y[1:] <= 0)
        side = x[:-1] * y[1:] - x[1:] * y[:-1]
        total += int((up & (side > 0)).sum()) - int((down & (side < 0)).sum())
    return total


@lru_cache(maxsize=16)
def outline_face(path: Path, index: int = 0) -> OutlineFace:
    """Return a face in a font file. Raises InputError when it cannot be read."""
    return OutlineFace(path, index)
