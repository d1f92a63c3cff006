"""What the README promises is run here."""

import contextlib
import io
import re
import shutil
import subprocess
import sys

import pytest
from paths import EXAMPLES, ROOT

import stonelayout
from stonelayout.cli import COMMANDS

README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, re.DOTALL)


def test_it_opens_with_the_job_in_one_paragraph():
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# stonelayout"
    assert paragraph.startswith("stonelayout does")


def test_the_first_two_blocks_are_the_whole_set_up():
    kinds, blocks = zip(*BLOCKS[:2], strict=True)
    assert kinds == ("sh", "sh")
    assert [block.strip().count("\n") for block in blocks] == [0, 0]
    assert blocks[0].startswith("python -m pip install . && stonelayout make examples/")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert blocks[1].strip() in ci


def test_the_example_job_is_the_main_job(tmp_path):
    words = BLOCKS[0][1].split("&& stonelayout ")[1].split()
    run = subprocess.run(
        [sys.executable, "-m", "stonelayout", *words[:-1], str(tmp_path / "out")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr + run.stdout
    assert (tmp_path / "out" / "proof.html").is_file()


def run_python(code, title, folder, monkeypatch):
    """Run a program beside a copy of the examples; return what it prints."""
    shutil.copytree(EXAMPLES, folder / "examples")
    monkeypatch.chdir(folder)
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(code, title, "exec"), {})  # noqa: S102 - our own documents
    return printed.getvalue()


@pytest.mark.parametrize("code", [text for kind, text in BLOCKS if kind == "python"])
def test_python_examples_run(code, monkeypatch, tmp_path):
    printed = run_python(code, "README.md", tmp_path, monkeypatch)
    assert "holes of" in printed
    assert (tmp_path / "out" / "star" / "proof.html").is_file()


COOKBOOK = (EXAMPLES / "cookbook.md").read_text(encoding="utf-8")
RECIPES = re.findall(r"## (.*?)\n.*?```python\n(.*?)```", COOKBOOK, re.DOTALL)


@pytest.mark.parametrize(("title", "code"), RECIPES, ids=[title for title, _ in RECIPES])
def test_recipes_run(title, code, monkeypatch, tmp_path):
    assert run_python(code, title, tmp_path, monkeypatch)


def test_the_doors_of_the_house_are_there():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    doors = text.split("## One door for each change")[1].split("\n## ")[0]
    named = re.findall(r"`(stonelayout/[\w/.]+)`", doors)
    assert len(named) > 12
    assert [name for name in named if not (ROOT / name).is_file()] == []


def test_every_command_is_named():
    missing = [name for name in COMMANDS if f"stonelayout {name}" not in README]
    assert missing == []


def test_public_names_are_there():
    assert sorted(stonelayout.__all__) == sorted([*stonelayout._HOMES, "__version__"])
    for name in stonelayout.__all__:
        assert getattr(stonelayout, name).__doc__
    with pytest.raises(AttributeError, match="no attribute 'polish'"):
        _ = stonelayout.polish
