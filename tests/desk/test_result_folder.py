"""A result folder is whole, or as it was before."""

import json

import pytest

from snugline.desk import result_folder as folder_module
from snugline.desk.result_folder import publish
from snugline.errors import FileError


def result(*names):
    return json.dumps({"files": list(names)}).encode()


def test_a_new_folder_gets_every_file(tmp_path):
    publish(tmp_path / "a" / "out", {"outline.svg": b"<svg/>", "result.json": result()})
    assert (tmp_path / "a" / "out" / "outline.svg").read_bytes() == b"<svg/>"
    assert [path.name for path in (tmp_path / "a").iterdir()] == ["out"]


def test_files_of_the_earlier_result_go_and_the_user_s_own_stay(tmp_path):
    out = tmp_path / "out"
    first = {"pocket-0.25mm.svg": b"1", "result.json": result("pocket-0.25mm.svg", "../keep.txt")}
    publish(out, first)
    (out / "notes.txt").write_text("mine")
    (tmp_path / "keep.txt").write_text("outside")
    publish(out, {"outline.svg": b"2", "result.json": result("outline.svg")})
    assert sorted(path.name for path in out.iterdir()) == [
        "notes.txt",
        "outline.svg",
        "result.json",
    ]
    assert (tmp_path / "keep.txt").exists()


def test_when_writing_stops_in_between_the_folder_stays_as_it_was(tmp_path, monkeypatch):
    out = tmp_path / "out"
    publish(out, {"outline.svg": b"old", "result.json": result("outline.svg")})

    def no_room(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder_module.os, "fsync", no_room)
    with pytest.raises(FileError, match="No space left"):
        publish(out, {"outline.svg": b"new", "result.json": result("outline.svg")})
    assert (out / "outline.svg").read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_when_moving_stops_in_between_no_result_claims_to_be_whole(tmp_path, monkeypatch):
    out = tmp_path / "out"
    publish(out, {"outline.svg": b"old", "result.json": result("outline.svg")})

    def refused(source, target):
        raise OSError(13, "Permission denied")

    monkeypatch.setattr(folder_module.os, "replace", refused)
    with pytest.raises(FileError):
        publish(out, {"outline.svg": b"new", "result.json": result("outline.svg")})
    assert not (out / "result.json").exists()


def test_a_file_in_the_folder_s_place_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(FileError):
        publish(tmp_path / "out", {"result.json": result()})
    assert (tmp_path / "out").read_text() == "a file"
