"""What the README promises is run here."""

import contextlib
import io
import re
import subprocess
import sys

import pytest
from paths import ROOT

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


@pytest.mark.parametrize("code", [text for kind, text in BLOCKS if kind == "python"])
def test_python_examples_run(code, monkeypatch):
    monkeypatch.chdir(ROOT)
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(code, "README.md", "exec"), {})  # noqa: S102 - the README's own example
    assert "holes of" in printed.getvalue()


def test_every_command_is_named():
    missing = [name for name in COMMANDS if f"stonelayout {name}" not in README]
    assert missing == []


def test_public_names_are_there():
    assert sorted(stonelayout.__all__) == sorted([*stonelayout._HOMES, "__version__"])
    for name in stonelayout.__all__:
        assert getattr(stonelayout, name).__doc__
    with pytest.raises(AttributeError, match="no attribute 'polish'"):
        _ = stonelayout.polish
