"""The job sheet: the same numbers as the layers, the words that keep people whole, the page."""

import json
import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
from click.testing import CliRunner

from stonelayout.cli import group
from stonelayout.documents.job_sheet import MOST_DRAWN, JobSheet, jobsheet_data, jobsheet_html
from stonelayout.findings import Finding
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layout import Kind, Layout
from stonelayout.model.order import design_of
from stonelayout.template.registration import registration
from stonelayout.template.separation import separate
from stonelayout.template.tiles import Tile

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
THIN = Finding("web-too-thin", "error", "web 0.21 mm < 0.40 mm", at=(3.0, 3.0), layer="02-ss10-red")


def choir(stones=10, kinds=(("ss10", "red", 2.8), ("ss6", "crystal", 2.0))):
    """An invented school choir's emblem: rows of stones, the larger size first in the job."""
    rows = [
        np.column_stack((np.arange(stones) * 4.0 + 3, np.full(stones, 6.0 * k + 3)))
        for k in range(len(kinds))
    ]
    return Layout(
        size=(4.0 * stones + 6, 6.0 * len(kinds) + 6),
        kinds=tuple(Kind(*kind) for kind in kinds),
        centres=np.vstack(rows),
        kind=np.repeat(np.arange(len(kinds)), stones),
        source=("row",) * stones * len(kinds),
    )


def bench(layout=None, findings=(), **more):
    layout = layout or choir()
    layers = separate(layout, SHEET)
    marks = registration(layers, SHEET)
    design = design_of("Choir <&> friends", layout, layers, marks.page.size, 12, 150.0)
    return JobSheet(design, layout, layers, (Tile(1, 1, layers, marks),), SHEET, findings, **more)


def test_templates_stand_in_lifting_order_with_their_own_numbers():
    """Smallest size first (common practice, no source); 12 x 10 = 120 stones, 3 % = 3.6, so 4."""
    one = bench()
    found = jobsheet_data(one)["templates"]
    assert [(t["order"], t["size"], t["count"], t["spare"], t["take_out"]) for t in found] == [
        (1, "ss6", 10, 4, 124),
        (2, "ss10", 10, 4, 124),
    ]
    for entry, layer in zip(found, one.layers, strict=True):
        assert entry["hole"] == layer.hole
        assert entry["file"] == f"{layer.name}.svg"
        assert entry["least_web"] == pytest.approx(4.0 - layer.hole)  # pitch = hole + web
    text = unescape(jobsheet_html(one, CATALOGUE.colours))
    assert text.index("01-ss6-crystal.svg") < text.index("02-ss10-red.svg")


def test_settings_come_from_the_sheet_with_a_test_cut():
    data = jobsheet_data(bench())
    assert data["sheet"]["force_g"] == [70.0, 90.0]
    assert data["sheet"]["cut_minutes"] == 2.5
    cut = " ".join(data["steps"]["Cut"])
    assert "force 70 to 90 g, speed 60, 2 passes or 1 pass with 0.5 mm overcut" in cut
    assert "test cut" in cut


def test_the_cautions_are_there_and_defer():
    """16 CFR 1501 (small parts), 15 U.S.C. 1278a (lead, 12 and under), the gas of cut PVC."""
    text = jobsheet_html(bench(), CATALOGUE.colours)
    for words in (
        "small parts",
        "12 or",
        "lead",
        "laser",
        "burn",
        "Knife",
        "Check your local rules",
    ):
        assert words in text
    assert "go before anything on this sheet" in text
    assert "as a hint only: 160 to 171 degrees C" in text


def test_no_press_for_transfers_only_and_no_next_for_one_template():
    one = bench(choir(kinds=(("ss6", "crystal", 2.0),)), pressed=False)
    assert list(jobsheet_data(one)["steps"]) == [
        "Cut",
        "Weed",
        "Brush",
        "Lift",
        "Look for stones that are",
        "Take care",
    ]


def test_errors_stop_the_knife():
    calm, stop = (jobsheet_html(bench(findings=f), CATALOGUE.colours) for f in ((), (THIN,)))
    assert "Do not cut yet" in stop
    assert "web 0.21 mm &lt; 0.40 mm" in stop
    assert "Do not cut yet" not in calm
    assert "Do not cut yet: 1 error<" in stop
    assert "02-ss10-red at 3.0, 3.0 mm: web" in stop


def test_like_errors_are_told_once_with_their_places_and_their_number():
    """100 named and 15 that the last one counts are 115, as `stonelayout check` says."""
    more = [replace(THIN, at=(float(k), 3.0)) for k in range(4, 103)]
    rest = replace(THIN, at=None, message="15 more places like the 100 named", count=15)
    clear = Finding("stones-hard-to-see", "note", "red is hard to see", layer="02-ss10-red")
    text = unescape(jobsheet_html(bench(findings=(THIN, *more, rest, clear)), CATALOGUE.colours))
    assert "Do not cut yet: 115 errors<" in text
    assert text.count("web 0.21 mm") == 1
    assert "(and 114 more: 4.0, 3.0; 5.0, 3.0; 6.0, 3.0; 7.0, 3.0 ...)" in text
    assert "red is hard to see" in text


def test_the_page_escapes_and_loads_nothing():
    text = jobsheet_html(bench(), CATALOGUE.colours)
    assert "<title>Job sheet: Choir &lt;&amp;&gt; friends</title>" in text
    assert "://" not in text
    assert "<script" not in text
    assert jobsheet_html(bench(), CATALOGUE.colours) == text


