"""The proof: SVG by exact numbers, the page in headless Chromium."""

import json
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stonelayout.documents.html_pages import json_for_script
from stonelayout.documents.proof import design_box, marked, proof_svg
from stonelayout.documents.proof_page import proof_html
from stonelayout.documents.stone_drawing import VARIANTS, shade, stone_facets, variant_of
from stonelayout.findings import Finding
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layout import Kind, Layout
from stonelayout.template.separation import separate

CATALOGUE = load_catalogue()
RGB = CATALOGUE.colours
SVG = "{http://www.w3.org/2000/svg}"
THIN = Finding("web-too-thin", "error", "web 0.21 mm < 0.40 mm & torn", at=(13.0, 10.0))
EDGE = Finding("off-page", "warning", "a stone hangs over", at=(40.0, 24.0))
NOTE = Finding("row-stones-removed", "note", "3 stones left out", at=(5.0, 5.0))


def buoys():
    """Two rows of an invented regatta's buoys: 12 ss6 red, 9 ss10 gold."""
    red = np.column_stack((np.arange(12) * 3.0 + 10, np.full(12, 10.0)))
    gold = np.column_stack((np.arange(9) * 4.0 + 10, np.full(9, 24.0)))
    return Layout(
        size=(60.0, 40.0),
        kinds=(Kind("ss6", "red", 2.0), Kind("ss10", "gold", 2.8), Kind("ss16", "jet", 3.9)),
        centres=np.vstack((red, gold)),
        kind=np.array([0] * 12 + [1] * 9),
        source=("a",) * 21,
    )


def page(**more):
    return proof_html(buoys(), RGB, findings=(THIN, EDGE, NOTE), title="Buoys <&>", **more)


def test_the_design_is_measured_over_the_rims_of_its_stones():
    assert design_box(buoys()) == pytest.approx((8.6, 9.0, 44.0, 25.4))
    empty = Layout((30.0, 20.0), (), np.zeros((0, 2)), np.zeros(0, dtype=int), ())
    assert design_box(empty) == (0.0, 0.0, 30.0, 20.0)


def test_every_stone_stands_in_the_svg_at_its_place_and_size():
    root = ET.fromstring(proof_svg(buoys(), RGB, title="Buoys <&>"))  # noqa: S314 (our own text)
    assert root.find(f"{SVG}title").text == "Buoys <&>"
    group = root.find(f".//{SVG}g[@id='stones-ss10-gold']")
    places = [(float(use.get("x")), float(use.get("y"))) for use in group]
    assert places == [(10.0 + 4 * k, 24.0) for k in range(9)]
    symbol = root.find(f".//{SVG}g[@id='{group[0].get('href')[1:]}']")
    corners = [
        float(number) for polygon in symbol for number in re.split("[ ,]", polygon.get("points"))
    ]
    assert max(corners) == pytest.approx(1.4)  # half of 2.8 mm: true size
    width, height = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    assert root.get("viewBox").split()[2:] == [f"{width:g}", f"{height:g}"]  # one unit a mm


def test_the_svg_shows_counts_measures_and_numbered_findings():
    text = proof_svg(buoys(), RGB, findings=(THIN, EDGE, NOTE))
    for words in (
        "35.4 mm (1.394 in)",  # 44.0 - 8.6 mm; 1 in = 25.4 mm
        "16.4 mm (0.646 in)",
        "12 stones",
        "9 stones",
        "21 stones in all",
        "error: web 0.21 mm &lt; 0.40 mm &amp; torn",
        "warning: a stone hangs over",
    ):
        assert words in text
    assert "left out" not in text  # notes go in the report
    assert "0 stones" not in text
    assert "error" not in proof_svg(buoys(), RGB)


def test_the_same_layout_gives_the_same_bytes():
    assert proof_svg(buoys(), RGB) == proof_svg(buoys(), RGB)
    assert page() == page()


def test_marks_are_numbered_and_limited():
    assert [label for label, _ in marked([NOTE, THIN, EDGE])] == ["1", "2"]
    assert len(marked([THIN] * 500)) == 60


