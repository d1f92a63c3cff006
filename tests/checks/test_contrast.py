import numpy as np
import pytest

from stonelayout.checks.contrast import BACK, check_contrast, contrast, luminance
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind

CATALOGUE = load_catalogue()


def layer(colour):
    return Layer(1, Kind("ss6", colour, 2.0), np.array([[0.0, 0.0]]), 2.5)


@pytest.mark.parametrize(
    ("first", "second", "ratio"),
    [
        # WCAG 2.1: 21 is the ratio of black and white, 1 of a colour and itself; #767676 is the
        # lightest grey with 4.5 on white, #949494 the lightest with 3 (well-known check values).
        ("#000000", "#ffffff", 21.0),
        ("#ffffff", "#000000", 21.0),
        ("#c9202b", "#c9202b", 1.0),
        ("#767676", "#ffffff", 4.54),
        ("#949494", "#ffffff", 3.03),
    ],
)
def test_contrast_of_known_pairs(first, second, ratio):
    assert contrast(first, second) == pytest.approx(ratio, abs=0.005)


def test_luminance_weights_add_to_one():
    parts = [luminance(rgb) for rgb in ("#ff0000", "#00ff00", "#0000ff")]
    assert parts == pytest.approx([0.2126, 0.7152, 0.0722])


def test_dark_stones_and_backs_are_named_on_a_black_sheet_only():
    layers = [layer("jet"), layer("crystal"), layer("no such colour")]
    black = check_contrast(layers, CATALOGUE.sheet("thin-flock"), CATALOGUE)
    assert [(f.code, f.layer) for f in black] == [
        ("backs-hard-to-see", ""),
        ("stones-hard-to-see", "01-ss6-jet"),
        ("colour-not-known", "01-ss6-no_such_colour"),
    ]
    assert {f.severity for f in black} == {"note"}
    white = check_contrast(layers, CATALOGUE.sheet("card"), CATALOGUE)
    assert [f.layer for f in white] == ["01-ss6-crystal", "01-ss6-no_such_colour"]
    assert check_contrast([], CATALOGUE.sheet("thin-flock"), CATALOGUE) == ()


def test_backs_are_dark():
    assert contrast(BACK, "#ffffff") > 7
