import csv
import io
import json
from dataclasses import replace
from decimal import Decimal

import pytest
from click.testing import CliRunner
from hypothesis import example, given
from hypothesis import strategies as st

from stonelayout.cli import group
from stonelayout.errors import InputError, JobError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.order import Design
from stonelayout.model.shop_rates import demo_shop, parse_shop
from stonelayout.shop.quote import price_list, quote
from stonelayout.shop.quote_text import quote_csv, quote_data, quote_text
from stonelayout.shop.work_time import hand_minutes, machine_minutes
from stonelayout.template.roll import Roll, TemplateSize, plan_roll

CATALOGUE = load_catalogue()
SHEET = CATALOGUE.sheet("thin-flock")
#: The price list of an invented workshop, in round figures that can be worked by hand.
SHOP = """\
[shop]
currency = "EUR"
labour = 30
margin = "50 %"
rounding = 0.50
waste = "20 %"

[hand]
setup_minutes = 10
cutting_attended = "50 %"
weeded_a_minute = 100
layer_minutes = 1
brushed_a_minute = 500
check_minutes = 1
press_minutes = 2

[machine]
setup_minutes = 10
stones_a_minute = 125

[tape]
roll = 30.00
width = "300 mm"
length = "100 m"

[sheet.thin-flock]
roll = 60.00
reuses = 40

[stone.ss6]
gross = 0.72
pack = 10
colour = { crystal = 0.60 }

[stone.ss10]
gross = 1.44

[[break]]
from = 10
off = "10 %"
"""


def shop(text=SHOP):
    return parse_shop(text, "shop.toml", CATALOGUE)


def regatta(copies=1):
    """An invented rowing club: 1000 ss6 crystal and 400 ss10 sapphire, cut in 10 minutes."""
    counts = {("ss6", "crystal"): 1000, ("ss10", "sapphire"): 400}
    return Design("regatta", counts, 2, (254.0, 180.0), copies, 600.0)


def amounts(found):
    return {line.what: line.amount for line in found.lines}


def test_a_quote_by_hand():
    """Twenty transfers, every line worked out with a pocket calculator.

    ss6: 20000 + 3 % = 20600 / 144 x 0.60 = 85.83. ss10: 8000 + 240 = 8240 / 144 x 1.44 = 82.40.
    Sheet: two pages of 254 x 180 mm in turn along a roll 304.8 mm wide: 2 x 180, 2 between, 6 at
    each end, 37.4 cm; + 20 % = 44.88, so 44.9, of 457.2 cm at 60.00: 5.89. Tape: 300 mm wide;
    18 cm a transfer, 360 cm of 10000 at 30: 1.08. Set-up 10 min at 30 an hour: 5.00. Cutting
    5 min: 2.50. Weeding 1400/100 = 14 min: 7.00. Brushing and lifting (2 + 1400/500) x 20 =
    96 min: 48.00. Checking and pressing 60 min: 30.00. Cost 267.70; / 20 / 0.5 x 0.9 = 24.093,
    so 24.50 each; 490.00; margin 222.30/490 = 45.4 %.
    """
    found = quote([regatta(20)], SHEET, shop(), spare=0.03)
    assert amounts(found) == {
        "ss6 crystal": Decimal("85.83"),
        "ss10 sapphire": Decimal("82.40"),
        "thin-flock": Decimal("5.89"),
        "lifting tape": Decimal("1.08"),
        "set-up": Decimal("5.00"),
        "cutting": Decimal("2.50"),
        "weeding": Decimal("7.00"),
        "brushing and lifting": Decimal("48.00"),
        "checking and pressing": Decimal("30.00"),
    }
    assert (found.cost, found.price, found.total) == (
        Decimal("267.70"),
        Decimal("24.50"),
        Decimal("490.00"),
    )
    assert found.margin.quantize(Decimal("0.001")) == Decimal("0.454")
    # by hand 10 + 5 + 14 + 96 + 60; by machine 10 + 20 x (1400/125 + 3)
    assert found.hand.total == Decimal("185.0")
    assert found.machine.total == Decimal("294.0")


