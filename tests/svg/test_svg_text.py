"""Text read as outlines: as resvg and Chromium draw the same file, with the right font or none."""

import re
import subprocess
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from paths import DATA

pytest.importorskip("uharfbuzz", reason="lettering is an optional extra")
pytest.importorskip("fontTools", reason="lettering is an optional extra")

from browser import CHROMIUM, QUIET
from click.testing import CliRunner
from svg_texts import HEAD, read

from stonelayout.cli import group
from stonelayout.errors import ArtworkError, InputError, JobError, MissingExtraError
from stonelayout.lettering.font_files import installed_fonts
from stonelayout.lettering.font_matching import FontStyle, Typefaces, _nearest
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.job import parse_job
from stonelayout.svg import read_svg
from stonelayout.svg.font_properties import FontWish, families, shorthand, weight
from stonelayout.writers.artwork_svg import seen_svg

QUIRKS = sorted((DATA / "svg" / "text").glob("*.svg"))
#: What Chromium judges: resvg reads no shapes of CSS.
JUDGED = [*QUIRKS, *sorted((DATA / "svg" / "clips").glob("css-*.svg"))]
#: resvg 0.45 takes ``bolder`` from the parent's word, em of the text itself for spacing that it
#: inherits, no ``font`` shorthand with a quoted name, and sets no line from the right. Chromium
#: does as CSS says, and judges these.
NOT_BY_RESVG = {"bolder-in-bold", "font-shorthand", "letter-spacing-in-em", "right-to-left"}
#: Chromium rounds a font's ascent to whole pixels.
NOT_BY_CHROMIUM = {"baseline-central", "baseline-hanging"}
WIDE, HIGH = 800, 200
TEXT = '<text id="t" x="5" y="30" font-size="20" {}>Choir</text>'
OTHER = '<rect width="9" height="5"/>'


@lru_cache
def files():
    return {path.name: path for path in installed_fonts()}


def needs(*names):
    missing = [name for name in names if name not in files()]
    return pytest.mark.skipif(bool(missing), reason=f"needs the fonts {', '.join(missing)}")


SANS = needs("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSans-Oblique.ttf")
ALL = needs("DejaVuSans-Bold.ttf", "DejaVuSansCondensed.ttf", "LiberationSans-Regular.ttf",
            "LiberationSans-BoldItalic.ttf", "Amiri-Regular.ttf")  # fmt: skip


def ink_box(ink):
    rows, columns = (np.flatnonzero((ink > 128).any(axis=k)) for k in (1, 0))
    return columns[0], rows[0], columns[-1], rows[-1]


@ALL
@pytest.mark.parametrize("path", QUIRKS, ids=lambda path: path.stem)
def test_text_is_read_as_resvg_draws_it(path):
    """Ink within 0.5 % and in the same box; no pixel that a neighbour does not explain."""
    pytest.importorskip("resvg_py", reason="the reference renderer is optional")
    from judge import differing, render

    art = read_svg(path, fonts=Typefaces())
    assert art.skipped == ()
    if path.stem in NOT_BY_RESVG:
        return
    size = 2 * WIDE, 2 * HIGH
    theirs = render(path.read_text(encoding="utf-8"), size, stretch=True)[..., 3]
    ours = render(seen_svg(art), size, stretch=True)[..., 3]
    assert ours.sum() == pytest.approx(theirs.sum(), rel=0.005)
    assert ink_box(ours) == pytest.approx(ink_box(theirs), abs=1)
    assert differing(ours, theirs) == 0


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """Pairs of pictures by Chromium: the file, and what was read of it, as ink from 0 to 255."""
    if CHROMIUM is None:
        pytest.skip("needs chromium")
    from PIL import Image

    folder = tmp_path_factory.mktemp("chromium")
    parts = []
    for k, path in enumerate(JUDGED):
        text = path.read_text(encoding="utf-8")
        for name in re.findall(r' (?:id|class)="(\w+)"', text):  # one page, so names of its own
            text = re.sub(rf'(?<=["#.]){name}(?=["){{])', f"{name}{k}", text)
        seen = seen_svg(read_svg(path, fonts=Typefaces()))
        for svg in (text, seen[seen.index("<svg") :]):
            size = f' width="{WIDE}" height="{HIGH}" style="display:block"'
            parts.append(re.sub(r' width="[^"]*" height="[^"]*"', size, svg, count=1))
    page, shot = folder / "page.html", folder / "shot.png"
    page.write_text(
        "<!doctype html><meta charset=utf-8><style>body{margin:0}"
        f"text{{text-rendering:geometricPrecision}}</style>{''.join(parts)}",
        encoding="utf-8",
    )
    command = [CHROMIUM, *QUIET, f"--user-data-dir={folder / 'profile'}", f"--screenshot={shot}",
               f"--window-size={WIDE},{HIGH * len(parts)}", page.as_uri()]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    ink = 255.0 - np.asarray(Image.open(shot).convert("L"), dtype=float)
    pictures = [ink[k * HIGH : (k + 1) * HIGH] for k in range(len(parts))]
    return {path.stem: pictures[2 * k : 2 * k + 2] for k, path in enumerate(JUDGED)}


