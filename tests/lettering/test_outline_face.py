"""Outline faces against the fonts' own tables and Chromium's rendering of the same words."""

import io
import subprocess
from pathlib import Path

import numpy as np
import pytest
import shapely

pytest.importorskip("uharfbuzz")
pytest.importorskip("pathops")
from browser import CHROMIUM, QUIET
from fontTools.pens.areaPen import AreaPen
from fontTools.ttLib import TTFont

from stonelayout.errors import InputError
from stonelayout.lettering.bidi_runs import runs
from stonelayout.lettering.compose import set_text
from stonelayout.lettering.font_files import find_font
from stonelayout.lettering.glyph_drawing import Drawing, joined, move
from stonelayout.lettering.outline_face import merged, outline_face, region
from stonelayout.model.text import Text

FONTS = {
    "sans": "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf",
    "bold": "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf",
    "serif": "/usr/share/fonts/truetype/dejavu/DejaVuSerif.ttf",
    "arabic": "/usr/share/fonts/opentype/fonts-hosny-amiri/Amiri-Regular.ttf",
    "devanagari": "/usr/share/fonts/truetype/lohit-devanagari/Lohit-Devanagari.ttf",
}


def face(name):
    if not Path(FONTS[name]).is_file():
        pytest.skip(f"needs {FONTS[name]}")
    return outline_face(Path(FONTS[name]))


def square(x, y, size, hole=False):
    points = [(x, y), (x + size, y), (x + size, y + size), (x, y + size)]
    points = points[::-1] if hole else points
    commands = [("M", points[0]), *(("L", p) for p in points[1:]), ("Z", ())]
    return Drawing(tuple((op, tuple(float(v) for v in vs)) for op, vs in commands))


@pytest.mark.parametrize("name", ["sans", "bold", "serif"])
def test_advances_and_outlines_are_the_fonts_own(name):
    one = face(name)
    font = TTFont(FONTS[name])
    cmap, metrics, glyphs = font.getBestCmap(), font["hmtx"], font.getGlyphSet()
    for char in "AWgi&8ßéŁΩжЯ":
        (glyph,) = one.set(char)
        assert glyph.advance == metrics[cmap[ord(char)]][0]
        pen = AreaPen(glyphs)
        glyphs[cmap[ord(char)]].draw(pen)
        area = sum(_area(part) for part in glyph.drawing.subpaths())
        assert area == pytest.approx(-pen.value, rel=1e-3)  # y up there
    assert one.capital == font["glyf"]["H"].yMax


def _area(part):
    (line,) = Drawing(part).lines(pieces=64)
    x, y = line.T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2)


def test_kerning_is_the_fonts_own():
    """The pair's value from the font's ``kern`` table (format 0)."""
    one = face("sans")
    font = TTFont(FONTS["sans"])
    pairs, cmap = font["kern"].kernTables[0].kernTable, font.getBestCmap()
    metrics = font["hmtx"]
    kerned = 0
    for word in ("AV", "To", "LT", "Ty", "AW", "HH", "no"):
        names = tuple(cmap[ord(char)] for char in word)
        _, second = one.set(word)
        assert second.x == metrics[names[0]][0] + pairs.get(names, 0)
        kerned += second.x != metrics[names[0]][0]
    assert kerned >= 4


def test_ligatures_stand_until_the_word_is_tracked():
    one = face("sans")
    assert [glyph.text for glyph in one.set("fire")] == ["fi", "r", "e"]
    assert [glyph.text for glyph in one.set("fire", spaced=True)] == list("fire")


def test_right_to_left_with_numbers():
    """UAX #9: digits in Arabic run left to right, the words right to left."""
    assert [(run.text, run.right_to_left) for run in runs("محمد 12")] == [
        ("12", False),
        ("محمد ", True),
    ]
    assert [run.text for run in runs("Ada 7")] == ["Ada 7"]
    assert [run.text for run in runs("Ada محمد علي Lu")] == ["Ada ", "محمد علي", " ", "Lu"]
    assert [(run.text, run.script) for run in runs("Яna")] == [("Я", "Cyrl"), ("na", "Latn")]


def test_letters_that_overlap_are_merged_with_their_curves():
    ring = joined([square(0, 0, 10), square(3, 3, 4, hole=True)])
    assert merged(ring) == ring
    both = merged(joined([square(0, 0, 10), square(5, 5, 10)]))
    assert len(both.subpaths()) == 1
    assert region(both).area == pytest.approx(175)
    word = face("arabic").set("محمد")
    drawing = joined(glyph.drawing for glyph in word)
    one = merged(drawing)
    assert len(one.subpaths()) < len(drawing.subpaths())
    assert region(one).area == pytest.approx(region(drawing).area, rel=1e-3)
    assert {"Q", "C"} & {op for op, _ in one.commands}
    rings = [shapely.LinearRing(line) for line in one.lines()]
    assert all(ring.is_simple for ring in rings)


def test_letters_that_touch_on_a_tight_arc_are_merged():
    """Skia closes some merged contours without a point on the curve."""
    face("bold")
    face("devanagari")
    text = Text("\u037b\u00a8\u0101", face=FONTS["devanagari"], fallback=FONTS["bold"], arc=-60.0)
    lettering = set_text(text)
    assert "".join(letter.text for letter in lettering.letters) == text.words
    assert all(region(letter.drawing).area > 1 for letter in lettering.letters)


