"""Setting words on lines, arcs and paths; least heights; the command."""

import json
import math
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

pytest.importorskip("HersheyFonts")

from stonelayout.cli import group
from stonelayout.errors import InputError
from stonelayout.lettering.compose import set_text
from stonelayout.lettering.glyph_drawing import Drawing
from stonelayout.lettering.legibility import readable, stem_widths, thin_stroke
from stonelayout.lettering.letters_svg import letters_box, letters_svg
from stonelayout.model.text import Setting, Text
from stonelayout.svg import read_svg

STONES = Setting(2.0, 2.65)


def invoke(*arguments):
    return CliRunner().invoke(group, list(arguments), standalone_mode=False)


def box(lettering):
    x0, y0, x1, y1 = lettering.bounds
    return x1 - x0, y1 - y0


@pytest.mark.parametrize("height", [5.0, 30.0, 250.0])
def test_height_is_the_height_of_a_capital(height):
    lettering = set_text(Text("HEX", height=height))
    assert box(lettering)[1] == pytest.approx(height)


@given(width=st.floats(60, 400), words=st.sampled_from(["Ada", "Kari\nOle", "0815 Bö", "MOON"]))
@settings(max_examples=10, deadline=None)
def test_words_fill_the_width_with_their_tracking(width, words):
    for stones in (None, STONES):
        lettering = set_text(Text(words, width=width), stones=stones)
        over = stones.diameter if stones else 0.0  # stones stand on the lines
        assert box(lettering)[0] + over == pytest.approx(width, abs=1e-3)


def test_words_that_no_height_fits_are_refused():
    with pytest.raises(InputError) as told:
        set_text(Text("Ada Brookfield", width=20.0), stones=STONES)
    assert str(told.value) == (
        '"Ada Brookfield" does not fit 20 mm: in stones of 2 mm its capitals must be 12.6 mm high '
        "to be read, and it needs at least 151 mm, 101 mm in two lines (\\n between them), or a "
        "smaller stone"
    )
    for words, width in (("Ada Brookfield", 151), ("Ada\nBrookfield", 101)):
        assert set_text(Text(words, width=width), stones=STONES).capital >= 12.6
        assert set_text(Text(words, width=width - 1), stones=STONES).capital < 12.6
    with pytest.raises(InputError, match="its tracking alone is wider; give less tracking"):
        set_text(Text("Bo", width=20.0, tracking=30.0))


def test_a_width_brings_no_capital_below_the_least():
    text = Text("Ada Brookfield", width=140.0, height=30.0)
    assert set_text(text, stones=STONES).capital < 12.6
    with pytest.raises(InputError, match="needs at least 151 mm"):
        set_text(text, stones=STONES, least=12.6)
    assert set_text(Text("Bo", height=5.0, width=400.0), stones=STONES, least=12.6).capital == 5


def test_width_is_the_most_where_a_height_is_given():
    free = set_text(Text("Ada", height=20.0, width=400.0))
    assert free.capital == 20.0
    assert free.notes == ()
    tight = set_text(Text("Maximiliana", height=40.0, width=100.0))
    assert box(tight)[0] == pytest.approx(100.0, abs=1e-6)
    assert "to fit 100 mm" in tight.notes[0]


@pytest.mark.parametrize(("align", "edge"), [("left", 0), ("right", 2)])
def test_lines_are_aligned_where_they_are_put(align, edge):
    lettering = set_text(Text("HI\nHELLO", at=(50.0, 70.0), align=align, height=10.0))
    first, second = ([p for p in lettering.letters if (p.drawing.bounds()[3] > 71) == low]
                     for low in (False, True))  # fmt: skip
    pick = min if align == "left" else max
    for row in (first, second):
        assert pick(letter.drawing.bounds()[edge] for letter in row) == pytest.approx(50.0)
    assert first[0].drawing.bounds()[3] == pytest.approx(70.0)
    assert second[0].drawing.bounds()[3] == pytest.approx(70.0 + 1.6 * 10.0)


@pytest.mark.parametrize("radius", [90.0, -90.0])
def test_letters_stand_on_the_arc(radius):
    lettering = set_text(Text("HHHHHHH", arc=radius, at=(10.0, 20.0), height=12.0))
    centre = np.array([10.0, 20.0 + radius])
    for letter in lettering.letters:
        ends = np.concatenate(letter.drawing.lines())
        away = np.hypot(*(ends - centre).T)
        foot, head = (away.min(), away.max()) if radius > 0 else (away.max(), away.min())
        assert foot == pytest.approx(abs(radius), abs=1.0)
        assert abs(head - foot) == pytest.approx(12.0, abs=1.0)
    middles = [np.concatenate(x.drawing.lines()).mean(axis=0) - centre for x in lettering.letters]
    turns = np.diff(np.unwrap([math.atan2(*m[::-1]) for m in middles]))
    assert np.allclose(turns, turns[0])
    assert (turns[0] > 0) == (radius > 0)  # left to right on both