@given(st.from_regex(r"#[0-9a-f]{6}", fullmatch=True), st.integers(0, VARIANTS - 1))
def test_a_gem_stays_within_its_stone(colour, variant):
    for corners, fill in stone_facets(colour, variant):
        assert re.fullmatch(r"#[0-9a-f]{6}", fill)
        assert max(np.hypot(x, y) for x, y in corners) <= 1.001
    assert shade(colour, 1.0) == colour or len(set(colour[1:])) > 0


def test_neighbours_catch_the_light_differently():
    spread = np.bincount([variant_of(i) for i in range(300)])
    assert len(spread) == VARIANTS
    assert spread.min() > 60


class Loads(HTMLParser):
    """Collects what a page would load."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found += [value for name, value in attrs if name in ("src", "href") and value]


def test_the_page_loads_nothing():
    reader = Loads()
    reader.feed(page())
    assert reader.found == ["data:,"]
    assert "://" not in page()


def test_words_of_the_user_cannot_become_markup():
    html = proof_html(buoys(), RGB, title="</title><script>alert(1)</script>")
    assert "<script>alert" not in html
    assert json_for_script({"a": "</script>\u2028"}) == '{"a":"\\u003c/script>\\u2028"}'


def test_places_survive_the_page_to_a_hundredth():
    data = json.loads(re.search(r'id="data">(.*?)</script>', page(), re.DOTALL).group(1))
    steps = np.array(data["kinds"][1]["places"]).reshape(-1, 2)
    assert np.allclose(steps.cumsum(axis=0) / 100, buoys().centres[12:])


def test_the_customers_page_holds_no_shop_figures():
    sheet = CATALOGUE.sheet("thin-flock")
    layers = separate(buoys(), sheet)
    ours, theirs = page(layers=layers), page(layers=layers, customer=True)
    data = json.loads(re.search(r'id="data">(.*?)</script>', theirs, re.DOTALL).group(1))
    for words in ("web 0.21", "hangs over", "hole 2.50 mm", '<span class="count shop">'):
        assert words in ours
        assert words not in theirs
    assert data["findings"] == []
    assert "ss10 gold" in theirs
    assert "35.4 mm (1.394 in)" in theirs


COPY = """() => {
  const stage = document.getElementById("stage");
  const copy = document.createElement("canvas");
  copy.width = stage.width;
  copy.height = stage.height;
  const pen = copy.getContext("2d", { willReadFrequently: true });
  pen.drawImage(stage, 0, 0);
  return pen.getImageData(0, 0, copy.width, copy.height);
}"""
COUNT = f"""(test) => {{
  const data = ({COPY})().data;
  let found = 0;
  for (let i = 0; i < data.length; i += 4) found += test(data[i], data[i + 1], data[i + 2]);
  return found;
}}"""
RED = "(r, g, b) => r > 120 && g < 90 && b < 90"
RING = "(r, g, b) => r === 224 && g === 17 && b === 95"


@pytest.fixture
def shown(browser, tmp_path):
    """The shop's page, open in a browser, on a white garment."""
    path = tmp_path / "proof.html"
    path.write_text(
        proof_html(buoys(), RGB, garment="#ffffff", findings=(THIN, EDGE), title="Buoys"),
        encoding="utf-8",
    )
    browser.open(path)
    yield browser
    assert browser.complaints == []


def count(shown, test):
    return shown.run(f"({COUNT})({test})")


def click(shown, name):
    shown.run(f"document.getElementById({name!r}).click()")


def words(shown, name):
    return shown.run(f"document.getElementById({name!r}).textContent")


def test_a_layer_is_switched_off_and_on(shown):
    before = count(shown, RED)
    assert before > 300
    click(shown, "layer0")
    assert count(shown, RED) < before / 20
    assert words(shown, "status") == "1 of 2 kinds of stone shown."
    click(shown, "layer0")
    assert count(shown, RED) == before


def test_zoom_by_buttons_and_keys(shown):
    whole = int(words(shown, "zoom").split()[0])
    click(shown, "in")
    assert int(words(shown, "zoom").split()[0]) == pytest.approx(whole * 1.4, abs=1)
    click(shown, "real")
    assert words(shown, "zoom") == "100 %"
    shown.run("document.getElementById('stage').focus()")
    shown.key("+", "+")
    assert words(shown, "zoom") == "140 %"
    before = count(shown, RED)
    for _ in range(12):
        shown.key("ArrowRight")
    assert count(shown, RED) < before  # moved out of sight
    shown.key("0", "0")
    assert words(shown, "zoom") == f"{whole} %"