def test_hand_and_machine_change_places_where_they_should():
    """By hand 29 + 7.8 n minutes, by machine 10 + 14.2 n: the hand is faster for n > 19 / 6.4 =
    2.97, so from 3 on. That a machine takes longer over 1,400 stones than a practised hand is
    common practice, no source."""
    found = quote([regatta()], SHEET, shop())
    assert (found.crossing, found.crossing_to) == (3, "hand")
    fast = shop(SHOP.replace("stones_a_minute = 125", "stones_a_minute = 2000"))
    assert quote([regatta()], SHEET, fast).crossing is None
    assert quote([regatta()], SHEET, fast).crossing_to == "machine"
    none = shop(SHOP[: SHOP.index("[machine]")] + SHOP[SHOP.index("[tape]") :])
    found = quote([regatta()], SHEET, none)
    assert (found.machine, found.crossing, found.crossing_to) == (None, None, "")


@pytest.mark.parametrize("rate", [120, 130, 150])
def test_the_minutes_on_both_sides_of_the_crossing(rate):
    place = shop(SHOP.replace("stones_a_minute = 125", f"stones_a_minute = {rate}"))
    crossing = quote([regatta()], SHEET, place).crossing
    for copies, hand_first in ((crossing - 1, False), (crossing, True)):
        order = [regatta(copies)]
        by_hand = hand_minutes(order, SHEET, place, True).total
        assert (by_hand < machine_minutes(order, place, True).total) is hand_first


def test_a_worn_template_is_cut_anew():
    """41 transfers from templates that stand 40: two sets of sheet, cutting and weeding."""
    one, two = (quote([regatta(n)], SHEET, shop()) for n in (40, 41))
    assert amounts(one)["weeding"] == Decimal("7.00")
    assert amounts(two)["weeding"] == Decimal("14.00")
    assert amounts(two)["thin-flock"] == Decimal("11.63")  # 73.8 + 20 % of 457.2 x 60


def test_templates_may_be_spread_over_their_life():
    """10 of 40 uses: a quarter of the set. 37.4 / 4 = 9.35, so 9.4; + 20 % = 11.3; x 60 / 457.2."""
    spread = shop(SHOP.replace("[hand]", 'templates = "life"\n\n[hand]'))
    found = amounts(quote([regatta(10)], SHEET, spread))
    assert found["thin-flock"] == Decimal("1.48")
    assert found["weeding"] == Decimal("1.75")  # 3.5 min
    assert found["cutting"] == Decimal("0.65")  # 1.25, so 1.3 min


def test_transfers_that_the_customer_presses():
    found = amounts(quote([regatta(20)], SHEET, shop(), pressed=False))
    assert found["checking"] == Decimal("10.00")
    assert "checking and pressing" not in found


def test_a_design_wider_than_the_tape_takes_strips():
    wide = Design(
        "banner", {("ss6", "crystal"): 10}, 1, (1000.0, 500.0), pages=((260.0, 500.0),) * 4
    )
    line = next(x for x in quote([wide], SHEET, shop()).lines if x.group == "tape")
    assert line.how.startswith("200.0 cm")  # two strips, a metre each


def test_many_designs_in_one_quote():
    names = [Design(f"n{k}", {("ss6", "crystal"): 100}, 1, (100.0, 40.0)) for k in range(40)]
    found = quote(names, SHEET, shop(), spare=0)
    assert found.copies == 40
    assert amounts(found)["ss6 crystal"] == Decimal("16.67")  # 4000 / 144 x 0.60
    assert found.crossing is None


