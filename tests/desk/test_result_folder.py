"""A result folder is whole, or as it was before; nothing of two runs lies side by side."""

import hashlib
import json
import os

import pytest
from killed import killed_at

from snugline import files as files_module
from snugline.desk import result_folder as folder_module
from snugline.desk.result_folder import (
    manifest,
    named_files,
    publish,
    read_named,
    settle,
    settle_all,
)
from snugline.errors import FileError


def a_run(**texts):
    """Files of a run, `svg="1"` for outline.svg, with their manifest."""
    files = {f"outline.{ending}": text.encode() for ending, text in texts.items()}
    record = {"files": sorted([*files, "result.json"]), "sha256": manifest(files)}
    return {**files, "result.json": json.dumps(record).encode()}


OLD = a_run(svg="old", dxf="old", pdf="old")
NEW = a_run(svg="new", dxf="new", png="new")


def held(out):
    return {p.name: p.read_bytes() for p in out.iterdir() if p.is_file()}


def names(folder):
    return sorted(p.name for p in folder.iterdir())


@pytest.fixture
def out(tmp_path):
    publish(tmp_path / "out", OLD)
    return tmp_path / "out"


@pytest.fixture(params=["swapped", "file by file"])
def either_way(out, request):
    """The old result, in a folder that is swapped or one that holds a folder of the user."""
    if request.param == "file by file":
        (out / "toolpaths").mkdir()
        (out / "toolpaths" / "tray.nc").write_text("mine")
    return out


@pytest.fixture
def impatient(monkeypatch):
    monkeypatch.setattr(files_module, "HELD_SECONDS", 0.05)


def test_a_new_folder_gets_every_file(tmp_path):
    publish(tmp_path / "a" / "out", NEW)
    assert held(tmp_path / "a" / "out") == NEW
    assert names(tmp_path / "a") == ["out"]


def test_a_later_run_leaves_nothing_of_the_one_before(either_way):
    publish(either_way, NEW)
    assert held(either_way) == NEW
    assert names(either_way.parent) == ["out"]


def test_the_user_s_own_files_stay(either_way, tmp_path):
    (either_way / "notes.txt").write_text("mine")
    before = (either_way / "notes.txt").stat().st_ino
    publish(either_way, NEW)
    assert held(either_way) == NEW | {"notes.txt": b"mine"}
    assert (either_way / "notes.txt").stat().st_ino == before
    if (either_way / "toolpaths").exists():
        assert (either_way / "toolpaths" / "tray.nc").read_text() == "mine"


def test_a_file_of_the_user_s_whose_name_differs_in_capitals_only_is_none_of_ours(out):
    (out / "Outline.SVG").write_text("mine")
    publish(out, NEW)
    assert held(out) == NEW | {"Outline.SVG": b"mine"}


def test_a_result_of_an_earlier_version_is_replaced_by_its_list(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    for name in ("outline.svg", "pocket-0.25mm.svg"):
        (out / name).write_text("old")
    listed = ["outline.svg", "pocket-0.25mm.svg", "result.json", "../keep.txt"]
    (out / "result.json").write_text(json.dumps({"files": listed}))
    (tmp_path / "keep.txt").write_text("outside")
    publish(out, NEW)
    assert held(out) == NEW
    assert (tmp_path / "keep.txt").exists()


def test_a_folder_that_the_program_stands_in_keeps_its_place(out, monkeypatch):
    monkeypatch.chdir(out)
    before = out.stat().st_ino
    publish(out, NEW)
    assert out.stat().st_ino == before
    assert held(out) == NEW


def test_a_folder_whose_neighbours_may_not_be_written_is_filled_from_within(out, monkeypatch):
    real = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: path != out.parent and real(path, mode))
    publish(out, NEW)
    assert held(out) == NEW
    assert names(out.parent) == ["out"]


def test_when_the_disk_is_full_the_old_result_stays(either_way, monkeypatch):
    def no_room(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder_module.os, "fsync", no_room)
    with pytest.raises(FileError, match="No space left"):
        publish(either_way, NEW)
    assert held(either_way) == OLD
    assert names(either_way.parent) == ["out"]


@pytest.mark.usefixtures("impatient")
@pytest.mark.parametrize("nth", range(12))
def test_when_a_rename_is_refused_the_old_result_stays(either_way, monkeypatch, nth):
    """A file open in another program, on Windows: the nth name cannot be moved."""
    real, moved, stuck = os.rename, [], []

    def refused(source, target):
        if source in stuck or (not stuck and len(moved) == nth):
            stuck.append(source)
            raise PermissionError(13, "Permission denied", str(source))
        moved.append(source)
        real(source, target)

    monkeypatch.setattr(folder_module.os, "rename", refused)
    try:
        publish(either_way, NEW)
    except FileError as error:
        assert "Permission denied" in error.what  # noqa: PT017 - some are carried out file by file
        assert held(either_way) == OLD
    else:
        assert held(either_way) == NEW
    assert names(either_way.parent) == ["out"]


