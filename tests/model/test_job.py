import pytest

from stonelayout.errors import JobError
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.job import SPARE_WEB_MM, parse_job
from stonelayout.model.pattern_options import PATTERNS

GOOD = """\
[artwork]
file = "crest.svg"
width = "240 mm"

[sheet]
use = "thin-flock"

[order]
spare = "5 %"

[outputs]
cut = ["svg"]
garment = "navy"

[[lay]]
pick = { layer = "waves", fill = "RED" }
stone = "ss6"
colour = "sapphire"
pattern = "courses"
gap = "1 mm"

[[lay]]
pick = { all = true }
stone = "SS10"
colour = "crystal"
pattern = "edge"
where = "outside"
"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def problems(text, catalogue):
    with pytest.raises(JobError) as caught:
        parse_job(text, "job.toml", catalogue)
    return list(caught.value.problems)


def test_a_whole_job_is_read(catalogue):
    job = parse_job(GOOD, "regatta.toml", catalogue)
    assert (job.artwork, job.width, job.spare, job.garment) == ("crest.svg", 240.0, 0.05, "navy")
    assert job.name == "regatta"
    first, second = job.rules
    assert first.stones[0].name == "ss6"
    assert first.pitches == (3.0,)  # pitch = stone + gap
    assert (first.pick.layer, first.pick.fill) == ("waves", "#ff0000")
    assert first.place == "regatta.toml:15"
    assert second.options["where"] == "outside"
    # none of pitch, gap and web given: hole + least web + a little to spare
    assert second.pitches[0] == pytest.approx(2.8 + 0.5 + 0.4 + SPARE_WEB_MM)


def test_pitch_gap_and_web_say_the_same_thing(catalogue):
    """pitch = stone + gap = hole + web (identity of plane geometry)."""
    pitches = set()
    for spacing in ('pitch = "3.2 mm"', 'gap = "1.2 mm"', 'web = "0.7 mm"'):
        job = parse_job(GOOD.replace('gap = "1 mm"', spacing), "job.toml", catalogue)
        pitches.add(round(job.rules[0].pitches[0], 9))
    assert pitches == {3.2}


def test_every_problem_is_listed_at_once_with_its_line(catalogue):
    text = """\
[artwork]
file = "crest.svg"
widht = "240 mm"

[shet]
use = "thin-flock"

[outputs]
cut = ["svg", "dxff"]

[[lay]]
pick = { layr = "waves" }
stone = "ss6"
colour = "saphire"
gap = "big"

[[lay]]
pick = { id = "x" }
stone = "ss10"
colour = "crystal"
pattern = "swirls"

[[lay]]
pick = {}
stone = "ss6"
pitch = "3 mm"
gap = "1 mm"
rows = 0
pattern = "edge"
"""
    assert problems(text, catalogue) == [
        'job.toml:5: shet: unknown table "shet"; did you mean sheet?',
        'job.toml:3: artwork.widht: unknown key "widht"; did you mean width?',
        'job.toml:9: outputs.cut: unknown format "dxff"; did you mean dxf?',
        'job.toml:12: lay[1].pick.layr: unknown key "layr"; did you mean layer?',
        'job.toml:14: lay[1].colour: unknown colour "saphire"; did you mean sapphire?',
        'job.toml:15: lay[1].gap: "big" is not a length; write e.g. "0.5 mm"',
        'job.toml:21: lay[2].pattern: unknown pattern "swirls"; there are: '
        + ", ".join(sorted(PATTERNS)),
        'job.toml:24: lay[3].pick: write e.g. { layer = "waves" }, { fill = "#1f4fa8" }, '
        "{ all = true }",
        "job.toml:28: lay[3].rows: 0 is not a whole number from 1 to 100",
        "job.toml:23: lay[3]: missing colour",
        "job.toml:23: lay[3]: give one of pitch, gap and web, not pitch and gap",
    ]


def test_a_bad_pattern_does_not_hide_the_rest_of_its_rule(catalogue):
    text = (
        GOOD.replace('"courses"', '"corses"').replace('"ss6"', '"s6"').replace("layer", "layr", 1)
    )
    keys = [problem.split(": ")[1] for problem in problems(text, catalogue)]
    assert keys == ["lay[1].pattern", "lay[1].pick.layr", "lay[1].stone"]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("5 %", "lots", "job.toml:9: order.spare: 'lots' is not a share from 0 to 100"),
        ('"ss6"', '"ss66"', 'job.toml:17: lay[1].stone: unknown stone "ss66"; did you mean'),
        (
            'gap = "1 mm"',
            'pitch = "1.5 mm"',
            "job.toml:20: lay[1].pitch: a pitch of 1.5 mm is less than the stone: ss6 measures up "
            "to 2.1 mm",
        ),
        ("240 mm", "240", 'job.toml:3: artwork.width: "240" has no unit; write e.g. "240 mm"'),
        ("240 mm", "0 mm", 'job.toml:3: artwork.width: "0 mm" must be more than zero'),
        ("thin-flock", "tin", 'job.toml:6: sheet.use: unknown sheet "tin"'),
        ("{ all = true }", "{ all = 1 }", "job.toml:23: lay[2].pick.all: 1: write true"),
    ],
)
def test_one_wrong_value(catalogue, old, new, expected):
    found = problems(GOOD.replace(old, new, 1), catalogue)
    assert len(found) == 1
    assert found[0].startswith(expected)


@pytest.mark.parametrize("text", ["", "lay = 3\n", "[artwork]\n", "[[artwork]]\nfile = 'x'\n"])
def test_a_job_without_artwork_or_rules(catalogue, text):
    assert any("lay" in problem for problem in problems(text, catalogue))


@pytest.mark.parametrize("value", ["3", "true", '"crest.svg"'])
def test_an_artwork_that_is_no_table_is_said(catalogue, value):
    found = problems(f"artwork = {value}\n", catalogue)
    assert found[0] == "job.toml:1: artwork: write it as a table: [artwork]"


def test_not_toml(catalogue):
    assert problems("[artwork\n", catalogue)[0].startswith("job.toml: not TOML: ")


ORDER = GOOD + '\n[shop]\nfile = "our-prices.toml"\n'


def test_an_order_and_a_shop(catalogue):
    text = ORDER.replace('spare = "5 %"', 'spare = "2.9 %"\ncopies = 25\npressed = false')
    job = parse_job(text, "job.toml", catalogue)
    assert (job.copies, job.spare, job.pressed, job.shop) == (25, 0.029, False, "our-prices.toml")
    plain = parse_job(GOOD, "job.toml", catalogue)
    assert (plain.copies, plain.pressed, plain.shop) == (1, True, None)
    wrong = ORDER.replace('spare = "5 %"', 'copies = 0\npressed = "no"').replace('"our', '3 # "')
    assert problems(wrong, catalogue) == [
        "job.toml:9: order.copies: 0 is not a whole number from 1 to 1000000",
        "job.toml:10: order.pressed: 'no' is not true or false",
        'job.toml:31: shop.file: 3 is not text; write it in quotes, e.g. "waves"',
    ]