@ALL
@pytest.mark.parametrize("name", [path.stem for path in JUDGED])
def test_a_file_is_read_as_chromium_draws_it(shots, name):
    from judge import differing

    theirs, ours = shots[name]
    assert theirs.sum() > 255 * 300
    assert name in NOT_BY_CHROMIUM or differing(ours, theirs) == 0


@SANS
def test_the_font_is_named_and_the_text_keeps_its_name_and_paint():
    body = TEXT.format('font-family="DejaVu Sans" fill="red"')
    art = read(f'<g id="words">{body}</g>', fonts=Typefaces())
    (shape,) = art.shapes
    assert (shape.id, shape.layer, shape.fill, shape.tag, shape.line) == (
        "t", "words", "#ff0000", "text", 1,
    )  # fmt: skip
    assert len(shape.area.geoms) == 6  # five letters and the dot of the i
    assert art.notes == (
        "text was read as outlines of the font DejaVu Sans Book (DejaVuSans.ttf)",
    ) or art.notes[0].endswith("(DejaVuSans.ttf)")


@SANS
def test_spans_of_two_colours_are_two_shapes():
    body = TEXT.replace("Choir", 'Ch<tspan fill="blue">oi</tspan>r').format(
        'font-family="DejaVu Sans"'
    )
    first, second = read(body, fonts=Typefaces()).shapes
    assert (first.id, first.fill, second.id, second.fill) == ("t", "#000000", "t-2", "#0000ff")
    whole = read(TEXT.format('font-family="DejaVu Sans"'), fonts=Typefaces()).shapes[0]
    assert first.area.area + second.area.area == pytest.approx(whole.area.area, rel=1e-6)


@SANS
@pytest.mark.parametrize(
    ("style", "body", "reason"),
    [
        ('font-family="No Such Face"', "x", 'font "No Such Face" is not installed'),
        ('font-family="No Such Face, serif"', "x", "--text-font"),
        ('font-family="No Such Face" font-weight="bold"', "x", '"No Such Face" bold is not'),
        ('font-family="sans-serif"', "x", "its font is not named"),
        ("", "x", "its font is not named"),
        ('font-family="DejaVu Sans"', "我", "has no"),
        ('font-family="DejaVu Sans"', '<textPath href="#p">x</textPath>', "on a path"),
        ('font-family="DejaVu Sans" writing-mode="tb"', "x", "vertical"),
        ('font-family="DejaVu Sans" font-variant="small-caps"', "x", "small-caps"),
        ('font-family="DejaVu Sans"', '<tspan baseline-shift="super">x</tspan>', "off its line"),
        ('font-family="DejaVu Sans"', '<tspan textLength="9">x</tspan>', "textLength"),
        ('font-family="DejaVu Sans"', "אבג abc", "both directions"),
        ('font-family="DejaVu Sans" visibility="hidden"', "x", "hidden"),
        ('font-family="DejaVu Sans" fill="none"', "x", "neither fill nor stroke"),
    ],
)
def test_text_that_cannot_be_set_is_named_with_what_to_do(style, body, reason):
    art = read(OTHER + TEXT.replace("Choir", body).format(style), fonts=Typefaces())
    assert [shape.id for shape in art.shapes] == ["rect-1"]
    (entry,) = art.skipped
    assert (entry.what, entry.count) == ("text", 1)
    assert reason in entry.reason
    shown = "hidden" in reason or "neither" in reason
    assert shown or "convert text to outlines" in entry.reason


def test_without_fonts_text_is_skipped_as_before():
    (entry,) = read(OTHER + TEXT.format("")).skipped
    assert "convert text to outlines" in entry.reason


def test_empty_text_is_nothing():
    art = read(OTHER + '<text x="5"> </text><text><tspan/></text>', fonts=Typefaces())
    assert art.skipped == ()


@SANS
def test_a_font_is_found_by_its_full_name_as_some_programs_write_it():
    art = read(TEXT.format("font-family=\"'DejaVuSans-Bold'\""), fonts=Typefaces())
    assert art.notes[0].endswith("(DejaVuSans-Bold.ttf)")


@SANS
def test_a_given_font_sets_only_text_whose_own_is_missing():
    body = TEXT.format('font-family="No Such Face, Lato"')
    body += TEXT.format('font-family="DejaVu Sans" font-style="italic"')
    art = read(body, fonts=Typefaces(str(files()["DejaVuSans-Bold.ttf"])))
    assert len(art.shapes) == 2
    assert '"No Such Face"' in art.notes[0]
    assert "(DejaVuSans-Bold.ttf), the font given" in art.notes[0]
    assert art.notes[1].endswith("(DejaVuSans-Oblique.ttf)")
    bold = read(TEXT.format('font-family="Nope" font-weight="700"'), fonts=Typefaces("DejaVu Sans"))
    assert "(DejaVuSans-Bold.ttf)" in bold.notes[0]  # a family gives the style asked for


