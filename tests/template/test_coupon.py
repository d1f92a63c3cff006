import re
from dataclasses import replace

import numpy as np
import pytest
from click import UsageError
from click.testing import CliRunner

from stonelayout.checks.tearing import check_strength
from stonelayout.cli.coupon import command
from stonelayout.errors import InputError, JobError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layer import Layer, Page
from stonelayout.model.layout import Kind
from stonelayout.model.shop_rates import demo_shop
from stonelayout.template.coupon import Seen, coupon, instructions, profile
from stonelayout.template.holes import read_holes
from stonelayout.writers.coupon_svg import coupon_svg

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
STONES = [CATALOGUE.stone(name) for name in ("ss6", "ss10", "ss20")]


def test_ladders_hold_what_their_labels_say():
    found = coupon(SHEET, STONES)
    owner = np.array(found.rung)
    for index, rung in enumerate(found.rungs):
        holes = found.holes[owner == index]
        stone = CATALOGUE.stone(rung.stone)
        gaps = np.hypot(*(holes[:, None, :2] - holes[None, :, :2]).transpose(2, 0, 1))
        web = gaps[gaps > 0].min() - holes[0, 2]
        assert holes[:, 2] == pytest.approx(rung.hole)
        if rung.row == "a":
            assert len(holes) == 3
            assert holes[0, 2] - stone.diameter == pytest.approx(rung.value)
            assert web >= 1.0
        else:
            assert len(holes) == 8
            assert holes[0, 2] == pytest.approx(SHEET.hole(stone.diameter))
            assert web == pytest.approx(rung.value)
    a = [r.value for r in found.rungs if (r.stone, r.row) == ("ss10", "a")]
    assert a == pytest.approx([0.3, 0.4, 0.5, 0.6, 0.7, 0.8])
    # a web of 0.4 - 0.2 and above
    b = [r.value for r in found.rungs if (r.stone, r.row) == ("ss10", "b")]
    assert b == pytest.approx([0.2, 0.3, 0.4, 0.5, 0.6, 0.7])


def test_rungs_and_labels_are_clear_of_each_other_and_on_the_page():
    found = coupon(SHEET, STONES)
    owner = np.array(found.rung)
    xy, radius = found.holes[:, :2], found.holes[:, 2] / 2
    gaps = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) - radius[:, None] - radius[None]
    assert gaps[owner[:, None] != owner[None]].min() > 2.0
    ends = np.array([point for stroke in found.labels for point in stroke])
    far = np.hypot(*(ends[:, None] - xy[None]).transpose(2, 0, 1)) - radius[None]
    assert far.min() > 1.0
    size = np.array(found.size)
    assert ((xy - radius[:, None]).min(axis=0) >= 5).all()
    assert ((size - xy - radius[:, None]).min(axis=0) >= 5).all()
    assert (ends >= 5).all()
    assert (ends <= size - 5).all()


def test_svg_reads_back_as_its_holes():
    found = coupon(SHEET, STONES[:1])
    text = coupon_svg(found)
    holes = read_holes(text)
    assert np.abs(holes.centres - found.holes[:, :2]).max() < 1e-6
    assert np.abs(holes.diameters - found.holes[:, 2]).max() < 1e-6
    assert '<g id="ss6a-0.3" fill="none" stroke-width="0.05" stroke="#000000">' in text
    assert text.count("#0000ff") == 1
    assert coupon_svg(coupon(SHEET, STONES[:1])) == text


def test_no_rung_below_use_and_no_coupon_without_stones():
    from dataclasses import replace

    tight = coupon(replace(SHEET, clearance=0.15, least_web=0.2), STONES[:1])
    assert min(rung.value for rung in tight.rungs) == pytest.approx(0.1)
    with pytest.raises(InputError):
        coupon(SHEET, [])


def test_page_names_rows_and_cautions():
    page = instructions(coupon(SHEET, STONES), SHEET)
    for words in ("ss20b  webs of 0.2, 0.3", "--result", "Never laser-cut", "Retract the blade"):
        assert words in page
    assert max(len(line) for line in page.splitlines()) <= 100


@pytest.mark.parametrize(
    ("seen", "meant"),
    [
        (Seen(0.4, 0.4), (0.45, 0.45)),
        (Seen(0.4, 0.4, 0.7, 0.3), (0.45, 0.45)),
        (Seen(0.4, 0.3, 0.46), (0.43, 0.35)),  # half-way below what sat loose
    ],
)
def test_profile_adds_the_margins(seen, meant):
    assert profile(seen) == pytest.approx(meant)


@pytest.mark.parametrize(
    "seen", [Seen(0.4, 0.4, 0.3), Seen(0.4, 0.4, None, 0.4), Seen(0.0, 0.4), Seen(0.4, -0.1)]
)
def test_what_cannot_be_is_refused(seen):
    with pytest.raises(InputError):
        profile(seen)


