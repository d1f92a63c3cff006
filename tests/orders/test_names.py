"""Names lists: read strictly, one design a line, the rest made when a line is bad, resumed."""

import json
import re
import shutil

import pytest
from click.testing import CliRunner
from paths import EXAMPLES

pytest.importorskip("HersheyFonts")
pytest.importorskip("joblib")

from stonelayout.cli import group
from stonelayout.errors import InputError, JobError
from stonelayout.file_sets import locked
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.job import parse_job
from stonelayout.model.names import Entry, Names, designs, empty_cells, fill, filled, wanted_columns
from stonelayout.orders.names_csv import read_list, unused_columns
from stonelayout.orders.names_run import Task, key_of
from stonelayout.template.holes import read_holes
from stonelayout.toml.places import Places, read_toml

JOB = """
[names]
file = "list.csv"

[[text]]
id = "name"
words = "{name}"
height = "12 mm"
width = "60 mm"

[[text]]
id = "number"
words = "{number}"
height = "14 mm"
at = ["0 mm", "24 mm"]

[[lay]]
pick = { layer = "name" }
stone = "{size}"
colour = "crystal"
pattern = "edge"

[[lay]]
pick = { layer = "number" }
stone = "ss6"
colour = "jet"
pattern = "edge"
"""
LIST = "name,number,size,count\nAda,7,ss6,2\nZoë,,ss6,1\nAda,7,ss6,3\nŁuk,10,ss6,\n"
LISTED = Names("list.csv")


def folder(tmp_path, job=JOB, names=LIST):
    (tmp_path / "choir.toml").write_text(job, encoding="utf-8")
    (tmp_path / "list.csv").write_text(names, encoding="utf-8")
    return tmp_path


def make(root, *options):
    arguments = ["make", str(root / "choir.toml"), "--out", str(root / "out"), "--workers", "1"]
    return CliRunner().invoke(group, [*arguments, *options], standalone_mode=False)


def contents(root):
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file()
    }


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_lists_are_read_with_any_usual_separator(mark):
    entries, bad = read_list(LIST.replace(",", mark), "list.csv", LISTED)
    assert bad == []
    assert [(e.line, e.label, e.copies) for e in entries] == [
        (2, "Ada", 2),
        (3, "Zoë", 1),
        (4, "Ada", 3),
        (5, "Łuk", 1),
    ]
    assert entries[0].values == {"name": "Ada", "number": "7", "size": "ss6", "count": "2"}


def test_quoted_cells_and_blank_lines():
    text = 'name,note\n\n"Ada, the 2nd","two\nlines"\nBo,x\n'
    entries, _ = read_list(text, "l.csv", Names("l.csv", label="{name} ({note})"))
    assert [e.label for e in entries] == ["Ada, the 2nd (two lines)", "Bo (x)"]
    assert entries[1].line == 5


def test_bad_lines_are_named_and_the_others_read():
    text = "name,count\nAda,1\nBo,none\nCy\nDi,0\nEd,3\n"
    entries, bad = read_list(text, "l.csv", LISTED)
    assert [e.label for e in entries] == ["Ada", "Ed"]
    assert [line for line, _ in bad] == [3, 4, 5]
    assert "not a number of copies" in bad[0][1]
    assert "1 cell under 2 columns" in bad[1][1]


@pytest.mark.parametrize(
    ("text", "names", "words"),
    [
        ("", LISTED, "empty list"),
        ("name,name\nA,B\n", LISTED, "a name of its own"),
        ("name\nA\n", Names("l", count="pieces"), "pieces"),
        ("name\nA\n", Names("l", label="{team}"), "team"),
        ('name\n"A\n', LISTED, "not CSV"),
    ],
)
def test_lists_that_cannot_be_used(text, names, words):
    with pytest.raises(InputError, match=words):
        read_list(text, "l.csv", names)


def test_lines_that_ask_for_the_same_are_one_design():
    data = read_toml(JOB, "choir.toml")
    entries, _ = read_list(LIST, "list.csv", LISTED)
    found = designs(entries, data)
    assert [(d.label, d.lines, d.copies) for d in found] == [
        ("Ada", [2, 4], 5),
        ("Zoë", [3], 1),
        ("Łuk", [5], 1),
    ]
    assert len({design.folder for design in found}) == len(found)


