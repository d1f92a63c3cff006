import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stonelayout.errors import InputError
from stonelayout.units import MM_PER_UNIT, counted, inches, mm_and_inches, number, parse_length


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # CSS Values and Units, absolute lengths: 1 in = 2.54 cm = 96 px, 1 pt = 1/72 in,
        # 1 pc = 1/6 in, 1 Q = 1/40 cm.
        ("1in", 25.4),
        ("96px", 25.4),
        ("72 pt", 25.4),
        ("6pc", 25.4),
        ("40Q", 10.0),
        ("2.54 cm", 25.4),
        # Trade: a mil is a thousandth of an inch; sheets are 15 to 30 mil (0.38 to 0.76 mm).
        ("15 mil", 0.381),
        ("5 yd", 4572.0),
        (" 0.5mm ", 0.5),
        ("1e1 mm", 10.0),
        (".25 in", 6.35),
        ("9 inches", 228.6),
        ("1 inch", 25.4),
    ],
)
def test_lengths_carry_their_unit(text, expected):
    assert parse_length(text) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["", "big", "5", "5 parsec", "nan mm", "1e308 in", "1e9 mm", "--1mm"]
)
def test_what_is_not_a_length_is_refused_with_an_example(text):
    with pytest.raises(InputError, match=r"not a length|no unit|too large"):
        parse_length(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("8,66 in", '"8,66 in" is not a length: write a decimal point, "8.66 in"'),
        (
            "5 parsec",
            '"5 parsec" is not a length: the units are mm, cm, m, in, mil, yd, pt, pc, px',
        ),
    ],
)
def test_slips_in_a_length_are_told(text, words):
    with pytest.raises(InputError) as told:
        parse_length(text)
    assert str(told.value) == words


@given(st.floats(-1e4, 1e4), st.sampled_from(["mm", "cm", "in", "pt"]))
def test_reading_back_what_was_written(value, unit):
    assert parse_length(f"{value!r} {unit}") == pytest.approx(
        value * MM_PER_UNIT[unit], rel=1e-9, abs=1e-8
    )


@given(st.floats(-1e5, 1e5))
def test_numbers_are_short_and_never_minus_zero(value):
    text = number(value, 3)
    assert abs(float(text) - value) <= 0.0005 + 1e-9
    assert text != "-0"
    assert not ("." in text and text.endswith(("0", ".")))
    assert math.isfinite(float(text))


def test_both_units_for_people():
    assert mm_and_inches(240.0) == "240.0 mm (9.449 in)"
    assert inches(25.4) == "1.000 in"


@pytest.mark.parametrize(
    ("count", "thing", "words"),
    [(1, "template", "1 template"), (0, "row", "0 rows"), (3, "copy", "3 copies")],
)
def test_things_are_counted_in_words(count, thing, words):
    assert counted(count, thing) == words