def test_a_joined_word_is_one_shape_and_tracking_leaves_it_whole():
    face("arabic")
    for tracking in (None, 3.0):
        lettering = set_text(Text("محمد", face=FONTS["arabic"], tracking=tracking))
        assert [letter.text for letter in lettering.letters] == ["محمد"]


def test_what_a_font_lacks_is_named_or_drawn_by_the_fallback():
    face("sans")
    face("arabic")
    with pytest.raises(InputError, match=r'has no "日" \(U\+65E5'):
        set_text(Text("a日", face=FONTS["sans"]))
    with pytest.raises(InputError, match="and the fallback"):
        set_text(Text("a日", face=FONTS["sans"], fallback=FONTS["arabic"]))
    with pytest.raises(InputError, match="plain has no"):
        set_text(Text("Ada علي"))
    lettering = set_text(Text("Ada علي", fallback=FONTS["arabic"]))
    assert [letter.drawing.stroked for letter in lettering.letters][:3] == [True] * 3
    assert lettering.letters[-1].drawing.stroked is False


def test_fonts_are_found_by_name_and_bad_ones_refused(tmp_path):
    face("bold")
    assert find_font("dejavu sans bold", tmp_path).name == "DejaVuSans-Bold.ttf"
    assert find_font("DejaVu Sans", tmp_path).name == "DejaVuSans.ttf"
    with pytest.raises(InputError, match="near it: DejaVuSans"):
        find_font("DejaVu Sanz", tmp_path)
    with pytest.raises(InputError, match="no such font file"):
        find_font("nothing.ttf", tmp_path)
    (tmp_path / "bad.ttf").write_bytes(b"not a font at all")
    with pytest.raises(InputError, match="not a font file"):
        set_text(Text("a", face="bad.ttf"), tmp_path)
    (tmp_path / "cut.ttf").write_bytes(Path(FONTS["bold"]).read_bytes()[:400])
    with pytest.raises(InputError, match="damaged"):
        set_text(Text("a", face="cut.ttf"), tmp_path)


# Chromium: each word as text and as our path, side by side in one page.
WORDS = [
    ("sans", "AVÅŁé fify Toße"),
    ("bold", "WAVE & Øre"),
    ("sans", "Άννα Ζωή λόγος"),
    ("serif", "Южный Дмитрий"),
    ("arabic", "محمد ليلى 12"),
    ("devanagari", "श्रीमती क्षितिज"),
]
EM, ROW, BASE, WIDE = 120, 220, 140, 1400


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    """A screenshot in which row 2k is Chromium's text and row 2k + 1 our path, both black."""
    if CHROMIUM is None:
        pytest.skip("needs chromium")
    from PIL import Image

    folder = tmp_path_factory.mktemp("chromium")
    rows, styles = [], []
    for k, (name, word) in enumerate(WORDS):
        one = face(name)
        styles.append(f"@font-face{{font-family:f{k};src:url('file://{FONTS[name]}')}}")
        rows.append(
            f'<text x="40" y="{2 * k * ROW + BASE}" style="font:{EM}px f{k}">'
            f"{word.replace('&', '&amp;')}</text>"
        )
        size = EM / one.em
        d = joined(glyph.drawing for glyph in one.set(word)).svg()
        rows.append(
            f'<path d="{d}" transform="translate(40 {(2 * k + 1) * ROW + BASE}) scale({size})"/>'
        )
    height = 2 * len(WORDS) * ROW
    page = folder / "page.html"
    page.write_text(
        f"<!doctype html><meta charset=utf-8><style>{''.join(styles)}body{{margin:0}}"
        f"text{{text-rendering:geometricPrecision}}</style>"
        f'<svg width="{WIDE}" height="{height}">{"".join(rows)}</svg>',
        encoding="utf-8",
    )
    flags = [
        *QUIET,
        "--allow-file-access-from-files",
        "--virtual-time-budget=4000",
    ]
    shot = folder / "shot.png"
    subprocess.run(
        [
            CHROMIUM,
            *flags,
            f"--user-data-dir={folder / 'profile'}",
            f"--window-size={WIDE},{height}",
            f"--screenshot={shot}",
            page.as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return np.asarray(Image.open(io.BytesIO(shot.read_bytes())).convert("L"), dtype=float)


@pytest.mark.parametrize("k", range(len(WORDS)), ids=[word for _, word in WORDS])
def test_words_are_set_as_chromium_sets_them(picture, k):
    """Ink that differs by more than an edge's antialiasing: under 0.2 % of the ink."""
    text = 255 - picture[2 * k * ROW : (2 * k + 1) * ROW]
    ours = 255 - picture[(2 * k + 1) * ROW : (2 * k + 2) * ROW]
    assert text.sum() > 255 * 5000
    assert ours.sum() == pytest.approx(text.sum(), rel=0.01)
    assert (np.abs(text - ours) > 160).sum() <= 0.002 * (text > 128).sum()


def test_moving_a_drawing_moves_its_box():
    (glyph,) = face("sans").set("g")
    x0, y0, x1, y1 = glyph.drawing.bounds()
    assert glyph.drawing.mapped(move(5, -3)).bounds() == (x0 + 5, y0 - 3, x1 + 5, y1 - 3)