def test_two_jobs_in_one_quote_have_a_price_each():
    """A large crest and a small flag: each pays the share of the cost that it has alone."""
    crest, flag = regatta(12), Design("flag", {("ss6", "crystal"): 40}, 1, (60.0, 40.0), 3)
    jobs = {"regatta": [crest], "flag": [flag]}
    found = quote([crest, flag], SHEET, shop(), jobs=jobs)
    large, small = found.job_prices
    assert (large.name, large.copies, small.name, small.copies) == ("regatta", 12, "flag", 3)
    assert large.price > small.price
    assert large.price % Decimal("0.50") == small.price % Decimal("0.50") == 0  # the shop's step
    assert found.total == 12 * large.price + 3 * small.price
    alone = [quote(mine, SHEET, shop(), compare=False).cost for mine in jobs.values()]
    asked = found.cost / (1 - shop().margin) * (1 - found.off)
    for part, cost in zip(found.job_prices, alone, strict=True):
        exact = asked * cost / sum(alone) / part.copies
        assert 0 <= part.price - exact < Decimal("0.50")
    text = quote_text(found)
    assert f"  regatta                 {large.price:10.2f}   12 transfers" in text
    assert f"  flag                    {small.price:10.2f}   3 transfers" in text
    assert f"price of all              {found.total:10.2f}   margin" in text
    assert quote_data(found)["jobs"][1] == {
        "job": "flag",
        "copies": 3,
        "price_each": f"{small.price:.2f}",
    }
    assert f"price each,flag,3 transfers,{small.price:.2f},EUR" in quote_csv(found)
    one = quote([crest], SHEET, shop(), jobs={"regatta": [crest]})
    assert one == quote([crest], SHEET, shop())


def test_the_sheet_is_billed_by_the_length_that_the_roll_plan_takes():
    """Names of 100 x 40 mm stand two abreast, 6 + 20 x 42 - 2 + 6 mm at most. A page of a third
    of the roll's width takes all of it where nothing stands beside."""
    names = [Design(f"n{k}", {("ss6", "crystal"): 100}, 1, (100.0, 40.0)) for k in range(40)]
    pieces = [TemplateSize(name.name, *name.size) for name in names]
    used = plan_roll(pieces, Roll(SHEET.width, SHEET.length)).used
    assert used <= 850
    line = next(x for x in quote(names, SHEET, shop()).lines if x.group == "sheet")
    assert f"40 templates: {used / 10:.1f} cm of roll" in line.how
    alone = Design("n", {("ss6", "crystal"): 100}, 1, (100.0, 100.0))
    line = next(x for x in quote([alone], SHEET, shop()).lines if x.group == "sheet")
    assert "1 template, 1 of each: 11.2 cm of roll, with 20 % waste 13.4 of its 457.2" in line.how
    tiled = replace(alone, size=(500.0, 500.0), pages=((260.0, 500.0), (250.0, 500.0)))
    line = next(x for x in quote([tiled], SHEET, shop()).lines if x.group == "sheet")
    assert "2 templates, 1 of each: 102.4 cm of roll" in line.how  # two panels of 500 + 12 mm
    with pytest.raises(InputError, match="500 x 500 mm: larger than"):
        quote([replace(tiled, pages=())], SHEET, shop())


def test_packs_are_as_bought():
    text = quote_text(quote([regatta(20)], SHEET, shop(), spare=0.03))
    assert "ss6 crystal                  90.00   15 packs of 10 gross\n" in text
    assert "all packs                   173.52   this order uses 168.23 of it" in text


def test_the_price_list():
    prices = price_list(regatta(20), SHEET, shop())
    assert [q.copies for q in prices] == [1, 10, 20]
    assert [q.off for q in prices] == [0, Decimal("0.1"), Decimal("0.1")]
    assert prices[0].price > prices[1].price > prices[2].price


