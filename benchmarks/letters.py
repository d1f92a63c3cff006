"""Names lists: time a name, speed-up on two cores, memory per worker, the same bytes.

python benchmarks/letters.py [NAMES]     (40 names of 8 letters unless said; 1000 takes minutes)

Each name gets everything that ``make`` writes: proofs, layers, papers. Times are of this machine
and this run: compare the ratios.
"""

from __future__ import annotations

import hashlib
import itertools
import platform
import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from stonelayout.catalogue import load_catalogue
from stonelayout.lettering.fonts import find_font
from stonelayout.many import run_all
from stonelayout.names import Entry
from stonelayout.namesrun import Done, Task, make_line

OUTLINE = "DejaVu Sans Bold"
JOB = """
[names]
file = "names.csv"
[[text]]
words = "{{name}}"
face = "{face}"
height = "34 mm"
width = "280 mm"
[[lay]]
pick = {{ all = true }}
stone = "ss6"
colour = "crystal"
pattern = "edge"
"""


def invented(count: int) -> list[str]:
    """Return names of 8 letters that nobody has."""
    parts = itertools.product(("Mar", "Tol", "Rin", "Sev", "Hal", "Bri"), "aeiou", ("nd", "lv", "rs", "mt"),
                              ("ia", "on", "el", "is", "ur"), "kx")  # fmt: skip
    names = sorted("".join(part)[:8] for part in parts)
    return [
        names[(k * 7) % len(names)] + (str(k // len(names)) * (k >= len(names)))
        for k in range(count)
    ]


def tasks_for(face: str, count: int) -> list[Task]:
    """Return the tasks of a list."""
    catalogue = load_catalogue()
    job = JOB.format(face=face)
    return [
        Task(job, "names.toml", Entry(k, {"name": name}, name), catalogue)
        for k, name in enumerate(invented(count), start=2)
    ]


def measured(task: Task) -> tuple[Done, int]:
    """Make a line in a worker; tell the worker's peak memory in KiB too."""
    done = make_line(task)
    return done, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def run(tasks: Sequence[Task], workers: int) -> tuple[float, str, int, int]:
    """Return seconds, a hash of all files, stones, and the largest memory of a process in KiB."""
    start = time.perf_counter()
    results = dict(run_all(measured, tasks, workers))
    seconds = time.perf_counter() - start
    total, stones, memory = hashlib.sha256(), 0, 0
    for k in sorted(results):
        done, kib = results[k]
        assert not done.error, done.error
        for name, data in sorted(done.files.items()):
            total.update(name.encode() + data)
        stones += sum(done.record["stones"].values())
        memory = max(memory, kib)
    return seconds, total.hexdigest(), stones, memory


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print(
        f"{platform.python_implementation()} {platform.python_version()}, {count} names of 8 letters"
    )
    print(
        f"{'face':18}{'workers':>8}{'s':>9}{'ms/name':>9}{'speed-up':>9}{'stones':>8}{'MiB/worker':>11}"
    )
    for face in ("plain", OUTLINE):
        if face == OUTLINE:
            find_font(face, Path(tempfile.gettempdir()))
        tasks = tasks_for(face, count)
        make_line(tasks[0])  # imports and fonts, as in a worker's second name
        alone, both = run(tasks, 1), run(tasks, 2)
        assert alone[1] == both[1], "not the same bytes"
        for workers, (seconds, _, stones, memory) in ((1, alone), (2, both)):
            print(
                f"{face:18}{workers:>8}{seconds:>9.1f}{1000 * seconds / count:>9.0f}"
                f"{alone[0] / seconds:>9.2f}{stones:>8}{memory / 1024:>11.0f}"
            )


if __name__ == "__main__":
    main()
