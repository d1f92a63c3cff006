"""Texts in job files: read strictly, set on the artwork, laid like any other shape."""

import numpy as np
import pytest

pytest.importorskip("HersheyFonts")

from stonelayout.errors import InputError, JobError
from stonelayout.laying.lay import lay
from stonelayout.lettering.job_artwork import stones_of, with_texts
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.job import parse_job
from stonelayout.svg import read_svg

RULE = '[[lay]]\npick = {{ layer = "{}" }}\nstone = "ss6"\ncolour = "jet"\npattern = "lattice"\n'
NAME = '[[text]]\nid = "name"\nwords = "Zoë"\nheight = "40 mm"\n'
CREST = b"""<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm"
 viewBox="0 0 200 100">
<rect id="name-1" x="10" y="80" width="180" height="10"/>
<path id="wave" d="M20 60 C60 20 140 20 180 60" fill="none" stroke="#ff0000"/></svg>"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def job(text, catalogue):
    return parse_job(text, "choir.toml", catalogue)


def problems(text, catalogue):
    with pytest.raises(JobError) as caught:
        job(text, catalogue)
    return caught.value.problems


def test_a_job_of_words_only(catalogue, tmp_path):
    one = job(NAME + RULE.format("name"), catalogue)
    art = with_texts(one, None, tmp_path)
    assert art.size_from == "the words"
    assert {shape.layer for shape in art.shapes} == {"name"}
    x0, y0, x1, y1 = (
        f([s.bounds[k] for s in art.shapes]) for k, f in enumerate([min] * 2 + [max] * 2)
    )
    assert 0 < x0 < x1 < art.size[0]
    assert 0 < y0 < y1 < art.size[1]
    layout = lay(art, one.rules, one.sheet)
    assert len(layout) > 20
    assert ((layout.centres > 0) & (layout.centres < art.size)).all()


def test_words_too_small_to_read_are_noted(catalogue, tmp_path):
    small = with_texts(
        job(NAME.replace("40 mm", "12 mm") + RULE.format("name"), catalogue), None, tmp_path
    )
    assert "capitals of 12 mm are less than 7 stones high" in small.notes[0]
    large = with_texts(job(NAME + RULE.format("name"), catalogue), None, tmp_path)
    assert large.notes == ()


LONG = (
    '[[text]]\nid = "name"\nwords = "Gwendolyn-Marie Oppenheimer-Castelbarco"\n'
    'height = "30 mm"\nwidth = "{}"\n'
)


def test_words_that_a_width_makes_unreadable_are_refused(catalogue, tmp_path):
    rule = RULE.format("name").replace("lattice", "edge")
    with pytest.raises(InputError) as told:
        with_texts(job(LONG.format("200 mm") + rule, catalogue), None, tmp_path)
    assert str(told.value) == (
        'text name: "Gwendolyn-Marie Oppenheimer-Castelbarco" does not fit 200 mm: in stones of '
        "2 mm its capitals must be 13.8 mm high to be read, and it needs at least 511 mm, 301 mm "
        "in two lines (\\n between them), or a smaller stone"
    )


@pytest.mark.parametrize("stone", ["ss6", "ss10"])
def test_stones_keep_to_the_width_given(catalogue, tmp_path, stone):
    rule = RULE.format("name").replace("lattice", "edge").replace("ss6", stone)
    one = job(LONG.format("780 mm") + rule, catalogue)
    layout = lay(with_texts(one, None, tmp_path), one.rules, one.sheet)
    x = layout.centres[:, 0]
    measure = x.max() - x.min() + one.rules[0].stones[0].diameter
    assert 780 - 1 < measure <= 780


def test_words_stand_on_the_artwork_and_share_no_id_with_it(catalogue, tmp_path):
    text = (
        '[artwork]\nfile = "c.svg"\n'
        + NAME
        + '[[text]]\nid = "along"\nwords = "on"\npath = "wave"\n'
    )
    text += RULE.format("name")
    crest = read_svg(CREST, name="c.svg")
    art = with_texts(job(text, catalogue), crest, tmp_path)
    ids = [shape.id for shape in art.shapes]
    assert len(set(ids)) == len(ids)
    assert ids[:2] == ["name-1", "wave"]
    boxes = np.array([shape.bounds for shape in art.shapes if shape.layer == "name"])
    middle = (boxes[:, :2].min(axis=0) + boxes[:, 2:].max(axis=0)) / 2
    assert middle == pytest.approx([100, 50], abs=1.1)  # half a stroke's width apart at most
    assert art.size == (200, 100)


def test_letters_are_spaced_for_the_stones_of_their_rule(catalogue):
    one = job(NAME + RULE.format("name"), catalogue)
    assert stones_of(one.texts[0], one.rules).diameter == one.rules[0].stones[0].diameter
    other = job(NAME + RULE.format("other"), catalogue)
    assert stones_of(other.texts[0], other.rules) is None


def test_every_problem_is_listed_with_its_line(catalogue):
    text = (
        '[[text]]\nwords = ""\nheight = "30"\nalign = "center"\narc = "0 mm"\n'
        '[[text]]\nid = "b"\nfont = "x"\nline_spacing = 0\nat = "5 mm"\n'
    )
    found = problems(text + RULE.format("b"), catalogue)
    for line, words in [
        (2, "is not text"),
        (3, 'write e.g. "30 mm"'),
        (4, "alignment"),
        (5, "needs a radius"),
        (8, 'unknown key "font"'),
        (9, "capital heights"),
        (10, "is not a place"),
        (6, "missing words"),
    ]:
        assert any(entry.startswith(f"choir.toml:{line}:") and words in entry for entry in found)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (NAME + NAME, "two texts have the id"),
        (NAME + 'arc = "9 mm"\npath = "w"\n', "one of arc and path"),
        (NAME + 'at = ["1 mm", "1 mm"]\npath = "w"\n', "stand where the path is"),
        ("text = 3\n", "[[text]]"),
        ("", "missing: [artwork]"),
        ("[artwork]\n" + NAME, "missing: [artwork]"),
    ],
)
def test_what_does_not_go_together(text, words, catalogue):
    assert any(words in entry for entry in problems(text + RULE.format("name"), catalogue))


def test_a_text_that_cannot_be_set_is_named(catalogue, tmp_path):
    with pytest.raises(InputError, match="text name: the face plain has no"):
        with_texts(job(NAME.replace("Zoë", "日") + RULE.format("name"), catalogue), None, tmp_path)
    with pytest.raises(InputError, match='no shape "w"'):
        with_texts(job(NAME + 'path = "w"\n' + RULE.format("name"), catalogue), None, tmp_path)