def test_labels_alike_get_folders_of_their_own():
    entries = [Entry(k, {"name": n}, n) for k, n in enumerate(["A b", "a-B", "../a b", "♞"], 2)]
    found = designs(entries, {"text": [{"words": "{name}"}]})
    assert [design.folder for design in found] == ["a-b", "a-b-2", "a-b-3", "line-5"]


def test_labels_like_papers_or_devices_get_folders_of_their_own():
    labels = ["Roll", "stock.txt", "order.json", "set.json", "CON", "aux.txt", "com1", "J. Heron"]
    entries = [Entry(k, {"name": n}, n) for k, n in enumerate(labels, 2)]
    found = designs(entries, {"text": [{"words": "{name}"}]})
    assert [design.folder for design in found] == [
        *("roll-2", "stock-txt", "order-json", "set-json", "con-2", "aux-txt", "com1-2"),
        "j.-heron",
    ]


def test_placeholders_are_filled_and_empty_texts_left_out_with_their_rules():
    catalogue = load_catalogue()
    entry = Entry(3, {"name": "Zoë", "number": "", "size": "ss10"}, "Zoë", 4)
    job = parse_job(JOB, "choir.toml", catalogue, entry)
    assert [text.words for text in job.texts] == ["Zoë"]
    assert [rule.stones[0].name for rule in job.rules] == ["ss10"]
    assert (job.name, job.copies, job.line) == ("Zoë", 4, 3)
    with pytest.raises(JobError, match='unknown column "size"'):
        parse_job(JOB, "choir.toml", catalogue, Entry(3, {"name": "Z", "number": "1"}, "Z"))
    with pytest.raises(JobError, match="names list"):
        parse_job(JOB, "choir.toml", catalogue)
    assert "names" not in filled(read_toml(JOB, ""), entry.values)


def test_a_list_is_made_counted_and_resumed(tmp_path):
    root = folder(tmp_path)
    result = make(root)
    assert result.exception is None, result.output
    order = json.loads((root / "out" / "order.json").read_text(encoding="utf-8"))
    assert [(d["folder"], d["lines"], d["copies"]) for d in order["designs"]] == [
        ("ada", [2, 4], 5),
        ("zoë", [3], 1),
        ("łuk", [5], 1),
    ]
    assert order["not_made"] == []
    ada = order["designs"][0]
    layers = sorted((root / "out" / "ada").glob("0*.svg"))
    assert len(layers) == ada["layers"] == 2
    total = sum(len(json.loads((root / "out" / d["folder"] / "layout.json").read_text())["centres"])
                * d["copies"] for d in order["designs"])  # fmt: skip
    rows = (root / "out" / "stock.txt").read_text().splitlines()
    placed = next(row for row in rows if row.startswith("all ")).split()[1]
    assert int(placed) == total
    holes = [one for svg in (root / "out" / "roll").glob("panel-*.svg")
             for one in read_holes(svg.read_bytes(), svg.name).diameters]  # fmt: skip
    once = sum(sum(design["stones"].values()) for design in order["designs"])
    assert len(holes) == once  # every template is on the roll, once
    before = contents(root / "out")
    stamp = layers[0].stat().st_mtime_ns
    again = make(root)
    assert "3 of 3 are there already" in again.stderr
    assert layers[0].stat().st_mtime_ns == stamp
    assert contents(root / "out") == before


