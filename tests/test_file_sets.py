"""A folder holds one set of files or none, whatever stops a run."""

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from paths import ROOT

from stonelayout.errors import InputError, VerificationError
from stonelayout.file_sets import RECORD, WORK, Written, locked, read_record, unfinished, write_set

OLD = {"01-a.svg": "old a", "02-b.svg": "old b", "03-c.svg": "old c", "sub/d.txt": "old d"}
NEW = {"01-a.svg": "new a", "02-b.svg": "new b", "04-e.svg": "new e", "more/f.txt": "new f"}


def held(folder):
    """Return every file below a folder, but the record, by name."""
    return {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8")
        for path in Path(folder).rglob("*")
        if path.is_file() and path.name != RECORD
    }


def test_a_set_takes_the_place_of_the_former(tmp_path):
    assert write_set(tmp_path, OLD, "make") == Written()
    assert held(tmp_path) == OLD
    assert set(read_record(tmp_path)) == set(OLD)
    assert write_set(tmp_path, NEW, "make") == Written()
    assert held(tmp_path) == NEW
    assert not (tmp_path / "sub").exists()
    assert not (tmp_path / WORK).exists()


def test_files_of_the_user_stay(tmp_path):
    write_set(tmp_path, OLD, "make")
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "03-c.svg").write_text("by hand", encoding="utf-8")
    (tmp_path / "02-b.svg").write_text("by hand too", encoding="utf-8")
    assert write_set(tmp_path, NEW, "make") == Written(kept=("03-c.svg",), replaced=("02-b.svg",))
    assert held(tmp_path) == {**NEW, "notes.txt": "mine", "03-c.svg": "by hand"}


def test_a_set_of_before_the_record_is_told_and_left(tmp_path):
    (tmp_path / "03-c.svg").write_text("c", encoding="utf-8")
    assert write_set(tmp_path, NEW, "make", former=["03-c.svg", "gone.svg"]).kept == ("03-c.svg",)


@pytest.mark.parametrize("name", ["/etc/x", "../x", "a/../../x", "..", "a\\..\\x"])
def test_a_record_never_leads_out_of_its_folder(tmp_path, name):
    outside = tmp_path / "x"
    outside.write_text("mine", encoding="utf-8")
    inside = tmp_path / "in"
    write_set(inside, OLD, "make")
    record = json.loads((inside / RECORD).read_text(encoding="utf-8"))
    record["files"][name] = "0" * 64
    (inside / RECORD).write_text(json.dumps(record), encoding="utf-8")
    assert name not in read_record(inside)
    write_set(inside, NEW, "make")
    assert outside.read_text(encoding="utf-8") == "mine"
    with pytest.raises(InputError, match="leads out of the folder"):
        write_set(inside, {name: "x"}, "make")


@pytest.mark.parametrize(
    "journal", ["{", "{}", '{"files": ["../x"], "stale": []}', '{"files": [7], "stale": []}']
)
def test_a_journal_that_cannot_be_followed_is_told_and_nothing_is_lost(tmp_path, journal):
    folder = tmp_path / "out"
    write_set(folder, OLD, "make")
    (folder / WORK / "new").mkdir(parents=True)
    (folder / WORK / "new" / "01-a.svg").write_text("staged", encoding="utf-8")
    (folder / WORK / "journal.json").write_text(journal, encoding="utf-8")
    with pytest.raises(InputError, match="an earlier run stopped here and cannot be finished"):
        write_set(folder, NEW, "make")
    assert {name: text for name, text in held(folder).items() if WORK not in name} == OLD
    assert (folder / WORK / "new" / "01-a.svg").read_text(encoding="utf-8") == "staged"