@given(
    st.integers(1, 3000),
    st.integers(1, 200),
    st.floats(0, 0.5),
    st.integers(0, 90),
    st.sampled_from(["0.01", "0.05", "0.50", "1", "5"]),
)
@example(1, 30, 0.25, 30, "0.01")  # 67.62 / 0.7 / 30 is 3.22 to the last digit
def test_money_is_whole_cents_and_the_margin_is_kept(stones, copies, spare, margin, step):
    text = SHOP[: SHOP.index("[[break]]")].replace("0.50", step, 1)
    place = shop(text.replace('"50 %"', f'"{margin} %"', 1))
    design = Design("d", {("ss6", "crystal"): stones}, 1, (100.0, 80.0), copies, 60.0)
    found = quote([design], SHEET, place, spare=spare)
    assert found.cost == sum(line.amount for line in found.lines)
    for amount in (*(line.amount for line in found.lines), found.cost, found.price, found.total):
        assert isinstance(amount, Decimal)
        assert amount == amount.quantize(Decimal("0.01"))
    assert found.price % Decimal(step) == 0
    assert found.margin >= Decimal(margin) / 100  # prices are rounded up, so never below
    cheaper = (found.price - Decimal(step)) * copies  # but by less than a step
    assert cheaper * (1 - Decimal(margin) / 100) < found.cost


def test_a_price_below_the_cost_is_said():
    mad = shop(SHOP.replace('"50 %"', '"0 %"', 1))
    found = quote([regatta(20)], SHEET, mad)
    assert found.total < found.cost
    assert "below the cost" in quote_text(found)


def test_no_price_names_every_stone_and_the_sheet():
    counts = {("ss16", "jet"): 4, ("ss16", "red"): 4, ("ss20", "jet"): 4}
    design = Design("d", counts, 2, (100.0, 80.0))
    with pytest.raises(InputError) as caught:
        quote([design], CATALOGUE.sheet("card"), shop())
    assert str(caught.value).splitlines() == [
        "no price for ss16: write [stone.ss16] with gross = PRICE",
        "no price for ss20: write [stone.ss20] with gross = PRICE",
        "no price for card: write [sheet.card] with roll = PRICE",
    ]
    with pytest.raises(InputError, match="no stones"):
        quote([], SHEET, shop())


def test_quote_as_json_csv_and_text():
    found = quote([regatta(20)], SHEET, shop())
    data = json.loads(json.dumps(quote_data(found, price_list(regatta(20), SHEET, shop()))))
    assert data["price"] == "490.00"
    assert data["packs"] == [
        {"what": "ss6 crystal", "packs": 15, "pack_gross": 10, "amount": "90.00"},
        {"what": "ss10 sapphire", "packs": 58, "pack_gross": 1, "amount": "83.52"},
    ]
    assert sum(Decimal(line["amount"]) for line in data["lines"]) == Decimal(data["cost"])
    assert data["faster_from"] == {"copies": 3, "way": "hand"}
    assert data["price_list"][-1] == {"copies": 20, "price_each": "24.50", "margin": "45.4 %"}
    rows = list(csv.DictReader(io.StringIO(quote_csv(found))))
    assert rows[-1] == {
        "group": "sum",
        "what": "price",
        "how": "20 transfers",
        "amount": "490.00",
        "currency": "EUR",
    }
    assert len(rows) == len(found.lines) + 2
    assert "INVENTED" not in quote_text(found)


def test_the_demo_shop_says_that_it_is_invented():
    found = quote([regatta()], SHEET, demo_shop(CATALOGUE))
    assert found.demo
    assert quote_text(found).startswith("INVENTED DEMO PRICES")
    # 120-130 stones a minute in real work (common practice, no source)
    assert 120 <= demo_shop(CATALOGUE).machine.stones_a_minute <= 130
    assert set(demo_shop(CATALOGUE).sheets) == set(CATALOGUE.sheets)