def test_only_what_changed_is_made_again_and_what_is_gone_is_deleted(tmp_path):
    root = folder(tmp_path)
    make(root)
    before = contents(root / "out")
    (root / "out" / "zoë" / "layout.json").write_text("{}")  # damaged
    (root / "out" / "ada" / "mine.txt").write_text("a note of the shop")
    folder(tmp_path, names=LIST.replace("Łuk,10", "Łuk,11") + "Bo,1,ss6,1\n")
    result = make(root)
    assert "1 of 4 are there already" in result.stderr
    after = contents(root / "out")
    for name, data in before.items():
        if name.startswith(("ada/", "zoë/")):
            assert after[name] == data
    assert after["łuk/layout.json"] != before["łuk/layout.json"]
    folder(tmp_path, names="name,number,size,count\nBo,1,ss6,1\n")
    result = make(root)
    assert "ada: no longer in the list" in result.stderr
    assert sorted(path.name for path in (root / "out").iterdir() if path.is_dir()) == [
        "ada",
        "bo",
        "roll",
    ]
    assert [path.name for path in (root / "out" / "ada").iterdir()] == ["mine.txt"]


def test_a_line_that_is_gone_leaves_what_was_changed_by_hand(tmp_path):
    root = folder(tmp_path)
    make(root)
    edited = root / "out" / "zoë" / "01-ss6-crystal.svg"
    edited.write_text("by hand", encoding="utf-8")
    folder(tmp_path, names=LIST.replace("Zoë,,ss6,1\n", ""))
    told = make(root).stderr
    assert "zoë: no longer in the list, its files are deleted, but for what was changed" in told
    assert [path.name for path in edited.parent.iterdir() if path.suffix == ".svg"] == [edited.name]
    assert edited.read_text(encoding="utf-8") == "by hand"


def test_two_runs_of_a_list_at_once_are_told(tmp_path):
    root = folder(tmp_path)
    with locked(root / "out"), pytest.raises(InputError, match="another run is writing to this"):
        raise make(root).exception
    assert not (root / "out").exists()


def test_bad_lines_do_not_stop_the_others(tmp_path):
    names = LIST + "日,1,ss6,1\nBo,1,ss999,1\nCy,1,ss6,many\nMaximiliana Wilhelmina,1,ss34,1\n"
    root = folder(tmp_path, names=names)
    result = make(root)
    assert result.return_value == 1
    order = json.loads((root / "out" / "order.json").read_text(encoding="utf-8"))
    assert [entry["line"] for entry in order["not_made"]] == [6, 7, 8, 9]
    reasons = [entry["reason"] for entry in order["not_made"]]
    assert "CJK UNIFIED IDEOGRAPH-65E5" in reasons[0]
    assert "ss999" in reasons[1]
    assert "copies" in reasons[2]
    assert "does not fit 60 mm" in reasons[3]
    assert [d["folder"] for d in order["designs"]] == ["ada", "zoë", "łuk"]
    assert "not made: list.csv:6: 日:" in result.stderr


def test_every_paper_says_first_which_lines_are_not_in_it(tmp_path):
    root = folder(tmp_path, names=LIST + "Bo,1,ss999,1\nCy,1,ss6,many\n")
    make(root)
    papers = [root / "out" / name for name in ("stock.txt", "quote.txt", "roll/roll.txt")]
    for paper in papers:
        first = paper.read_text(encoding="utf-8").splitlines()[0]
        assert first.startswith("NOT IN THIS PAPER, they could not be made: line 6 Bo, line 7")
    folder(tmp_path)
    make(root)
    assert not any("NOT IN" in paper.read_text(encoding="utf-8") for paper in papers)