def test_a_given_font_that_is_none_is_refused(tmp_path):
    (tmp_path / "face.ttf").write_bytes(b"no font at all")
    with pytest.raises(InputError, match="not a font file"):
        Typefaces("face.ttf", tmp_path)
    with pytest.raises(InputError, match="no such font file"):
        Typefaces("gone.ttf", tmp_path)


def test_without_the_extra_the_text_is_skipped_with_how_to_get_it(monkeypatch):
    def broken(*_):
        raise MissingExtraError("no extra")

    monkeypatch.setattr(Typefaces, "_found", broken)
    (entry,) = read(OTHER + TEXT.format('font-family="DejaVu Sans"'), fonts=Typefaces()).skipped
    assert 'pip install "stonelayout[letters]"' in entry.reason


@SANS
def test_too_much_text_is_refused(monkeypatch):
    monkeypatch.setattr("stonelayout.svg.text_characters.MOST_CHARACTERS", 100)
    body = '<text id="t" font-family="DejaVu Sans">abcdefghij</text>'
    uses = '<use href="#t"/>' * 10
    assert len(read(body + uses[:-16], fonts=Typefaces()).shapes) == 10
    with pytest.raises(ArtworkError, match="over 100 characters of text; refused"):
        read(body + uses, fonts=Typefaces())


def style(weight, italic=False, width=5):
    return FontStyle(Path("x"), 0, f"{weight}", frozenset(), frozenset(), weight, italic, width)


@pytest.mark.parametrize(
    ("has", "wanted", "found"),
    [
        ((300, 400, 500, 700), 400, 400),
        ((300, 500, 700), 400, 500),
        ((300, 600), 400, 300),
        ((400, 600), 500, 400),
        ((200, 300, 700), 350, 300),
        ((500, 700), 300, 500),
        ((600, 800, 900), 700, 800),
        ((300, 600), 700, 600),
        ((400, 500), 700, None),
        ((700,), 400, 700),
    ],
)
def test_weights_are_matched_as_css_fonts_4_says(has, wanted, found):
    """CSS Fonts Module Level 4, section 5.2, step 4.3; None: a viewer would thicken it."""
    best = _nearest([style(weight) for weight in has], FontWish(("x",), wanted))
    assert (best.weight if best else None) == found


def test_slant_and_width_are_not_made_up():
    assert _nearest([style(400)], FontWish(("x",), italic=True)) is None
    narrow = _nearest([style(400), style(400, width=3)], FontWish(("x",), width=4))
    assert narrow.width == 3


def test_words_of_css_about_fonts():
    assert families("'A B' , \"C,D\", e  f,") == ("A B", "C,D", "e f")
    assert [weight("bolder", w) for w in ("100", "400", "600")] == ["400", "700", "900"]
    assert [weight("lighter", w) for w in ("400", "700", "800")] == ["100", "400", "700"]
    assert weight("junk", "300") == "300"
    found = dict(shorthand('italic small-caps 650 condensed 1.5em/2 "A B", serif'))
    assert found == {
        "font-style": "italic", "font-variant": "small-caps", "font-weight": "650",
        "font-stretch": "condensed", "font-size": "1.5em", "font-family": '"A B", serif',
    }  # fmt: skip
    assert shorthand("caption") == []


@SANS
def test_inspect_tells_the_font_and_takes_one(tmp_path):
    drawing = tmp_path / "words.svg"
    drawing.write_text(HEAD + TEXT.format('font-family="No Such Face"') + OTHER + "</svg>")
    run = CliRunner().invoke(group, ["inspect", str(drawing)])
    assert run.exit_code == 0
    assert '<text> "t" (line 1): its font "No Such Face" is not installed' in run.output
    run = CliRunner().invoke(group, ["inspect", str(drawing), "--text-font", "DejaVu Sans"])
    assert "(DejaVuSans.ttf), the font given" in run.output
    run = CliRunner().invoke(group, ["inspect", str(drawing), "--text-font", "No Such"])
    assert isinstance(run.exception, InputError)  # exit code 2, in the main program
    assert '"No Such", is not installed' in str(run.exception)


def test_a_job_names_the_font_for_its_text():
    rest = '[[lay]]\npick = { all = true }\nstone = "SS10"\ncolour = "crystal"\n'
    head = '[artwork]\nfile = "a.svg"\ntext_font = '
    job = parse_job(f'{head}"face.ttf"\n{rest}', "j.toml", load_catalogue())
    assert job.text_font == "face.ttf"
    with pytest.raises(JobError, match=r"j\.toml:3: artwork\.text_font"):
        parse_job(f"{head}7\n{rest}", "j.toml", load_catalogue())
