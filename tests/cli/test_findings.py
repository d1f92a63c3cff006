"""``stonelayout findings``: the registry of codes, told to the owner of a shop."""

import json
import re

import pytest
from click.testing import CliRunner

from stonelayout.cli import group, main
from stonelayout.finding_codes import CODES_BY_STEP, FINDING_CODES


def printed(*args, columns=80):
    run = CliRunner(env={"COLUMNS": str(columns)}).invoke(group, ["findings", *args])
    assert run.exit_code == 0, run.output
    return run.output


@pytest.mark.parametrize("columns", [40, 80, 100, 300])
def test_the_table_has_every_code_with_severity_and_meaning_and_fits_the_terminal(columns):
    text = printed(columns=columns)
    assert max(map(len, text.splitlines())) <= max(min(columns, 100), 53)
    assert [line for line in text.splitlines() if line in CODES_BY_STEP] == list(CODES_BY_STEP)
    rows = re.split(r"\n  (?=[a-z])", text)[1:]
    assert len(rows) == len(FINDING_CODES)
    for row in rows:
        code = FINDING_CODES[row.split()[0]]
        words = row.split("\n\n")[0].split()[1:]
        severities = [word for word in words if word in code.severities]
        assert severities[: len(code.severities)] == list(code.severities)
        for severity in code.severities:
            words.remove(severity)
        assert words == code.meaning.split()


def test_json_has_all_fields_of_every_code():
    data = json.loads(printed("--format", "json"))
    assert data["version"] == 1
    assert {entry["code"]: entry for entry in data["findings"]} == {
        code.name: {
            "code": code.name,
            "severities": list(code.severities),
            "step": step,
            "meaning": code.meaning,
            "remedy": code.remedy,
        }
        for step, codes in CODES_BY_STEP.items()
        for code in codes
    }
    (one,) = json.loads(printed("tear-line", "--format", "json"))["findings"]
    assert one["remedy"] == FINDING_CODES["tear-line"].remedy


@pytest.mark.parametrize("given", ["web-too-thin", "[web-too-thin]", "Web-Too-Thin"])
def test_one_code_is_explained_as_it_is_copied_from_a_finding(given):
    text = " ".join(printed(given).split())
    code = FINDING_CODES["web-too-thin"]
    assert text.startswith("web-too-thin: error (do not cut")
    assert f"What it means: {code.meaning}" in text
    assert f"What to do: {code.remedy}" in text
    assert text.endswith("Found when: checking the template")


def test_an_unknown_code_gets_the_nearest_and_exit_code_2(capsys):
    with pytest.raises(SystemExit) as end:
        main(["findings", "tear-line", "web-to-thin"])
    assert end.value.code == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith('error: unknown finding "web-to-thin"; did you mean web-too-thin')


@pytest.mark.parametrize("name", ["check", "cut", "make", "lay", "jobsheet"])
def test_commands_that_print_findings_point_here(name):
    text = CliRunner().invoke(group, [name, "--help"]).output
    assert "stonelayout findings" in text
