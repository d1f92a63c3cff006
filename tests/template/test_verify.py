import numpy as np
import pytest

from stonelayout.errors import VerificationError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layout import Kind, Layout
from stonelayout.template.registration import registration
from stonelayout.template.separation import separate
from stonelayout.template.verify import verify_layers
from stonelayout.writers.layer_svg import layer_svg


@pytest.fixture
def written():
    sheet = load_catalogue().sheet("thin-flock")
    rng = np.random.default_rng(7)
    kinds = (Kind("ss6", "crystal", 2.0), Kind("ss10", "navy", 2.8))
    layout = Layout(
        (100.0, 80.0), kinds, rng.uniform(0, 80, (50, 2)), np.arange(50) % 2, ("a",) * 50
    )
    layers = separate(layout, sheet)
    marks = registration(layers, sheet)
    files = {f"{layer.name}.svg": layer_svg(layer, marks).encode() for layer in layers}
    return files, layers, marks.page


def test_what_was_meant_passes(written):
    verify_layers(*written)


def test_a_lost_hole_is_found(written):
    files, layers, page = written
    name = f"{layers[0].name}.svg"
    start = files[name].index(b"<circle")
    end = files[name].index(b"/>", start) + 2
    files[name] = files[name][:start] + files[name][end:]
    with pytest.raises(VerificationError, match="24 holes were written, 25 were meant"):
        verify_layers(files, layers, page)


@pytest.mark.parametrize("key", [b'cx="', b'cy="', b' r="'])
def test_a_moved_or_resized_hole_is_found(written, key):
    files, layers, page = written
    name = f"{layers[1].name}.svg"
    start = files[name].index(key, files[name].index(b'id="holes"')) + len(key)
    files[name] = files[name][:start] + b"1" + files[name][start:]
    with pytest.raises(VerificationError, match="mm off its place"):
        verify_layers(files, layers, page)


def test_marks_that_differ_are_found(written):
    files, layers, page = written
    name = f"{layers[1].name}.svg"
    head, tail = files[name].split(b'<g id="registration"')
    files[name] = head + b'<g id="registration"' + tail.replace(b"</g>", b" </g>", 1)
    with pytest.raises(VerificationError, match="registration marks differ"):
        verify_layers(files, layers, page)


def test_two_holes_in_one_place_read_back():
    sheet = load_catalogue().sheet("thin-flock")
    kind = Kind("ss6", "crystal", 2.0)
    centres = np.array([[10.0, 10.0], [10.0, 10.0], [30.0, 20.0]])
    layout = Layout((50.0, 50.0), (kind,), centres, np.zeros(3, dtype=np.intp), ("a",) * 3)
    layers = separate(layout, sheet)
    marks = registration(layers, sheet)
    files = {f"{layer.name}.svg": layer_svg(layer, marks).encode() for layer in layers}
    verify_layers(files, layers, marks.page)
