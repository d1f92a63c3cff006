"""Names lists: time a name, speed-up on two cores, memory per worker, the same bytes.

python benchmarks/letters.py [NAMES [FACE ...]]   (40 unless said; 1000 take minutes)

Each name gets everything that ``make`` writes: proofs, layers, papers. Times are of this machine
and this run: compare the ratios.
"""

from __future__ import annotations

import hashlib
import itertools
import platform
import resource
import sys
import time
from collections.abc import Sequence

from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.names import Entry
from stonelayout.orders.names_run import Done, Task, make_line
from stonelayout.orders.parallel import run_all

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
    first = ("Mar", "Tol", "Rin", "Sev", "Hal", "Bri", "Osk")
    second = ("nd", "lv", "rs", "mt")
    last = ("ia", "on", "el", "is", "ur")
    parts = itertools.product(first, "aeiou", second, last, "kx")
    names = sorted("".join(part)[:8] for part in parts)
    assert count <= len(names)
    return names[:: len(names) // count][:count]


def tasks_for(face: str, count: int) -> list[Task]:
    """Return the tasks of a list."""
    catalogue = load_catalogue()
    job = JOB.format(face=face)
    return [
        Task(job, "names.toml", Entry(k, {"name": name}, name), catalogue)
        for k, name in enumerate(invented(count), start=2)
    ]


def measured(task: Task) -> tuple[Done, float, int]:
    """Make a line in a worker; tell its seconds of computing and the peak memory in KiB too."""
    start = time.process_time()
    done = make_line(task)
    return done, time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def run(tasks: Sequence[Task], workers: int) -> tuple[float, float, str, int, int]:
    """Return seconds, seconds of computing, a hash of all files, stones, most memory in KiB."""
    start = time.perf_counter()
    results = dict(run_all(measured, tasks, workers))
    seconds = time.perf_counter() - start
    total, stones, memory, cpu = hashlib.sha256(), 0, 0, 0.0
    for k in sorted(results):
        done, own, kib = results[k]
        assert not done.error, done.error
        for name, data in sorted(done.files.items()):
            total.update(name.encode() + data)
        cpu += own
        stones += sum(done.record["stones"].values())
        memory = max(memory, kib)
    return seconds, cpu, total.hexdigest(), stones, memory


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print(f"Python {platform.python_version()}, {count} names of 8 letters")
    faces = sys.argv[2:] or ["plain", OUTLINE]
    heads = ("workers", "s", "ms/name", "cpu/name", "speed-up", "stones", "MiB")
    print(f"{'face':18}" + "".join(f"{head:>9}" for head in heads))
    for face in faces:
        tasks = tasks_for(face, count)
        make_line(tasks[0])  # imports and fonts, as in a worker's second name
        alone, both = run(tasks, 1), run(tasks, 2)
        assert alone[2] == both[2], "not the same bytes"
        for workers, (seconds, cpu, _, stones, memory) in ((1, alone), (2, both)):
            row = (workers, seconds, 1000 * seconds / count, 1000 * cpu / count)
            rest = (alone[0] / seconds, stones, memory / 1024)
            print(f"{face:18}" + "".join(f"{value:>9.5g}" for value in (*row, *rest)))


if __name__ == "__main__":
    main()
