"""A job file loaded, made and written by a program: the files are those of the command."""

import csv
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from paths import EXAMPLES

from stonelayout.cli import group
from stonelayout.errors import CatalogueError, InputError, JobError
from stonelayout.file_sets import RECORD
from stonelayout.make import Made
from stonelayout.orders.job_files import load_job

STAR = EXAMPLES / "swim-star.toml"
CHOIR = EXAMPLES / "choir-names.toml"


def contents(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(Path(folder).rglob("*"))
        if path.is_file()
    }


def choir(folder, lines=3):
    """Put the choir's job into a folder, with the first few lines of its list."""
    folder.mkdir()
    for name in ("choir-names.toml", "choir-notes.svg"):
        shutil.copy(EXAMPLES / name, folder)
    rows = (EXAMPLES / "choir-names.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (folder / "choir-names.csv").write_text("".join(rows[: lines + 1]), encoding="utf-8")
    return folder / CHOIR.name


def test_a_job_writes_what_the_command_writes(tmp_path):
    shown = CliRunner().invoke(group, ["make", str(STAR), "--out", str(tmp_path / "shell")])
    told = []
    made = load_job(STAR).make(lambda *step: told.append(step))
    made.write(tmp_path / "program")
    assert contents(tmp_path / "program") == contents(tmp_path / "shell")
    assert isinstance(made, Made)
    assert len(made.layout)
    assert {*made.files, RECORD} == set(contents(tmp_path / "program"))
    assert shown.exit_code == int(any(f.severity == "error" for f in made.findings))
    done, total, _ = told[-1]
    assert done == total


def test_files_of_a_former_job_are_deleted_and_others_stay(tmp_path):
    load_job(EXAMPLES / "choir-notes.toml").make().write(tmp_path)
    former = set(contents(tmp_path))
    (tmp_path / "letter.txt").write_text("not ours")
    made = load_job(STAR).make()
    made.write(tmp_path)
    assert former - set(made.files)
    assert set(contents(tmp_path)) == {*made.files, RECORD, "letter.txt"}


def test_a_names_list_writes_what_the_command_writes(tmp_path):
    pytest.importorskip("HersheyFonts")
    job = choir(tmp_path / "job")
    result = CliRunner().invoke(group, ["make", str(job), "--out", str(tmp_path / "shell")])
    assert result.exit_code == 0, result.output
    made = load_job(job).make(workers=1)
    assert [line.design.lines for line in made.lines.values()] == [[2], [3], [4]]
    order = made.write(tmp_path / "program")
    assert contents(tmp_path / "program") == contents(tmp_path / "shell")
    assert [design["folder"] for design in order["designs"]] == [
        line.design.folder for line in made.lines.values()
    ]
    assert not made.errors
    assert not made.notes


def test_lines_made_into_a_folder_are_kept_and_lines_gone_are_deleted(tmp_path):
    pytest.importorskip("HersheyFonts")
    job, out = choir(tmp_path / "job"), tmp_path / "out"
    first = load_job(job).make(into=out, workers=1)
    assert all(line.files is None for line in first.lines.values())
    gone = first.write(out)["designs"][2]["folder"]
    text = (tmp_path / "job" / "choir-names.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(text.splitlines()))
    (tmp_path / "job" / "choir-names.csv").write_text(
        "".join(text.splitlines(keepends=True)[:3]), encoding="utf-8"
    )
    told = []
    again = load_job(job).make(into=out, workers=1, tell=told.append)
    assert len(again.lines) == len(rows) - 2
    with pytest.raises(InputError, match="were made into"):
        again.write(tmp_path / "elsewhere")
    again.write(out)
    assert not (out / gone).exists()
    assert (
        told
        == again.notes
        == [
            "2 of 2 are there already, made from the same",
            f"{gone}: no longer in the list, its files are deleted",
        ]
    )


@pytest.mark.parametrize(
    ("name", "text", "error", "words"),
    [
        ("job.toml", "[sheet]\nuse = 3\n", JobError, "missing: at least one"),
        ("job.toml", "<svg/>", InputError, "stonelayout lay"),
        ("none.toml", None, InputError, "no such file"),
    ],
)
def test_what_is_no_job_is_refused(tmp_path, name, text, error, words):
    if text is not None:
        (tmp_path / name).write_text(text)
    with pytest.raises(error, match=words):
        load_job(tmp_path / name)


def test_a_catalogue_is_laid_over_the_users_own(tmp_path, monkeypatch):
    own, further = tmp_path / "own.toml", tmp_path / "further.toml"
    row = '[sheet.{}]\nbase = "thin-flock"\nmeasured = true\n'
    own.write_text(row.format("bench-flock"))
    further.write_text('[sheet.window-flock]\nbase = "bench-flock"\n')
    for name in ("swim-star.toml", "swim-star.svg"):
        shutil.copy(EXAMPLES / name, tmp_path)
    monkeypatch.setenv("STONELAYOUT_CATALOGUE", str(own))
    loaded = load_job(tmp_path / "swim-star.toml", [further])
    assert {"bench-flock", "window-flock"} <= set(loaded.job.catalogue.sheets)
    monkeypatch.delenv("STONELAYOUT_CATALOGUE")
    with pytest.raises(CatalogueError, match="bench-flock"):
        load_job(tmp_path / "swim-star.toml", [further])
