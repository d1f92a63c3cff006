from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stonelayout.errors import JobError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.order import GROSS, Design, exact, needs, whole
from stonelayout.shop.stock import parse_shelf, stock_csv, stock_lines, stock_text


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def choir(copies=12):
    """The emblem of an invented school choir."""
    counts = {("ss10", "gold"): 310, ("ss6", "crystal"): 845, ("ss6", "aqua"): 0}
    return Design("choir", counts, 2, (180.0, 120.0), copies)


def test_needs_of_an_order_by_hand():
    """845 x 12 = 10140; 3 % = 304.2, so 305 spare; 10445 stones = 72.5, so 73 gross.
    310 x 12 = 3720; 3 % = 111.6, so 112; 3832 = 26.6, so 27 gross (1 gross = 144)."""
    crystal, gold = needs([choir()], 0.03)  # smallest size first, nothing where nothing is placed
    assert (crystal.name, crystal.placed, crystal.spare, crystal.total) == (
        "ss6 crystal",
        10140,
        305,
        10445,
    )
    assert (crystal.gross, gold.placed, gold.spare, gold.gross) == (73, 3720, 112, 27)


def test_an_order_of_many_designs_is_counted_together():
    names = [Design(f"name {k}", {("ss6", "gold"): 10 + k}, 1, (90, 30)) for k in range(40)]
    (need,) = needs([*names, Design("crest", {("ss6", "gold"): 5}, 1, (50, 50), 40)])
    assert need.placed == sum(range(10, 50)) + 200
    assert need.spare == 0


def test_exact_shares_do_not_round_up_a_float_crumb():
    """7 % of 100 is 7 spare stones; 100 * 0.07 in floats is 7.000000000000001."""
    assert needs([Design("d", {("ss6", "red"): 100}, 1, (1, 1))], 0.07)[0].spare == 7
    assert exact(0.029) == Decimal("0.029")


@given(st.integers(0, 10**7), st.floats(0, 1), st.integers(1, 50))
def test_packs_hold_what_is_short_and_no_pack_more(count, spare, pack):
    for need in needs([Design("d", {("ss6", "red"): count}, 1, (1, 1))], spare):
        (line,) = stock_lines([need], {("ss6", "red"): 1000}, {"ss6": pack}.__getitem__)
        bought = line.packs * pack * GROSS
        assert line.have + bought >= need.total
        assert line.packs == 0 or line.have + bought - pack * GROSS < need.total
        assert line.left == max(0, line.have - need.total)
        assert need.total >= count


def test_short_enough_and_unknown():
    lines = stock_lines(
        needs([choir()], 0.03), {("ss6", "crystal"): 10445}, {"ss6": 10, "ss10": 5}.get
    )
    crystal, gold = lines
    assert (crystal.short, crystal.packs, crystal.left) == (0, 0, 0)
    # nothing of gold on the shelf: 3832 stones, in packs of 5 gross (720): 6 packs
    assert (gold.have, gold.short, gold.packs) == (0, 3832, 6)
    assert stock_text(lines).splitlines()[-1] == "1 kind of stone to buy"
    unknown = stock_lines(needs([choir()], 0.03))
    assert unknown[0].have is None
    assert unknown[0].packs == 73
    assert "short" not in stock_text(unknown)


def test_stock_as_csv():
    text = stock_csv(stock_lines(needs([choir(1)]), {("ss6", "crystal"): 145}))
    assert text == (
        "size,colour,placed,spare,total,gross,have,short,pack_gross,packs_to_buy\n"
        "ss6,crystal,845,0,845,6,145,700,1,5\n"
        "ss10,gold,310,0,310,3,0,310,1,3\n"
    )


def test_a_shelf_as_toml_and_as_csv(catalogue):
    expected = {("ss6", "crystal"): 1540, ("ss10", "gold"): 288}
    toml = '[ss6]\ncrystal = 1540\n[ss10]\ngold = "2 gross"\n'
    assert parse_shelf(toml, "shelf.toml", catalogue) == expected
    # two bags of the same are added; columns in any order; an empty line and a note are skipped
    sheet = (
        "colour,size,gross,stones\ncrystal,SS6,10,\n\n# top shelf\nCrystal,ss6,,100\ngold,ss10,2,"
    )
    assert parse_shelf(sheet, "shelf.csv", catalogue) == expected
    spread = "size;colour;stones\nss6;crystal;1540\nss10;gold;288\n"
    assert parse_shelf(spread, "SHELF.CSV", catalogue) == expected


def test_every_problem_of_a_stock_file_at_once(catalogue):
    with pytest.raises(JobError) as caught:
        parse_shelf(
            "size,colour,stones\nss66,red,3\nss6,saphire,3\nss6,red,1,440\nss6,red,many\nss6,red,\n"
            "ss6,red,-5\n",
            "shelf.csv",
            catalogue,
        )
    assert list(caught.value.problems) == [
        'shelf.csv:2: unknown stone "ss66"; did you mean ss6 or ss46 or ss36?',
        'shelf.csv:3: unknown colour "saphire"; did you mean sapphire?',
        "shelf.csv:4: 4 cells under 3 columns; write 1440, not 1,440",
        "shelf.csv:5: 'many' is not a count; write e.g. 1440 or \"10 gross\"",
        "shelf.csv:6: ss6 red: no count",
        "shelf.csv:7: '-5' is not a count; write e.g. 1440 or \"10 gross\"",
    ]
    with pytest.raises(JobError) as caught:
        parse_shelf("[ss6]\nred = true\nsaphire = 3\n[ss66]\nred = 1\n", "s.toml", catalogue)
    assert list(caught.value.problems) == [
        's.toml:2: ss6.red: True is not a count; write e.g. 1440 or "10 gross"',
        's.toml:3: ss6.saphire: unknown key "saphire"; did you mean sapphire?',
        's.toml:4: ss66: unknown stone "ss66"; did you mean ss6 or ss46 or ss36?',
    ]


@pytest.mark.parametrize("text", ["", "size,stones\nss6,3\n", "name,colour,stones\n", "a\x00b\n"])
def test_a_stock_table_without_the_right_columns(catalogue, text):
    with pytest.raises(JobError, match=r"shelf\.csv"):
        parse_shelf(text, "shelf.csv", catalogue)


CATALOGUE = load_catalogue()


@given(st.text(max_size=200), st.sampled_from(["s.csv", "s.toml"]))
def test_any_text_gives_a_shelf_or_a_clear_error(text, file):
    try:
        shelf = parse_shelf(text, file, CATALOGUE)
    except JobError as error:
        shelf = {}
        named = [problem.startswith(file) for problem in error.problems]
    else:
        named = [True]
    assert set(named) == {True}
    assert all(count >= 0 for count in shelf.values())


def test_whole():
    assert [whole(n, 144) for n in (0, 1, 144, 145)] == [0, 1, 1, 2]
