"""Kill commands at random moments: the next run must leave one whole set, and nothing else.

Run: PYTHONPATH=. python benchmarks/kills.py [--count 60] [--seed 0]

Each command is run into a folder that holds another set, and stopped by KILL, TERM or INT after a
random share of the time that it takes. Then another run of it must leave exactly what it leaves in
an empty folder; before that, the layers there are all of the former set, all of the new, or told as
unfinished.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from stonelayout.file_sets import WORK, unfinished

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
#: Each command's words for a former and a new set; {} is the folder.
COMMANDS = {
    "make": ("make choir-notes.toml --out {}", "make swim-star.toml --out {}"),
    "cut": ("cut notes.json --out {} --as svg,dxf", "cut star.json --out {} --as svg,dxf"),
    "names": (
        "make three.toml --out {} --workers 1",
        "make two.toml --out {} --workers 1",
    ),
    "roll": ("roll notes.json:6 --out {}", "roll star.json:2 --out {}"),
}


def start(words: str, folder: Path, place: Path) -> subprocess.Popen[bytes]:
    """Start a command in a folder of examples."""
    return subprocess.Popen(
        [sys.executable, "-m", "stonelayout", *words.format(place).split()],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def held(place: Path) -> dict[str, bytes]:
    """Return every file below a place."""
    files = (path for path in place.rglob("*") if path.is_file())
    return {path.relative_to(place).as_posix(): path.read_bytes() for path in files}


def prepared(home: Path) -> Path:
    """Return a copy of the examples with two layouts and two short lists of names."""
    folder = home / "examples"
    shutil.copytree(EXAMPLES, folder)
    for job, name in (("choir-notes", "notes"), ("swim-star", "star")):
        assert start(f"make {job}.toml --out {{}}", folder, home / name).wait() == 0
        shutil.copy(home / name / "layout.json", folder / f"{name}.json")
    rows = (folder / "choir-names.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    job_text = (folder / "choir-names.toml").read_text(encoding="utf-8")
    for name, lines in (("three", rows[:4]), ("two", [rows[0], rows[2], rows[4]])):
        (folder / f"{name}.csv").write_text("".join(lines), encoding="utf-8")
        text = job_text.replace("choir-names.csv", f"{name}.csv")
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    source = random.Random(options.seed)  # noqa: S311 - seeded, so that a run comes again
    home = Path(tempfile.mkdtemp())
    try:
        folder = prepared(home)
        print("command  kills  former  new  unfinished  of a list  after the next run")
        for name, (former, new) in COMMANDS.items():
            wholes = []
            for words in (former, new):
                begin = time.monotonic()
                assert start(words, folder, home / f"{name}-{len(wholes)}").wait() in (0, 1)
                took = time.monotonic() - begin
                wholes.append(held(home / f"{name}-{len(wholes)}"))
            seen: Counter[str] = Counter()
            for k in range(options.count):
                place = home / f"{name}-kill-{k}"
                shutil.copytree(home / f"{name}-0", place)
                run = start(new, folder, place)
                time.sleep(source.uniform(0.3, 1.05) * took)
                run.send_signal(SIGNALS[k % len(SIGNALS)])
                run.wait()
                now = {n: d for n, d in held(place).items() if not n.startswith(f"{WORK}/")}
                if unfinished(place):
                    seen["unfinished"] += 1
                elif now in wholes:
                    seen["former" if now == wholes[0] else "new"] += 1
                else:
                    assert name == "names", f"{name}: a mixed set, {sorted(now)}"
                    seen["of a list"] += 1  # each line is a set of its own
                assert start(new, folder, place).wait() in (0, 1)
                assert held(place) == wholes[1], f"{name}: {set(held(place)) ^ set(wholes[1])}"
                shutil.rmtree(place)
            row = [seen[key] for key in ("former", "new", "unfinished", "of a list")]
            print(
                f"{name:7} {options.count:6} {row[0]:7} {row[1]:4} {row[2]:11} {row[3]:10}  whole"
            )
    finally:
        shutil.rmtree(home)


if __name__ == "__main__":
    main()