def test_a_file_in_the_folder_s_place_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(FileError, match="is a file"):
        publish(tmp_path / "out", NEW)
    assert (tmp_path / "out").read_text() == "a file"


def test_a_link_in_the_folder_s_place_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "outline.svg").write_text("another's")
    (tmp_path / "out").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(FileError, match="link"):
        publish(tmp_path / "out", NEW)
    assert (tmp_path / "elsewhere" / "outline.svg").read_text() == "another's"


@pytest.mark.whole
@pytest.mark.parametrize("way", ["swapped", "file by file"])
def test_killed_before_any_step_it_is_old_or_new_after_the_next_start(tmp_path, way):
    """Every call that changes the disk, one after the other, is the last one."""
    seen = set()
    for step in range(500):
        out = tmp_path / str(step) / "out"
        publish(out, OLD)
        (out / "notes.txt").write_text("mine")
        if way == "file by file":
            (out / "toolpaths").mkdir()
        ended = killed_at(step, lambda: publish(out, NEW))  # noqa: B023 - called at once
        lying = {k: v for k, v in held(out).items() if k != "notes.txt"} if out.exists() else {}
        assert lying.items() <= OLD.items() or lying.items() <= NEW.items(), (step, sorted(lying))
        settle_all(out.parent)
        result = held(out)
        assert result.pop("notes.txt") == b"mine"
        assert result in (OLD, NEW), step
        assert names(out.parent) == ["out"], step
        seen.add(result == NEW)
        if ended:
            break
    assert ended
    assert seen == {True, False}


@pytest.mark.whole
@pytest.mark.parametrize("way", ["swapped", "file by file"])
def test_a_start_that_is_killed_itself_is_finished_by_the_one_after(tmp_path, way):
    for step in range(8, 60, 4):
        for second in range(20):
            out = tmp_path / f"{step}-{second}" / "out"
            publish(out, OLD)
            (out / "notes.txt").write_text("mine")
            if way == "file by file":
                (out / "toolpaths").mkdir()
            killed_at(step, lambda: publish(out, NEW))  # noqa: B023
            ended = killed_at(second, lambda: settle_all(out.parent))  # noqa: B023
            settle_all(out.parent)
            result = held(out)
            assert result.pop("notes.txt") == b"mine"
            assert result in (OLD, NEW), (step, second)
            assert names(out.parent) == ["out"], (step, second)
            if ended:
                break


def test_a_live_run_is_left_alone(out):
    new = folder_module._beside(out, folder_module._NEW)
    new.mkdir()
    with folder_module._held(out, 0.0):
        settle_all(out.parent)
        assert new.is_dir()
    settle(out)
    assert names(out.parent) == ["out"]


def test_what_was_changed_since_is_not_given_out(out):
    hashes = named_files(out)
    assert hashes == {
        n: hashlib.sha256(c).hexdigest() for n, c in OLD.items() if n != "result.json"
    }
    assert read_named(out, "outline.svg", hashes["outline.svg"]) == b"old"
    (out / "outline.svg").write_text("by hand")
    with pytest.raises(FileError, match="changed"):
        read_named(out, "outline.svg", hashes["outline.svg"])


@pytest.mark.parametrize(
    "record",
    [
        b"",
        b"[1]",
        b'{"files": ["outline.svg"]}',
        b'{"sha256": {"../job.toml": "0"}}',
        b'{"sha256": {"con.svg": "0"}}',
        b'{"sha256": {"result.json": "0"}}',
        b'{"sha256": [1]}',
        b"[" * 5000,
        b'{"a":' * 100_000,
        b'{"sha256": NaN}',
    ],
)
def test_a_manifest_that_cannot_be_used_names_nothing(out, record):
    (out / "result.json").write_bytes(record)
    with pytest.raises(FileError):
        named_files(out)


def test_a_link_to_a_file_elsewhere_is_not_read(out, tmp_path):
    (tmp_path / "secret.txt").write_text("secret")
    digest = hashlib.sha256(b"secret").hexdigest()
    (out / "p.txt").symlink_to(tmp_path / "secret.txt")
    with pytest.raises(FileError, match="link"):
        read_named(out, "p.txt", digest)


def test_a_file_that_differs_from_ours_in_capitals_alone_is_not_taken_over(out):
    """In a folder that is blind to capitals both are one file: the folder is not swapped."""
    (out / "Outline.DXF").write_text("mine")
    assert folder_module._own_files(out, set(NEW)) is None
    (out / "Outline.DXF").unlink()
    (out / "notes.txt").write_text("mine")
    assert folder_module._own_files(out, set(NEW)) == ["notes.txt"]
    (out / "Outline.DXF").write_text("mine")
    publish(out, NEW)
    assert (out / "notes.txt").read_text() == "mine"
    assert (out / "outline.dxf").read_bytes() == b"new"
