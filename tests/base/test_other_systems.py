"""What Windows and a Mac do to files, imitated at the one place where it is met."""

import errno
import os
import sys
import time
from pathlib import Path

import pytest

from snugline import files
from snugline.errors import FileError, InputError
from snugline.files import (
    inside,
    is_file,
    is_link,
    is_plain_name,
    locked,
    read_within,
    remove_unfinished,
    write_whole,
)
from snugline.lengths import parse_length
from snugline.untrusted import parsed_toml


def held_for(monkeypatch, name, times):
    """The first calls of an `os` function find the file held by another program."""
    real, left = getattr(os, name), [times]

    def call(*arguments, **named):
        if left[0] > 0:
            left[0] -= 1
            raise PermissionError(13, "Permission denied", str(arguments[0]))
        return real(*arguments, **named)

    monkeypatch.setattr(files.os, name, call)
    return left


def test_a_file_that_a_cloud_folder_holds_for_a_moment_is_written_after_it(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("old")
    left = held_for(monkeypatch, "replace", 5)
    write_whole(tmp_path / "a.txt", "new")
    assert left == [0]
    assert (tmp_path / "a.txt").read_text() == "new"


def test_a_file_that_stays_open_elsewhere_is_refused_after_a_second(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("old")
    held_for(monkeypatch, "replace", 10_000)
    start = time.monotonic()
    with pytest.raises(FileError, match="another program holds it open") as caught:
        write_whole(tmp_path / "a.txt", "new")
    assert 1.0 <= time.monotonic() - start < 5.0
    assert "close it in other programs" in str(caught.value)
    assert (tmp_path / "a.txt").read_text() == "old"
    assert os.listdir(tmp_path) == ["a.txt"]


@pytest.mark.parametrize(
    "name",
    ["CON", "con.svg", "nul", "Aux.txt", "COM1", "lpt9.pdf", "a.", "a ", "a:b", "a?b", 'a"b',
     "a<b", "a|b", "a*b", "a\\b", "a/b", "a\nb", "", "x" * 201, "ü" * 101, "con .txt"],
)  # fmt: skip
def test_names_that_windows_keeps_or_cuts_are_no_plain_names(name):
    assert not is_plain_name(name)


@pytest.mark.parametrize("name", ["a.svg", "console.svg", "Größe.dxf", ".a", "a b.pdf", "com10"])
def test_other_names_are_plain(name):
    assert is_plain_name(name)


def test_a_path_longer_than_windows_opens_is_said_to_be_so(tmp_path):
    path = tmp_path / ("x" * 120) / ("y" * 120) / "job.toml"
    with pytest.raises(FileError, match="letters, more than some systems open"):
        write_whole(path, "x")


def test_line_ends_and_the_mark_of_a_windows_editor_are_read_over():
    text = '\ufeff[part]\r\nname = "tray"\r\nthickness = "9.5 mm"\r\n'.encode()
    assert parsed_toml(text, "job.toml")["part"] == {"name": "tray", "thickness": "9.5 mm"}


def test_an_editor_that_saves_in_another_encoding_is_named_with_the_line():
    with pytest.raises(FileError, match=r"not text in UTF-8 \(line 2\)") as caught:
        parsed_toml('[part]\nname = "Größe"\n'.encode("cp1252"), "job.toml")
    assert "UTF-8" in caught.value.mend


@pytest.mark.parametrize("text", ["9,5 mm", "9,5mm", "-0,25 in", " 9,5 cm"])
def test_a_decimal_comma_is_refused_by_that_word(text):
    with pytest.raises(InputError, match="decimal comma"):
        parse_length(text)


def test_a_junction_counts_as_a_link(tmp_path, monkeypatch):
    class Status:
        st_mode, st_reparse_tag = 0o040755, 0xA0000003

    monkeypatch.setattr(files.os, "lstat", lambda path: Status)
    assert is_link(tmp_path)


def test_where_folders_have_no_handles_links_are_looked_at_by_name(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_bytes(b"mine")
    (tmp_path / "secret.txt").write_bytes(b"secret")
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "a.txt").write_bytes(b"plain")
    (folder / "p.txt").symlink_to(tmp_path / "secret.txt")
    for handles in (os.supports_dir_fd, set()):
        monkeypatch.setattr(files.os, "supports_dir_fd", handles)
        assert read_within(folder, "a.txt", 100) == b"plain"
        with pytest.raises(FileError, match="link"):
            read_within(folder, "p.txt", 100)
        with pytest.raises(FileError, match="larger"):
            read_within(folder, "a.txt", 4)
        for name in ("../a.txt", "..", "a/b", "con"):
            with pytest.raises(FileError, match="another place"):
                read_within(folder, name, 100)


def test_what_is_no_plain_file_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="plain file"):
        read_within(tmp_path, "pipe", 100)
    assert not is_file(tmp_path / "pipe")
    assert not is_file(tmp_path / ("x" * 5000))
    assert not inside(tmp_path, "x\0y")


@pytest.mark.parametrize("system", ["without locks", "with locks"])
def test_temporary_files_of_the_dead_go_and_those_of_the_living_stay(tmp_path, monkeypatch, system):
    dead, living = tmp_path / ".snugline-1.part", tmp_path / ".snugline-2.part"
    for path in (dead, living, tmp_path / ".snugline", tmp_path / "other.part"):
        path.write_text("half")
    handle = os.open(living, os.O_RDWR)
    if system == "without locks":

        def refused(handle, how):
            raise OSError(errno.ENOLCK, "No locks available")

        monkeypatch.setattr(files.fcntl, "flock", refused)
        os.utime(dead, (0, 0))
    else:
        files._lock(handle)
    remove_unfinished(tmp_path)
    os.close(handle)
    assert sorted(os.listdir(tmp_path)) == [".snugline", ".snugline-2.part", "other.part"]


def test_a_temporary_file_that_another_start_cleared_away_is_written_again(tmp_path, monkeypatch):
    real, gone = os.replace, []

    def replace(source, target):
        if not gone:
            gone.append(source)
            os.unlink(source)
        real(source, target)

    monkeypatch.setattr(files.os, "replace", replace)
    write_whole(tmp_path / "a.txt", "whole")
    assert (tmp_path / "a.txt").read_text() == "whole"


def test_a_lock_keeps_others_out_and_leaves_nothing(tmp_path):
    path = tmp_path / "lock"
    with locked(path, 0.0):
        with pytest.raises(TimeoutError), locked(path, 0.05):
            pass
        assert path.exists()
    assert not path.exists()
    path.write_text("of a dead program")
    with locked(path, 0.0):
        pass
    assert os.listdir(tmp_path) == []


def test_nothing_but_this_module_asks_which_system_it_is():
    root = Path(__file__).parents[2]
    asked = [
        path.relative_to(root).as_posix()
        for room in ("base", "trace", "fit", "pocket", "api", "desk")
        for path in (root / room).rglob("*.py")
        if any(
            word in path.read_text("utf-8") for word in ("sys.platform", "import fcntl", "os.name")
        )
    ]
    assert asked == ["base/files.py"]
    assert sys.platform


class Msvcrt:
    """Windows' locks of a file's first byte, by handle; closing a file gives them up."""

    LK_NBLCK = 2

    def __init__(self):
        self.held = {}

    def locking(self, handle, how, count):
        assert (how, count) == (self.LK_NBLCK, 1)
        file = os.fstat(handle).st_ino
        holder = self.held.get(file)
        if holder is not None and holder != handle and self.is_open(holder, file):
            raise PermissionError(13, "Permission denied")
        self.held[file] = handle

    @staticmethod
    def is_open(handle, file):
        try:
            return os.fstat(handle).st_ino == file
        except OSError:
            return False


@pytest.fixture
def windows(monkeypatch):
    """Locks as Windows has them, and files that cannot be removed while they are open."""
    real = os.unlink
    made = Msvcrt()

    def unlink(path, **named):
        if any(made.is_open(h, i) and os.stat(path).st_ino == i for i, h in made.held.items()):
            raise PermissionError(13, "Permission denied", str(path))
        real(path, **named)

    monkeypatch.setattr(files.sys, "platform", "win32")
    monkeypatch.setattr(files, "msvcrt", made, raising=False)
    monkeypatch.setattr(files.os, "unlink", unlink)
    return made


def test_a_lock_of_windows_keeps_others_out_and_is_taken_away_after_it_is_closed(tmp_path, windows):
    path = tmp_path / "lock"
    with locked(path, 0.0):
        with pytest.raises(TimeoutError), locked(path, 0.05):
            pass
        with pytest.raises(PermissionError):
            path.unlink()
    assert not path.exists()
    with locked(path, 0.0):
        assert path.exists()
    assert os.listdir(tmp_path) == []


def test_a_file_is_written_and_a_dead_one_removed_by_windows_locks(tmp_path, windows):
    write_whole(tmp_path / "a.txt", "whole")
    assert (tmp_path / "a.txt").read_text() == "whole"
    dead, living = tmp_path / ".snugline-1.part", tmp_path / ".snugline-2.part"
    for path in (dead, living):
        path.write_text("half")
    handle = os.open(living, os.O_RDWR)
    assert files._lock(handle)
    remove_unfinished(tmp_path)
    os.close(handle)
    assert sorted(os.listdir(tmp_path)) == [".snugline-2.part", "a.txt"]