def test_every_problem_of_a_shop_file_at_once():
    text = """\
[shop]
currency = "EUR"
labour = "30"
margin = "100 %"
roundng = 0.5
rounding = 0.001
templates = "lief"

[hand]
setup_minutes = -1
brushed_a_minute = 0

[tpae]
roll = 3

[sheet.thin-flok]
roll = 3

[stone.ss6]
pack = 0
colour = { crystl = 0.6, jet = "x" }

[[break]]
from = 10
"""
    with pytest.raises(JobError) as caught:
        shop(text)
    assert list(caught.value.problems) == [
        'shop.toml:13: tpae: unknown table "tpae"; did you mean tape?',
        "shop.toml:3: shop.labour: '30' is not an amount; write e.g. 12.50",
        'shop.toml:4: shop.margin: "100 %" must be less than 100 %',
        'shop.toml:5: shop.roundng: unknown key "roundng"; did you mean rounding?',
        "shop.toml:6: shop.rounding: 0.001 is not a step of whole cents such as 0.01, 0.50 or 5",
        'shop.toml:7: shop.templates: unknown way to charge templates "lief"; did you mean life?',
        "shop.toml:10: hand.setup_minutes: -1 is not a number from 0 to 1000000",
        "shop.toml:11: hand.brushed_a_minute: 0 must be more than zero",
        "shop.toml:9: hand: missing weeded_a_minute, layer_minutes",
        "shop.toml: tape: missing roll, width, length",
        'shop.toml:16: sheet.thin-flok: unknown sheet "thin-flok"; did you mean thin-flock or '
        "standard-flock?",
        "shop.toml:20: stone.ss6.pack: 0 is not a whole number from 1 to 100000",
        'shop.toml:21: stone.ss6.colour.crystl: unknown key "crystl"; did you mean crystal?',
        "shop.toml:21: stone.ss6.colour.jet: 'x' is not an amount; write e.g. 12.50",
        "shop.toml:19: stone.ss6: missing gross",
        "shop.toml:23: break[1]: missing off",
    ]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "shop = 3",
        "[[shop]]",
        "hand = 1",
        "stone = 1",
        "stone.ss6 = 1",
        "break = 1",
        "[shop",
        "x",
    ],
)
def test_shop_files_of_the_wrong_shape(text):
    with pytest.raises(JobError, match=r"shop\.toml"):
        shop(text)


LAYOUT = {
    "version": 1,
    "unit": "mm",
    "size": [30, 10],
    "kinds": [{"size": "ss6", "colour": "crystal", "diameter": 2.0}],
    "centres": [[3 * k + 3, 5] for k in range(8)],
    "kind": [0] * 8,
    "source": ["a"] * 8,
}


def run(*args):
    return CliRunner().invoke(group, args, standalone_mode=False)


def test_the_commands_on_a_layout(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))  # no prices of the user's own
    layout, prices, shelf = (tmp_path / n for n in ("choir.json", "shop.toml", "shelf.csv"))
    layout.write_text(json.dumps(LAYOUT))
    prices.write_text(SHOP)
    shelf.write_text("size,colour,stones\nss6,crystal,100\n")
    found = run("quote", f"{layout}:12", "--shop", str(prices), "--format", "json")
    assert found.exception is None
    data = json.loads(found.output)
    assert (data["copies"], data["demo"]) == (12, False)
    assert data["lines"][0]["how"].startswith("96 + 3 spare")
    found = run("stock", str(layout), "--copies", "12", "--stock", str(shelf), "--spare", "0")
    assert (found.return_value, found.stdout.splitlines()[-1]) == (0, "enough of everything")
    found = run("stock", f"{layout}:13", "--stock", str(shelf), "--shop", str(prices))
    assert found.return_value == 1
    assert "1 x 10 gross" in found.output
    assert isinstance(run("stock", str(tmp_path / "none.json")).exception, InputError)


def test_a_break_is_for_its_number_and_more():
    place = shop()
    assert [place.off(n) for n in (1, 9, 10, 1000)] == [0, 0, Decimal("0.1"), Decimal("0.1")]
    assert replace(place, breaks=()).off(1000) == 0
    assert (place.pack("ss6"), place.pack("ss48")) == (10, 1)


def test_a_number_of_copies_that_would_do_nothing_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("crest", "flag"):
        (tmp_path / f"{name}.json").write_text(json.dumps(LAYOUT))
    found = run("quote", "crest.json:12", "--copies", "5")
    assert "--copies 5 is for files without a number" in str(found.exception)
    both = run("quote", "crest.json:12", "flag.json", "--copies", "5", "--format", "json")
    jobs = json.loads(both.stdout)["jobs"]
    assert [(job["job"], job["copies"]) for job in jobs] == [("crest", 12), ("flag", 5)]