def test_true_size_is_true(shown):
    """CSS Values and Units: 96 px an inch. The rows stand 14 mm apart: 52.9 px at true size."""
    click(shown, "real")
    rows = shown.run(
        f"""(() => {{
          const c = ({COPY})();
          const middle = Math.round(c.width / 2);
          const hit = [];
          for (let y = 0; y < c.height; y++) {{
            let coloured = 0;
            for (let x = middle - 30; x < middle + 30; x++) {{
              const [r, g, b] = c.data.subarray(4 * (y * c.width + x));
              coloured += Math.max(r, g, b) - Math.min(r, g, b) > 60;
            }}
            if (coloured > 8) hit.push(y);
          }}
          return hit;
        }})()"""
    )
    middle = (min(rows) + max(rows)) / 2
    first = np.mean([y for y in rows if y < middle])
    second = np.mean([y for y in rows if y > middle])
    assert second - first == pytest.approx(14 * 96 / 25.4, abs=1.5)


def test_findings_are_ringed_and_found(shown):
    ringed = count(shown, RING)
    assert ringed > 200
    click(shown, "marks")
    assert count(shown, RING) == 0
    click(shown, "finding1")  # shows them again, with the first in the middle
    assert count(shown, RING) > 200
    assert words(shown, "status") == "Finding 1 is in the middle of the picture."


def test_shop_figures_are_hidden_at_the_counter(shown):
    click(shown, "customer")
    assert count(shown, RING) == 0
    visible = "[...document.querySelectorAll('.shop')].filter((e) => e.offsetParent).length"
    assert shown.run(visible) == 0
    click(shown, "customer")
    assert shown.run(visible) > 3


def test_the_garment_takes_another_colour(shown):
    shown.run(
        "(() => { const g = document.getElementById('garment'); g.value = '#00ff00';"
        " g.dispatchEvent(new Event('input')); })()"
    )
    assert count(shown, "(r, g, b) => r === 0 && g === 255 && b === 0") > 10000


def test_every_control_has_a_name_and_can_be_reached(shown):
    names = shown.run(
        """[...document.querySelectorAll("button, input")].map((e) =>
          (e.labels && e.labels[0] ? e.labels[0] : e).textContent.trim())"""
    )
    assert len(names) > 8
    assert all(names)
    tree = shown("Accessibility.getFullAXTree")["nodes"]
    picture = [n for n in tree if n.get("role", {}).get("value") in ("img", "image")]
    assert any("12 ss6 red, 9 ss10 gold" in n["name"]["value"] for n in picture)
    reached = []
    for _ in range(len(names) + 1):
        shown.key("Tab")
        reached.append(shown.run("document.activeElement.id"))
    assert {"stage", "in", "layer0", "customer", "garment", "finding2"} <= set(reached)


def test_dark_and_light(shown):
    paper = "getComputedStyle(document.body).backgroundColor"
    shown.dark(True)
    dark = shown.run(paper)
    shown.dark(False)
    assert (dark, shown.run(paper)) == ("rgb(23, 26, 32)", "rgb(255, 255, 255)")


def test_the_page_prints_with_the_whole_design(browser, tmp_path):
    pdfium = pytest.importorskip("pypdfium2")
    path, out = tmp_path / "proof.html", tmp_path / "proof.pdf"
    path.write_text(page(), encoding="utf-8")
    browser.open(path)
    browser.pdf(out)
    document = pdfium.PdfDocument(out)
    assert len(document) == 1
    printed = document[0].get_textpage().get_text_range()
    for expected in ("Buoys <&>", "ss10", "gold", "approved by", "web 0.21 mm"):
        assert expected in printed
    assert "Zoom in" not in printed
    picture = np.asarray(document[0].render(scale=2).to_pil().convert("RGB")).astype(int)
    garment = np.abs(picture - (0x1B, 0x2A, 0x55)).max(axis=2) < 8
    columns = np.nonzero(garment.any(axis=0))[0]
    # the picture is 35.4 + 2 x 16 mm wide at true size; two pixels a point, 1 in = 72 points
    width = (columns.max() - columns.min() + 1) / 2 / 72 * 25.4
    assert width == pytest.approx(67.4, abs=0.6)
    document.close()
    assert browser.complaints == []