def test_letters_stand_along_a_path_and_too_long_words_are_refused():
    x = np.linspace(0, 200, 400)
    wave = np.column_stack((x, 15 * np.sin(x / 25)))
    lettering = set_text(Text("HHHHHH", path="wave", height=8.0), path=wave)
    line = shapely.LineString(wave)
    for letter in lettering.letters:
        middle = np.concatenate(letter.drawing.lines()).mean(axis=0)
        assert shapely.distance(shapely.Point(middle), line) == pytest.approx(4.0, abs=0.6)
    with pytest.raises(InputError, match=r'its path "wave" only 2\d\d'):
        set_text(Text("H" * 60, path="wave", height=8.0), path=wave)
    with pytest.raises(InputError, match='no shape "wave"'):
        set_text(Text("H", path="wave"))


def test_what_nobody_sees_is_left_out():
    plain = set_text(Text("Ada Bo"))
    pasted = set_text(Text("\ufeffA\u200bd\u200da\u00a0\u200eBo\x07"))
    assert pasted.bounds == plain.bounds
    assert [one.drawing for one in pasted.letters] == [one.drawing for one in plain.letters]
    assert len(set_text(Text("A\r\nB")).letters) == 2


def test_nothing_to_draw_is_refused():
    with pytest.raises(InputError, match="draw nothing"):
        set_text(Text("  \n "))
    with pytest.raises(InputError, match="has no room for so many lines"):
        set_text(Text("a\nb\nc\nd", arc=20.0, height=20.0))


def test_the_drawing_reads_back_as_it_was_set():
    lettering = set_text(Text("Zoë 8&<", id="name"), stones=STONES)
    page = letters_box([lettering])
    art = read_svg(letters_svg([lettering], page, 2.0).encode())
    assert [shape.id for shape in art.shapes] == [letter.id for letter in lettering.letters]
    assert {shape.layer for shape in art.shapes} == {"name"}
    for shape, letter in zip(art.shapes, lettering.letters, strict=True):
        drawn = sum(line.length for line in shape.outline)
        lines = [line for line in letter.drawing.lines(pieces=100) if len(line) > 1]
        assert drawn == pytest.approx(
            sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines), abs=0.05
        )
        assert len(shape.outline) == len(letter.drawing.subpaths())  # dots are there too


def bar(width, height):
    points = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
    return Drawing((("M", points[0]), *(("L", p) for p in points[1:]), ("Z", ())))


@pytest.mark.parametrize("width", [1.0, 3.0, 7.0])
def test_stroke_width_is_measured(width):
    region = shapely.box(0, 0, width, 40)
    assert thin_stroke(region) == pytest.approx(width, rel=0.1)
    assert np.median(stem_widths(region)) == pytest.approx(width, rel=1e-4)
    ring = shapely.Point(0, 0).buffer(20, 64) - shapely.Point(0, 0).buffer(20 - width, 64)
    assert np.median(stem_widths(ring)) == pytest.approx(width, rel=0.01)


def test_the_pattern_follows_the_stem():
    patterns = []
    for width in (2.5, 6.0, 9.0):
        least = readable([("I", bar(width, 40.0))], 40.0, STONES)
        patterns.append(least.pattern(40.0, STONES))
        assert least.stem * 40 == pytest.approx(width, rel=1e-4)
    assert patterns == ["spine", "edge", "courses"]


def test_least_height_grows_with_the_stone_and_the_letter():
    def least(words, stones, face="plain"):
        lettering = set_text(Text(words, face=face), stones=stones)
        return readable(
            ((one.text, one.drawing) for one in lettering.letters), lettering.capital, stones
        )

    seven = 6 * 2.65 + 2.0
    assert least("I", STONES).height == pytest.approx(seven)
    assert least("e", STONES).height > seven
    assert least("o", STONES, "script").height > least("o", STONES).height
    twice = least("e", Setting(4.0, 5.3)).height
    assert twice == pytest.approx(2 * least("e", STONES).height, rel=1e-3)
    assert least("e", STONES).letter == "e"


def test_the_command_writes_artwork_and_says_what_it_found(tmp_path):
    out = tmp_path / "ada.svg"
    result = invoke("letters", "Ada\\nBo", "--stone", "ss6", "--height", "12mm", "-o", str(out))
    assert result.exception is None
    assert "warning: 12 mm is less" in result.stderr
    assert "--stone ss6 --pattern edge" in result.stderr
    assert len(ET.fromstring(out.read_text()).findall(".//{*}path")) == 5  # noqa: S314 - our own file
    first = out.read_bytes()
    invoke("letters", "Ada\\nBo", "--stone", "ss6", "--height", "12mm", "-o", str(out))
    assert out.read_bytes() == first
    figures = json.loads(invoke("letters", "Ada", "--format", "json", "-o", str(out)).stdout)
    assert figures["letters"] == 3
    assert figures["capital"] == 30.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["a日"], "CJK UNIFIED IDEOGRAPH-65E5"),
        (["a", "--face", "no such face"], "there is no face"),
        (["a", "--height", "0mm"], "more than zero"),
        (["a", "--arc", "0mm"], "must not be zero"),
        (["a", "--stone", "ss999"], "ss999"),
        (["a", "--format", "json"], "needs -o"),
        (["", "--height", "9mm"], "draw nothing"),
    ],
)
def test_bad_input_is_named(arguments, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = invoke("letters", *arguments)
    assert result.exception is not None
    message = getattr(result.exception, "message", str(result.exception))
    assert words in message
    assert list(tmp_path.iterdir()) == []