def run(*args):
    result = CliRunner().invoke(command, args, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result


def test_command_writes_both_files(tmp_path):
    result = run("--sheet", "card", "--stone", "ss6, ss16", "--out", str(tmp_path))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["coupon-card.svg", "coupon-card.txt"]
    assert result.stdout == (tmp_path / "coupon-card.txt").read_text()


def test_result_becomes_a_sheet_of_the_users_catalogue(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    path.write_text('[stone.ss7h]\nmin = "2.2 mm"\nmax = "2.3 mm"\n')
    monkeypatch.setenv("STONELAYOUT_CATALOGUE", str(path))
    seen = ("--drops", "0.4mm", "--loose", "0.7mm", "--held", "0.45mm", "--tore", "0.3mm")
    run("--result", "--sheet", "standard-flock", "--name", "shop-flock", *seen)
    text = path.read_text()
    assert text.startswith("[stone.ss7h]")
    assert "# 0.4 mm dropped in, 0.7 mm sat loose; margin 0.05 mm" in text
    assert "# 0.45 mm held, 0.3 mm tore; margin 0.05 mm" in text
    sheet = load_catalogue(path).sheet("shop-flock")
    assert (sheet.clearance, sheet.least_web, sheet.thickness) == (0.45, 0.5, 0.508)
    assert sheet.measured
    assert sheet.like == ("standard-flock",)
    with pytest.raises(InputError) as told:
        run("--result", "--sheet", "thin-flock", "--name", "shop-flock", *seen)
    assert str(told.value) == (
        f'{path}: there is a sheet "shop-flock" already: choose another name, or --replace it'
    )
    assert path.read_text() == text


def test_a_sheet_is_measured_anew_on_purpose(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    monkeypatch.setenv("STONELAYOUT_CATALOGUE", str(path))
    path.write_text('[stone.ss7h]\nmin = "2.2 mm"\nmax = "2.3 mm"\n')
    name = ("--result", "--name", "shop-flock")
    run(*name, "--sheet", "standard-flock", "--drops", "0.4mm", "--held", "0.45mm")
    path.write_text(path.read_text() + 'colour = "white"\n\n[sheet.other]\nbase = "card"\n')
    for sheet in ((), ("--sheet", "shop-flock"), ("--sheet", "standard-flock")):
        run(*name, *sheet, "--drops", "0.5mm", "--held", "0.3mm", "--replace")
        text = path.read_text()
        assert text.count("dropped in") == text.count("held") == 1
        catalogue = load_catalogue(path)
        one = catalogue.sheet("shop-flock")
        assert (one.clearance, one.least_web, one.thickness) == (0.55, 0.35, 0.508)
        assert (one.like, one.measured, one.colour) == (("standard-flock",), True, "white")
        assert catalogue.sheet("other").like == ("card",)
        assert catalogue.stone("ss7h").min == 2.2
    with pytest.raises(InputError, match=r'"card" already: choose another name\Z'):
        run("--result", "--name", "card", "--drops", "1mm", "--held", "1mm", "--replace")


def test_a_sheet_measured_anew_stays_before_those_that_have_it_as_their_base(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    path.write_text("")
    monkeypatch.setenv("STONELAYOUT_CATALOGUE", str(path))
    seen = ("--drops", "0.4mm", "--held", "0.35mm")
    run("--result", "--sheet", "thin-flock", "--name", "mine", *seen)
    run("--result", "--sheet", "mine", "--name", "finer", "--drops", "0.4mm", "--held", "0.3mm")
    run("--result", "--name", "mine", "--drops", "0.5mm", "--held", "0.4mm", "--replace")
    catalogue = load_catalogue(path)
    assert (catalogue.sheet("mine").clearance, catalogue.sheet("finer").clearance) == (0.55, 0.45)
    assert path.read_text().count("[sheet.") == 2


def test_webs_that_a_coupon_proved_are_no_worry_and_the_sheet_has_its_price(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    monkeypatch.setenv("STONELAYOUT_CATALOGUE", str(path))
    path.write_text("")
    seen = ("--drops", "0.4mm", "--held", "0.3mm")
    run("--result", "--sheet", "standard-flock", "--name", "shop-flock", *seen)
    catalogue = load_catalogue(path)
    own, base = catalogue.sheet("shop-flock"), catalogue.sheet("standard-flock")
    pitch = own.hole(2.0) + own.least_web
    row = Layer(1, Kind("ss6", "jet", 2.0), np.array([(0.0, 0.0), (pitch, 0.0)]), own.hole(2.0))
    page = Page(40.0, 40.0, (20.0, 20.0))
    assert check_strength([row], own, page) == ()
    (finding,) = check_strength([row], replace(own, measured=False), page)
    assert finding.code == "web-under-thickness"
    shop = demo_shop(catalogue)
    assert shop.sheets["shop-flock"] == shop.sheets["standard-flock"]
    path.write_text(path.read_text() + '[sheet.further]\nbase = "shop-flock"\n')
    further = load_catalogue(path)
    assert further.sheet("further").like == ("shop-flock", "standard-flock")
    assert not further.sheet("further").measured
    assert "further" not in demo_shop(further).sheets
    assert base.like == ()


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--result",), "--name and --drops and --held"),
        (("--result", "--name", "A b", "--drops", "1mm", "--held", "1mm"), "cannot be a name"),
        (("--stone", "ss6,nine"), "unknown stone"),
        (("--stone", ","), "at least one"),
        (("--sheet", "no"), "unknown sheet"),
    ],
)
def test_bad_usage(args, words, tmp_path):
    with pytest.raises((InputError, UsageError), match=re.escape(words)):
        run(*args, "--out", str(tmp_path))
    assert list(tmp_path.iterdir()) == []


def test_a_catalogue_whose_sheets_are_no_tables_is_not_written_to(tmp_path):
    target = tmp_path / "own.toml"
    target.write_text("sheet = 3\n")
    given = ["--result", "--name", "my-flock", "--drops", "0.4mm", "--held", "0.4mm"]
    result = CliRunner().invoke(command, [*given, "--to", str(target)])
    assert isinstance(result.exception, JobError)
    assert f"{target}:1: sheet: write a table for each: [sheet.NAME]" in str(result.exception)
    assert target.read_text() == "sheet = 3\n"
