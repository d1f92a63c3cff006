"""Ctrl-C in the middle of a long fill: a real signal to a real process on a terminal."""

import math
import os
import signal
import subprocess
import sys

import pytest

pty = pytest.importorskip("pty")
TIPS = " ".join(
    f"{120 + r * math.sin(k * math.pi / 5):.3f},{120 - r * math.cos(k * math.pi / 5):.3f}"
    for k, r in enumerate([110, 47] * 5)
)
STAR = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="240mm" height="240mm" viewBox="0 0 240 240">'
    '<rect id="{first}" width="3" height="3"/>{star}</svg>'
)
PENNANT = f'<polygon id="pennant" points="{TIPS}"/>'
JOB = """\
[artwork]
file = "art.svg"

[[lay]]
pick = { all = true }
stone = "ss6"
colour = "crystal"
pattern = "even"
quality = "best"
"""


def start(folder, *arguments):
    """Start the command with its standard error on a new terminal; return it and our end."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "stonelayout", *arguments],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        start_new_session=True,
    )
    os.close(theirs)
    return process, ours


def shown(terminal, until=None):
    """Read what a terminal shows, to the end or until it holds a text."""
    seen = b""
    try:
        while until is None or until not in seen:
            seen += os.read(terminal, 1024)
    except OSError:
        pass  # the last program has left the terminal
    if until is None:
        os.close(terminal)
    return seen


@pytest.mark.parametrize("former", [False, True])
def test_interrupt_in_a_long_fill_leaves_everything_as_it_was(tmp_path, former):
    (tmp_path / "art.svg").write_text(STAR.format(first="flag", star=PENNANT))
    (tmp_path / "job.toml").write_text(JOB)
    if former:
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "report.json").write_text("kept")
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    process, terminal = start(tmp_path, "make", "job.toml", "--out", "out")
    assert b"laying 2/2  pennant" in shown(terminal, b"pennant")
    process.send_signal(signal.SIGINT)
    rest = shown(terminal)
    assert process.wait(timeout=60) == 130
    assert b"stopped" in rest
    assert b"Traceback" not in rest
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


def test_progress_is_cleared_and_only_on_a_terminal(tmp_path):
    (tmp_path / "art.svg").write_text(STAR.format(first="flag", star=""))
    (tmp_path / "job.toml").write_text(JOB.replace("best", "draft"))
    process, terminal = start(tmp_path, "make", "job.toml", "--out", "out")
    seen = shown(terminal)
    assert process.wait(timeout=60) == 0
    line = b"laying 1/1  flag"
    assert seen.startswith(b"\r" + line + b"\r" + b" " * len(line) + b"\r")
    piped = subprocess.run(
        [sys.executable, "-m", "stonelayout", "make", "job.toml", "--out", "out"],
        cwd=tmp_path,
        capture_output=True,
        check=True,
    )
    assert b"laying" not in piped.stderr