def test_links_devices_and_sources_are_refused(tmp_path):
    (tmp_path / "art.svg").write_text("art", encoding="utf-8")
    (tmp_path / "out").mkdir()
    (tmp_path / "else").mkdir()
    for make, words in (
        (lambda place: place.symlink_to(tmp_path / "art.svg"), "a link of that name"),
        (lambda place: place.mkdir(), "a folder of that name"),
        (os.mkfifo, "a device of that name"),
        (lambda place: place.hardlink_to(tmp_path / "art.svg"), "what the job is made from"),
    ):
        place = tmp_path / "out" / "01-a.svg"
        make(place)
        with pytest.raises(InputError, match=words):
            write_set(tmp_path / "out", NEW, "make", protect=[tmp_path / "art.svg"])
        place.rmdir() if place.is_dir() and not place.is_symlink() else place.unlink()
    (tmp_path / "out" / "more").symlink_to(tmp_path / "else")
    with pytest.raises(InputError, match="a linked folder stands in the way"):
        write_set(tmp_path / "out", NEW, "make")
    assert held(tmp_path) == {"art.svg": "art"}
    with pytest.raises(InputError, match="name is empty"):
        write_set("", NEW, "make")


def test_nothing_is_written_when_the_check_fails(tmp_path):
    write_set(tmp_path, OLD, "make")

    def check(read):
        assert read == {name: text.encode() for name, text in NEW.items()}
        raise VerificationError("not as meant")

    with pytest.raises(VerificationError):
        write_set(tmp_path, NEW, "make", check)
    assert held(tmp_path) == OLD
    with pytest.raises(VerificationError):
        write_set(tmp_path / "fresh", NEW, "make", check)
    assert not (tmp_path / "fresh").exists()


@pytest.mark.parametrize("stuck", [*NEW, "03-c.svg"])
def test_a_file_that_cannot_be_replaced_leaves_the_former_set(tmp_path, monkeypatch, stuck):
    write_set(tmp_path, OLD, "make")
    real = Path.replace

    def replace(self, target):
        if Path(target) == tmp_path / stuck or self == tmp_path / stuck:
            raise PermissionError(13, "Permission denied", str(self), None, str(target))
        return real(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", replace)
        with pytest.raises(InputError, match="cannot replace: Permission denied"):
            write_set(tmp_path, NEW, "make")
    assert held(tmp_path) == OLD
    assert not unfinished(tmp_path)
    write_set(tmp_path, NEW, "make")
    assert held(tmp_path) == NEW


def test_two_runs_at_once_are_told(tmp_path):
    with locked(tmp_path), pytest.raises(InputError, match="another run is writing"):
        write_set(tmp_path, NEW, "make")
    write_set(tmp_path, NEW, "make")
    assert held(tmp_path) == NEW


def test_many_runs_at_once_leave_one_whole_set(tmp_path):
    wholes = [
        {f"{k}-{n}.svg": f"{k} {n}" for n in range(6)} | {"all.txt": str(k)} for k in range(6)
    ]
    told = []

    def run(files):
        for _ in range(10):
            try:
                write_set(tmp_path, files, "make")
            except InputError as error:
                told.append(str(error))

    threads = [threading.Thread(target=run, args=(files,)) for files in wholes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert held(tmp_path) in wholes
    assert all("another run" in words for words in told)


KILLER = """
import os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from test_file_sets import NEW, OLD, held
from stonelayout.file_sets import WORK, locked, unfinished, write_set

EVENTS = {"os.rename", "os.remove", "os.rmdir", "os.mkdir", "open", "os.scandir"}
home = Path(sys.argv[2])
ends = []
for count in range(10_000):
    folder = home / str(count)
    write_set(folder, OLD, "make")
    child = os.fork()
    if not child:
        left = [count]
        def hook(event, arguments):
            if event in EVENTS and str(folder) in str(arguments[0]):
                if not left[0]:
                    os._exit(9)
                left[0] -= 1
        sys.addaudithook(hook)
        write_set(folder, NEW, "make")
        os._exit(0)
    stopped = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    between = unfinished(folder)
    with locked(folder):
        pass
    ends.append(held(folder))
    assert ends[-1] in (OLD, NEW), (count, ends[-1])
    assert not between or ends[-1] == NEW, count
    assert not (folder / WORK).exists(), count
    write_set(folder, NEW, "make")
    assert held(folder) == NEW, count
    if stopped == 0:
        break
print(count, ends.count(OLD), ends.count(NEW))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process at every step")
def test_a_kill_at_any_step_leaves_one_whole_set(tmp_path):
    run = subprocess.run(
        [sys.executable, "-c", KILLER, str(ROOT / "tests"), str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    steps, old, new = map(int, run.stdout.split())
    assert steps > 40
    assert old > 10
    assert new > 10