def test_the_stock_list_says_why_the_job_sheets_take_out_more(tmp_path):
    """Each sheet rounds 3 % of its own stones up, the order rounds once."""
    root = folder(tmp_path)
    make(root)
    order = json.loads((root / "out" / "order.json").read_text(encoding="utf-8"))
    kinds = [
        (count * design["copies"], kind)
        for design in order["designs"]
        for kind, count in design["stones"].items()
    ]
    benches = sum(count + -(-count * 3 // 100) for count, _ in kinds)
    whole = {kind: sum(n for n, other in kinds if other == kind) for _, kind in kinds}
    total = sum(count + -(-count * 3 // 100) for count in whole.values())
    assert benches > total
    text = (root / "out" / "stock.txt").read_text(encoding="utf-8")
    assert f"the job sheets together take out {benches}: each rounds its own spare up" in text
    sheets = (root / "out").glob("*/jobsheet.html")
    taken = [re.search(r"take out</dt><dd>(\d+)", s.read_text(encoding="utf-8")) for s in sheets]
    assert sum(int(found.group(1)) for found in taken if found) == benches


def test_a_job_that_makes_no_line_touches_nothing_and_says_why_once(tmp_path):
    root = folder(tmp_path)
    make(root)
    before = contents(root / "out")
    folder(tmp_path, job=JOB.replace('height = "12 mm"', 'height = "12 mm"\nface = "no.ttf"'))
    result = make(root)
    assert result.return_value == 2
    assert contents(root / "out") == before
    assert result.stderr.count("no.ttf") == 1
    assert "(also lines 3, 4, 5)" in result.stderr
    assert result.stderr.endswith(f"no line can be made; nothing in {root / 'out'} is changed\n")


def test_a_slip_in_the_header_is_said_once_and_nothing_is_touched(tmp_path):
    root = folder(tmp_path)
    make(root)
    before = contents(root / "out")
    folder(tmp_path, names=LIST.replace("size", "szie"))
    result = make(root)
    assert isinstance(result.exception, JobError)
    assert str(result.exception) == (
        f'{root / "list.csv"}:1: no column "size", which lay[1].stone ({root / "choir.toml"}:19) '
        'asks for; is "szie" meant?'
    )
    assert contents(root / "out") == before


def test_a_line_that_turns_bad_keeps_what_was_made_of_it(tmp_path):
    root = folder(tmp_path)
    make(root)
    before = contents(root / "out" / "zoë")
    for bad in ("Zoë,,ss999,1", "Zoë,,ss6,none", "Zoë,1"):
        folder(tmp_path, names=LIST.replace("Zoë,,ss6,1", bad))
        result = make(root)
        assert result.return_value == 1
        assert contents(root / "out" / "zoë") == before
        assert "zoë: not made anew; the files of an earlier run stay there" in result.stderr
        order = json.loads((root / "out" / "order.json").read_text(encoding="utf-8"))
        assert [design["folder"] for design in order["designs"]] == ["ada", "łuk"]
        assert order["kept"] == ["zoë"]
    folder(tmp_path)
    assert "3 of 3 are there already" in make(root).stderr
    folder(tmp_path, names=LIST.replace("Zoë,,ss6,1", "Zoë,1"))
    make(root)
    folder(tmp_path, names=LIST.replace("Zoë,,ss6,1\n", ""))
    assert "zoë: no longer in the list, its files are deleted" in make(root).stderr
    assert not (root / "out" / "zoë").exists()


def test_empty_cells_are_told_and_the_other_lines_made(tmp_path):
    names = "name,number,size\nAda,,ss6\n,,ss6\nBo,,\n.,,ss6\n-,,ss6\n"
    root = folder(tmp_path, names=names)
    result = make(root)
    assert result.return_value == 1
    order = json.loads((root / "out" / "order.json").read_text(encoding="utf-8"))
    assert order["not_made"] == [
        {"line": 3, "label": "", "reason": "the name and number are empty"},
        {"line": 4, "label": "", "reason": "the size is empty"},
    ]
    assert [design["label"] for design in order["designs"]] == ["Ada", ".", "-"]
    assert "not made: list.csv:3: the name and number are empty\n" in result.stderr


def test_a_fault_of_ours_is_no_traceback_in_the_order(tmp_path, monkeypatch):
    root = folder(tmp_path)

    def fault(*_):
        raise IndexError("too many indices")

    monkeypatch.setattr("stonelayout.orders.names_run.parse_job", fault)
    result = make(root)
    assert result.return_value == 3
    assert "not made: list.csv:2: Ada: this is a bug in stonelayout (IndexError)" in result.stderr
    assert "Traceback" in result.stderr
    assert not (root / "out").exists()


def test_a_file_that_is_not_there_is_told_with_the_place_that_names_it(tmp_path):
    root = folder(tmp_path)
    (root / "list.csv").rename(root / "lists.csv")
    result = make(root)
    assert str(result.exception) == (
        f"{root / 'choir.toml'}:3: names.file: {root / 'list.csv'}: there is no such file; "
        "did you mean lists.csv?"
    )


def test_a_cell_of_two_lines_is_set_in_two_lines():
    data = read_toml(JOB, "choir.toml")
    line = filled(data, {"name": r"Ada\nBrook", "number": "7", "size": "ss6"})
    assert line["text"][0]["words"] == "Ada\nBrook"
    (entry,), _ = read_list("name\nAda\\nBrook\n", "l.csv", LISTED)
    assert entry.label == "Ada Brook"


def test_a_crest_needs_no_name_but_a_rule():
    job = JOB + '[artwork]\nfile = "crest.svg"\n'
    data = read_toml(job, "choir.toml")
    values = {"name": "", "number": "", "size": "ss6"}
    assert empty_cells(data, values) == "the name and number are empty"
    crest = job + '[[lay]]\npick = { all = true }\nstone = "ss6"\ncolour = "jet"\n'
    assert empty_cells(read_toml(crest, "choir.toml"), values) == ""


def test_columns_in_any_case():
    wanted = wanted_columns(read_toml(JOB, "j"), Places(JOB, "j"))
    assert wanted == {
        "name": "text[1].words (j:7)",
        "number": "text[2].words (j:13)",
        "size": "lay[1].stone (j:19)",
    }
    text = LIST.replace("name,number,size,count", "Name, NUMBER ,Size,Count")
    entries, _ = read_list(text, "l.csv", Names("l.csv", label="{Name}"), wanted)
    assert [(e.label, e.copies) for e in entries[:2]] == [("Ada", 2), ("Zoë", 1)]
    assert fill("{ Name }", entries[0].values) == "Ada"
    with pytest.raises(InputError, match="a name of its own"):
        read_list("name,Name\nA,B\n", "l.csv", LISTED)


def test_columns_that_nothing_uses_are_told():
    def told(text, names=LISTED):
        return unused_columns(read_list(text, "l.csv", names)[0], "l.csv", names, ["size"])

    assert told("name,size,count\nA,ss6,2\n") == []
    assert told("name,size,club\nA,ss6,x\n") == ['l.csv: nothing uses the column "club"']
    assert told("name,size,county,boat\nA,ss6,x,3\n") == [
        'l.csv: nothing uses the columns "county", "boat"; every line is made once: if "boat" '
        'holds the copies, write count = "boat" under [names]'
    ]
    assert told("name,size,cuont\nA,ss6,2\n", Names("l.csv", count="cuont")) == []
    with pytest.raises(InputError) as error:
        told("name,size,cuont\nA,ss6,2\nB,ss6,\n")
    assert str(error.value) == (
        'l.csv: nothing uses the column "cuont"; did you mean count? Else every line is made '
        'once: name the column count, or write count = "cuont" under [names]'
    )


def test_a_list_saved_without_utf_8_says_how_to_save_it(tmp_path):
    root = folder(tmp_path)
    (root / "list.csv").write_bytes(LIST.encode("cp1250", errors="replace"))
    result = make(root)
    assert isinstance(result.exception, InputError)
    assert str(result.exception) == (
        f"{root / 'list.csv'}: not UTF-8 text, so accents would be lost: save it from the "
        'spreadsheet as "CSV UTF-8"'
    )


def test_templates_carry_the_name_outside_the_holes(tmp_path):
    import re

    root = folder(tmp_path)
    make(root)
    for svg in (root / "out").rglob("0*.svg"):
        text = svg.read_text(encoding="utf-8")
        path = re.search(r'<path id="name" d="([^"]+)"', text)[1]
        points = [tuple(map(float, p)) for p in re.findall(r"[ML]([\d.]+) ([\d.]+)", path)]
        holes = [
            tuple(map(float, h))
            for h in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"', text)
        ]
        assert max(y for _, y in points) < min(y - r for _, y, r in holes)
        assert min(x for x, _ in points) > 0
        read = read_holes(svg.read_bytes(), svg.name)
        assert len(read) == len(holes)


def test_stock_counts_all_lines_of_a_list(tmp_path):
    root = folder(tmp_path)
    make(root)
    result = CliRunner().invoke(
        group, ["stock", str(root / "choir.toml")], standalone_mode=False, catch_exceptions=False
    )
    assert result.stdout == (root / "out" / "stock.txt").read_text(encoding="utf-8")
    bad = "Cy,1,ss6,many\n日,1,ss6,1\nBo,1,ss1O,1\n,,ss6,1\n"
    folder(tmp_path, names=LIST + bad)
    make(root)
    for command in ("stock", "quote"):
        result = CliRunner().invoke(group, [command, str(root / "choir.toml")])
        paper = (root / "out" / f"{command}.txt").read_text(encoding="utf-8")
        head, _, counted = paper.partition("\n\n")
        assert head.startswith("NOT IN THIS PAPER")
        assert result.stdout == counted
        told = result.stderr.splitlines()[:4]
        assert told[0] == f'left out: {root / "list.csv"}:6: count "many" is not a number of copies'
        assert told[1] == f"left out: {root / 'list.csv'}:9: the name and number are empty"
        assert told[2].startswith(f"left out: {root / 'list.csv'}:8: Bo: ")
        assert told[2].endswith('unknown stone "ss1O"; did you mean ss10?')
        assert told[3].startswith(f"left out: {root / 'list.csv'}:7: 日: text name: ")
    result = CliRunner().invoke(group, ["stock", str(root / "choir.toml")], standalone_mode=False)
    assert result.return_value == 1
    folder(tmp_path, names="name,number,size\n,,ss6\nBo,1,ss1O\n")
    result = CliRunner().invoke(group, ["stock", str(root / "choir.toml")], standalone_mode=False)
    assert isinstance(result.exception, JobError)
    assert len(result.exception.problems) == 2


def test_a_name_too_long_for_any_sheet_does_not_stop_the_others(tmp_path):
    root = folder(tmp_path, names="name,number,size\nBo,1,ss6\n" + 40 * "Anna-" + ",1,ss6\n")
    job = (root / "choir.toml").read_text(encoding="utf-8")
    (root / "choir.toml").write_text(re.sub(r'width = "[^"]+"\n', "", job), encoding="utf-8")
    make(root)
    for command in ("stock", "quote"):
        result = CliRunner().invoke(group, [command, str(root / "choir.toml")])
        assert "ss6 crystal" in " ".join(result.stdout.split())
        (told,) = (line for line in result.stderr.splitlines() if line.startswith("left out"))
        assert "list.csv:3: Anna-" in told
        assert "the design measures" in told


def test_the_key_knows_everything_that_a_line_is_made_from():
    catalogue = load_catalogue()
    entry = Entry(2, {"name": "Ada"}, "Ada")
    base = Task(JOB, "choir.toml", entry, catalogue)
    keys = [
        key_of(base, {}),
        key_of(Task(JOB + "\n", "choir.toml", entry, catalogue), {}),
        key_of(Task(JOB, "choir.toml", Entry(2, {"name": "Bo"}, "Ada"), catalogue), {}),
        key_of(Task(JOB, "choir.toml", entry, catalogue, b"<svg/>"), {}),
        key_of(base, {"face.ttf": b"1"}),
        key_of(base, {"face.ttf": b"2"}),
    ]
    assert len(set(keys)) == len(keys)
    again = Task(JOB, "elsewhere/choir.toml", Entry(9, {"name": "Ada"}, "Ada"), load_catalogue())
    assert key_of(again, {}) == keys[0]


def test_the_example_list_is_made(tmp_path):
    examples = EXAMPLES
    for name in ("choir-names.toml", "choir-names.csv"):
        shutil.copy(examples / name, tmp_path / name)
    result = CliRunner().invoke(
        group,
        [
            "make",
            str(tmp_path / "choir-names.toml"),
            "--out",
            str(tmp_path / "out"),
            "-q",
            "--workers=1",
        ],
        standalone_mode=False,
        catch_exceptions=False,
    )
    assert result.return_value == 0
    order = json.loads((tmp_path / "out" / "order.json").read_text(encoding="utf-8"))
    assert order["copies"] == 9
    assert len(order["designs"]) == 7
