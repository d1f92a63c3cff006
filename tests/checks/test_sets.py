"""Whether all templates of a folder belong together."""

import json

import pytest
from click.testing import CliRunner
from paths import EXAMPLES

from stonelayout import load_job
from stonelayout.checks.sets import check_set, sets_in, templates_in
from stonelayout.cli import group
from stonelayout.errors import InputError
from stonelayout.file_sets import RECORD, WORK


@pytest.fixture
def star(tmp_path):
    load_job(EXAMPLES / "swim-star.toml").make().write(tmp_path / "star")
    return tmp_path / "star"


def check(*words):
    result = CliRunner().invoke(group, ["check", *map(str, words)], standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.return_value, result.output


def codes(folder):
    return [(finding.code, finding.severity) for finding in check_set(folder)]


def test_a_whole_set_is_ready(star):
    assert codes(star) == []
    code, text = check(star)
    assert code == 0
    assert "01-ss6-turquoise.svg: 121 holes" in text
    assert text.endswith("no errors: ready for a trial cut\n")


def test_a_layer_of_another_set_is_told_and_not_judged_with_the_others(star):
    (star / "03-ss20-red.svg").write_bytes((star / "01-ss6-turquoise.svg").read_bytes())
    assert codes(star) == [("set-mixed", "error")]
    code, text = check(star)
    assert code == 1
    assert "03-ss20-red.svg: of another set: do not cut them together [set-mixed]" in text
    assert "stones-touch" not in text


def test_files_gone_or_changed_are_told(star):
    (star / "02-ss16-silver.svg").unlink()
    (star / "quote.txt").write_text("by hand", encoding="utf-8")
    assert codes(star) == [("set-incomplete", "error"), ("set-changed", "warning")]
    assert check(star)[0] == 1


def test_a_run_that_stopped_between_two_sets_is_told(star):
    (star / WORK).mkdir()
    (star / WORK / "journal.json").write_text("{}", encoding="utf-8")
    assert codes(star) == [("set-unfinished", "error")]


def test_a_folder_without_a_record_is_told(star):
    (star / RECORD).unlink()
    assert codes(star) == [("set-not-known", "warning")]
    assert check(star)[0] == 0


def test_a_folder_of_sets_is_checked_one_by_one(star, tmp_path):
    load_job(EXAMPLES / "choir-notes.toml").make().write(tmp_path / "notes")
    (tmp_path / "papers").mkdir()
    assert sets_in(tmp_path) == [tmp_path / "notes", star]
    (star / "02-ss16-silver.svg").unlink()
    code, text = check(tmp_path, "--format", "json")
    assert code == 1
    sets = json.loads(text)["sets"]
    assert [(one["folder"], len(one["layers"])) for one in sets] == [
        (str(tmp_path / "notes"), 2),
        (str(star), 1),
    ]
    assert "set-incomplete" in {finding["code"] for finding in sets[1]["findings"]}


def test_tiles_are_sets_of_layers_of_their_own(tmp_path):
    for name in ("tile-2of2-01-ss6-red.svg", "tile-1of2-02-ss10-red.svg", "panel-01.svg",
                 "tile-1of2-01-ss6-red.svg", "tile-1of2-01-ss6-red.dxf"):  # fmt: skip
        (tmp_path / name).write_text("", encoding="utf-8")
    assert [[path.name for path in tile] for tile in templates_in(tmp_path)] == [
        ["tile-1of2-01-ss6-red.svg", "tile-1of2-02-ss10-red.svg"],
        ["tile-2of2-01-ss6-red.svg"],
    ]


def test_what_is_no_folder_of_templates(star, tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="holds no templates, such as 01-ss6-crystal"):
        check(tmp_path / "empty")
    with pytest.raises(Exception, match="check one folder alone"):
        check(star, star / "layout.json")