def test_small_pictures_stay_small():
    text = jobsheet_html(bench(choir(stones=30_000)), CATALOGUE.colours)
    paths = re.findall(r'd="((?:M[^"h]*h0)+)"', text)
    assert len(paths) == 3
    assert max(path.count("M") for path in paths) <= MOST_DRAWN
    assert len(text) < 400_000


def test_it_prints_on_one_or_two_pages(browser, tmp_path):
    pdfium = pytest.importorskip("pypdfium2")
    kinds = [(size, colour, 2.0) for size in ("ss6", "ss7") for colour in ("red", "jet", "gold")]
    path, out = tmp_path / "jobsheet.html", tmp_path / "jobsheet.pdf"
    path.write_text(
        jobsheet_html(bench(choir(40, kinds), findings=(THIN,)), CATALOGUE.colours),
        encoding="utf-8",
    )
    browser.open(path)
    browser.pdf(out)
    document = pdfium.PdfDocument(out)
    assert 1 <= len(document) <= 2
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    assert "Do not cut yet" in words
    assert words.count("weeded") == 6
    document.close()
    assert browser.complaints == []


@pytest.fixture
def job(tmp_path):
    (tmp_path / "art.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<rect x="5" y="5" width="50" height="30" fill="#ff0000"/></svg>'
    )
    path = tmp_path / "choir.toml"
    path.write_text(
        '[artwork]\nfile = "art.svg"\n[order]\ncopies = 12\n[[lay]]\npick = { all = true }\n'
        'stone = "ss10"\ncolour = "red"\npattern = "lattice"\n'
    )
    return path


def run(*args):
    return CliRunner().invoke(group, [str(arg) for arg in args], standalone_mode=False)


def test_make_writes_all_papers_with_the_same_numbers(job):
    out = job.parent / "out"
    assert run("make", job, "--out", out).exception is None
    report = json.loads((out / "report.json").read_text())
    quote = json.loads((out / "quote.json").read_text())
    stones = report["stones"]
    assert quote["copies"] == 12
    assert quote["lines"][0]["how"].startswith(f"{12 * stones} + ")
    assert f",{12 * stones}," in (out / "stones.csv").read_text()
    assert f"{stones} stones in all" in (out / "proof.svg").read_text()
    assert f"; {stones} stones</span></p>" in (out / "proof.html").read_text()
    assert f"<dd>{stones}</dd>" in (out / "jobsheet.html").read_text()
    assert "INVENTED" in (out / "quote.txt").read_text()
    roll = json.loads((out / "roll.json").read_text())
    order = report["order"]
    assert order["roll_mm"] == roll["length_used"]
    assert (order["copies"], order["price_each"]) == (12, quote["price_each"])
    assert order["cut_minutes"] > 0
    assert sorted(path.name for path in out.iterdir()) == report["files"]


def test_make_clears_away_what_an_earlier_run_left_and_nothing_else(job):
    out = job.parent / "out"
    run("make", job, "--out", out)
    (out / "mine.txt").write_text("keep")
    job.write_text(job.read_text().replace('"ss10"', '"ss9"') + '[outputs]\nproof = ["svg"]\n')
    run("make", job, "--out", out)
    left = {path.name for path in out.iterdir()}
    assert left == {*json.loads((out / "report.json").read_text())["files"], "mine.txt"}
    assert not {"quote.txt", "proof.html", "01-ss10-red.svg"} & left


def test_the_summary_can_be_read_in_ten_seconds(job):
    lines = run("make", job, "--out", job.parent / "out").stdout.splitlines()
    assert [line[:5] for line in lines[4:]] == ["note:"] * 2  # red and backs on a black sheet
    assert lines[2].startswith("  12 transfers, about ")
    assert "INVENTED demo prices" in lines[2]
    assert lines[3].endswith("proof.html first")


def test_make_without_a_price_says_so_and_goes_on(job):
    text = job.read_text().replace('"ss10"', '"ss9"')
    job.write_text(text)
    out = job.parent / "out"
    run("make", job, "--out", out)
    report = json.loads((out / "report.json").read_text())
    codes = {finding["code"] for finding in report["findings"]}
    assert "no-quote" in codes
    assert not (out / "quote.txt").exists()
    assert (out / "stones.csv").exists()


def test_the_commands_for_one_paper(job):
    folder = job.parent
    result = run("jobsheet", job, "--copies", "3", "--format", "json", "-o", folder / "j.html")
    assert result.exception is None
    assert json.loads(result.stdout)["copies"] == 3
    assert "<dd>3</dd>" in (folder / "j.html").read_text()
    for name in ("p.html", "p.svg"):
        assert run("proof", job, "-o", folder / name, "--customer").exception is None
        assert not re.search(r"\d+ stones<", (folder / name).read_text().split("<main>")[-1])
    bad = run("proof", job, "-o", folder / "p.jpeg")
    assert "end the name in .html, .svg, .png" in str(bad.exception)


def test_a_png_proof(job):
    pytest.importorskip("resvg_py")
    image = pytest.importorskip("PIL.Image")
    assert run("proof", job, "-o", job.parent / "p.png").exception is None
    with image.open(job.parent / "p.png") as picture:
        assert picture.width == 1600
        colours = picture.convert("RGB").getcolors(1 << 20)
    assert max(colours)[1] in {(0x1B, 0x2A, 0x55), (255, 255, 255)}  # garment or paper
    assert len(colours) > 100
