import pytest

from stonelayout.errors import InputError, VerificationError
from stonelayout.files import read_bytes, read_text, write_all, write_one


def listing(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_all_files_are_written(tmp_path):
    write_all(tmp_path / "new" / "out", {"a.txt": "ä", "sub/b.bin": b"\x00"})
    assert listing(tmp_path) == ["new/out/a.txt", "new/out/sub/b.bin"]
    assert (tmp_path / "new/out/a.txt").read_bytes() == "ä".encode()


def test_none_is_written_when_one_cannot_be(tmp_path):
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(InputError, match=r"b\.txt: cannot write"):
        write_all(tmp_path, {"a.txt": "a", "b.txt": "b"})
    assert listing(tmp_path) == []


def test_none_is_written_when_the_check_fails(tmp_path):
    write_one(tmp_path / "a.txt", "old")

    def check(read):
        assert read == {"a.txt": b"new", "c.txt": b"c"}
        raise VerificationError("not as meant")

    with pytest.raises(VerificationError):
        write_all(tmp_path, {"a.txt": "new", "c.txt": "c"}, check=check)
    assert listing(tmp_path) == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_what_an_earlier_run_left_is_dropped(tmp_path):
    write_one(tmp_path / "03-old.svg", "x")
    write_all(tmp_path, {"a.txt": "a"}, drop=["03-old.svg", "never-there.svg"])
    assert listing(tmp_path) == ["a.txt"]


def test_a_folder_that_is_a_file(tmp_path):
    write_one(tmp_path / "out", "x")
    with pytest.raises(InputError, match="give the name of a folder"):
        write_all(tmp_path / "out", {"a.txt": "a"})


def test_a_name_that_is_nearly_right_is_shown(tmp_path):
    (tmp_path / "heron.svg").write_text("")
    with pytest.raises(InputError) as told:
        read_bytes(tmp_path / "herron.svg")
    assert str(told.value) == (
        f"{tmp_path / 'herron.svg'}: cannot read: there is no such file; did you mean heron.svg?"
    )
    with pytest.raises(InputError, match=r"there is no folder .*nests\Z"):
        read_bytes(tmp_path / "nests" / "heron.svg")


def test_reading_names_the_file(tmp_path):
    with pytest.raises(InputError, match=r"gone\.svg: cannot read: there is no such file\Z"):
        read_bytes(tmp_path / "gone.svg")
    (tmp_path / "latin.toml").write_bytes(b"\xe9")
    with pytest.raises(InputError, match=r"latin\.toml: not UTF-8"):
        read_text(tmp_path / "latin.toml")


def test_a_folder_made_for_nothing_is_taken_away(tmp_path):
    def check(_):
        raise VerificationError("not as meant")

    with pytest.raises(VerificationError):
        write_all(tmp_path / "new", {"a.txt": "a"}, check=check)
    assert not (tmp_path / "new").exists()
