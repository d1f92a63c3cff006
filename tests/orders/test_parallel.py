"""Many at once: the same bytes in any way of running, deaths and interrupts survived."""

import os
import signal
import subprocess
import sys
import time

import pytest
from paths import ROOT

pytest.importorskip("joblib")

from stonelayout.orders.names_run import known, read_record
from stonelayout.orders.parallel import run_all

JOB = """
[names]
file = "list.csv"
[[text]]
words = "{name}"
height = "18 mm"
[[lay]]
pick = { all = true }
stone = "ss6"
colour = "jet"
pattern = "edge"
"""
NAMES = ["Ada", "Zoë", "Łuk", "Ильза", "Ωλη"]


def square(x):
    return x * x


def die_on_three(x):
    """Kill the worker at 3."""
    if x == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.05)
    return x


def environment():
    folders = (ROOT, ROOT / "tests", ROOT / "tests" / "orders")
    return {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, folders))}


def script(text, *arguments, **options):
    """Run Python in a process of its own: workers must never be those of the test run."""
    return subprocess.run(
        [sys.executable, "-c", text, *arguments],
        env=environment(),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        **options,
    )


def test_one_process_does_few_tasks_in_order():
    assert list(run_all(square, [2, 3], 8)) == [(0, 4), (1, 9)]
    assert list(run_all(square, [5] * 4, 1)) == [(k, 25) for k in range(4)]
    assert list(run_all(square, [])) == []


def test_a_worker_that_dies_loses_only_its_own_task():
    run = script(
        "from test_parallel import *\n"
        "from stonelayout.orders.parallel import Died\n"
        "told = []\n"
        "got = dict(run_all(die_on_three, list(range(8)), 2, died=told.append))\n"
        "assert sorted(got) == list(range(8)), got\n"
        "assert isinstance(got.pop(3), Died)\n"
        "assert got == {k: k for k in got}, got\n"
        "assert len(told) == 1 and told[0] >= 1\n"
    )
    assert run.returncode == 0, run.stderr


def test_no_scheduler_is_said_plainly():
    pytest.importorskip("distributed")
    run = script(
        "from test_parallel import *\n"
        "from stonelayout.orders import parallel\n"
        "from stonelayout.errors import InputError\n"
        "parallel.CONNECT_SECONDS = 1\n"
        "try: list(run_all(square, [1, 2, 3], cluster='tcp://127.0.0.1:9'))\n"
        "except InputError as error: print(error)\n"
    )
    assert "no Dask scheduler answers at tcp://127.0.0.1:9" in run.stdout, run.stderr


def folder(tmp_path, names=NAMES):
    (tmp_path / "choir.toml").write_text(JOB, encoding="utf-8")
    (tmp_path / "list.csv").write_text("\n".join(["name", *names, ""]), encoding="utf-8")
    return tmp_path


def command(root, out, *options):
    arguments = ["make", str(root / "choir.toml"), "--out", str(root / out), "-q", *options]
    return [sys.executable, "-m", "stonelayout", *arguments]


def make(root, out, *options):
    run = subprocess.run(
        command(root, out, *options),
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    return run, contents(root / out)


def contents(root):
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    pytest.importorskip("HersheyFonts")
    root = folder(tmp_path_factory.mktemp("alone"))
    return make(root, "out", "--workers", "1")[1]


def test_resumed_and_in_parallel_the_same_bytes(tmp_path, alone):
    root = folder(tmp_path, NAMES[:2])
    make(root, "out", "--workers", "1")
    folder(tmp_path)
    run, got = make(root, "out", "--workers", "2")
    assert "2 of 5 are there already" in run.stderr
    assert got == alone


def test_on_a_cluster_of_two_workers_the_same_bytes(tmp_path, alone):
    pytest.importorskip("distributed")
    root = folder(tmp_path)
    run = script(
        "import sys\n"
        "from distributed import LocalCluster\n"
        "from stonelayout.cli import group\n"
        "if __name__ == '__main__':\n"
        "    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None,\n"
        "                      processes=False) as cluster:\n"
        "        code = group.main(sys.argv[1:] + ['--cluster', cluster.scheduler_address],\n"
        "                          standalone_mode=False)\n"
        "    sys.exit(code)\n",
        *command(root, "out")[3:],
        cwd=ROOT,
    )
    assert run.returncode == 0, run.stderr
    assert contents(root / "out") == alone


@pytest.mark.skipif(sys.platform == "win32", reason="sends a POSIX signal")
def test_ctrl_c_stops_cleanly_and_the_next_run_goes_on(tmp_path):
    pytest.importorskip("HersheyFonts")
    names = [f"Ada {first}{second}" for first in "ABCDEF" for second in "ghijklmnop"]
    root = folder(tmp_path, names)
    with subprocess.Popen(
        command(root, "out", "--workers", "2"),
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as run:
        until = time.monotonic() + 100
        while not list(root.glob("out/*/made.json")) and time.monotonic() < until:
            time.sleep(0.02)
        os.killpg(run.pid, signal.SIGINT)
        _, words = run.communicate(timeout=60)
    assert run.returncode == 130, words
    assert "stopped" in words
    assert not list(root.rglob("*.part"))
    whole = [path.parent for path in root.glob("out/*/made.json")]
    assert 0 < len(whole) < len(names)
    for place in whole:
        assert known(place, read_record(place)["key"]) is not None
