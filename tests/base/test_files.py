import json
import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from snugline import files
from snugline.errors import FileError
from snugline.files import write_json, write_whole


def test_text_and_bytes_are_written_as_they_are(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.txt", "gap 0.25 mm – Größe\n")
    assert (tmp_path / "a.txt").read_bytes() == "gap 0.25 mm – Größe\n".encode()
    write_whole(tmp_path / "a.bin", b"\x00\xff\r\n")
    assert (tmp_path / "a.bin").read_bytes() == b"\x00\xff\r\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.bin", "a.txt"]


def test_an_older_file_is_replaced_and_others_may_read_it(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")
    write_whole(path, "new")
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


@pytest.mark.parametrize("step", ["fsync", "chmod", "replace"])
def test_a_failure_at_any_step_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")

    def fail(*arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, step, fail)
    with pytest.raises(FileError, match="No space left") as caught:
        write_whole(path, "new")
    assert caught.value.where == str(path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]
    assert path.read_text() == "old"


def test_a_process_killed_while_writing_leaves_the_old_file_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")
    program = """
import os, signal, sys
from pathlib import Path
from snugline import files
files.os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)
files.write_whole(Path(sys.argv[1]), "new" * 100000)
"""
    done = subprocess.run([sys.executable, "-c", program, str(path)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert path.read_text() == "old"


def test_a_folder_that_is_missing_or_is_a_file_is_named(tmp_path: Path) -> None:
    for path in (tmp_path / "absent" / "a.txt", tmp_path):
        with pytest.raises(FileError) as caught:
            write_whole(path, "x")
        assert caught.value.where == str(path)
        assert "folder" in caught.value.mend
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_without_permission_is_named(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    with pytest.raises(FileError, match="Permission denied"):
        write_whole(tmp_path / "a.txt", "x")
    tmp_path.chmod(0o755)


def test_json_is_written_for_people_and_read_back(tmp_path: Path) -> None:
    record = {"units": "mm", "points": [[0.1, -2.5]], "name": "Schneidbrett – groß"}
    write_json(tmp_path / "a.json", record)
    text = (tmp_path / "a.json").read_text(encoding="utf-8")
    assert json.loads(text) == record
    assert "groß" in text
    assert text.endswith("\n")


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_json_has_not_is_refused_before_writing(tmp_path: Path, value: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json(tmp_path / "a.json", {"x": value})
    assert list(tmp_path.iterdir()) == []
