import re
import shutil
import subprocess

import numpy as np
import pytest

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer
from stonelayout.model.layout import Kind
from stonelayout.template.registration import registration
from stonelayout.writers.layer_pdf import layer_pdf

SHEET = load_catalogue().sheet("thin-flock")
ONE = Layer(1, Kind("ss6", "crystal", 2.0), np.array([[1.0, 2.0]]), 2.5)
#: PDF user space: 1/72 in, so 1 mm = 2.834645669 units (ISO 32000-1).
PER_MM = 2.834645669

CONTENT = """\
2.834645669 0 0 -2.834645669 0 90.7087 cm
0.05 w 1 J
/OC /Marks BDC
0 0 0 RG
5.75 5.75 m 5.75 26.25 l 17.75 26.25 l S
7.75 11.75 m 7.75 5.75 l 11.35 5.75 l S
7.75 8.45 m 10.45 8.45 l S
31.75 8.75 m 37.75 8.75 l S
34.75 5.75 m 34.75 11.75 l S
31.75 21.25 m 37.75 21.25 l S
34.75 18.25 m 34.75 24.25 l S
7.75 21.25 m 13.75 21.25 l S
10.75 18.25 m 10.75 24.25 l S
0 0 0 RG
EMC
/OC /Holes BDC
10.25 15 m 10.25 15.6904 9.6904 16.25 9 16.25 c 8.3096 16.25 7.75 15.6904 7.75 15 c \
7.75 14.3096 8.3096 13.75 9 13.75 c 9.6904 13.75 10.25 14.3096 10.25 15 c s
EMC
"""


def test_exact_content_of_a_small_layer():
    found = layer_pdf(ONE, registration([ONE], SHEET))
    content = re.search(rb"stream\n(.*?)endstream", found, re.S).group(1).decode()
    assert content == CONTENT
    assert b"/MediaBox [0 0 121.8898 90.7087]" in found
    assert b"Date" not in found


@pytest.fixture
def many():
    rng = np.random.default_rng(6)
    layer = Layer(1, Kind("ss6", "jet", 2.0), rng.uniform(0, 120, (150, 2)), 2.5)
    return layer, registration([layer], SHEET, outline=True)


def test_pdfium_finds_the_page_size_and_every_path(many):
    pdfium = pytest.importorskip("pypdfium2")
    layer, frame = many
    page = pdfium.PdfDocument(layer_pdf(layer, frame))[0]
    assert page.get_size() == pytest.approx([side * PER_MM for side in frame.page.size], abs=1e-3)
    boxes = [item.get_bounds() for item in page.get_objects()]
    lines = sum(len(mark.lines) for mark in frame.marks)
    assert len(boxes) == 150 + lines + 1
    circles = np.array(boxes[lines:-1]) / PER_MM
    centres = np.column_stack((circles[:, [0, 2]].mean(axis=1), circles[:, [1, 3]].mean(axis=1)))
    meant = frame.page.place(layer.centres) * (1, -1) + (0, frame.page.size[1])
    assert np.abs(centres - meant).max() < 0.001
    wide = circles[:, 2] - circles[:, 0]
    assert wide == pytest.approx(2.5 + 2 * 0.05, abs=1e-4)  # pdfium adds a stroke's width a side


def test_poppler_reads_the_page_at_true_size(many, tmp_path):
    program = shutil.which("pdfinfo")
    if program is None:
        pytest.skip("poppler-utils is not installed")
    (tmp_path / "a.pdf").write_bytes(layer_pdf(*many))
    run = subprocess.run(
        [program, tmp_path / "a.pdf"], capture_output=True, text=True, check=True, timeout=60
    )
    assert run.stderr == ""
    width, height = re.search(r"Page size:\s+([\d.]+) x ([\d.]+) pts", run.stdout).groups()
    page = many[1].page
    assert float(width) == pytest.approx(page.width * PER_MM, abs=0.01)
    assert float(height) == pytest.approx(page.height * PER_MM, abs=0.01)
