"""A server killed in the middle of a photo's move: the next start does the rest, none is hidden."""

import json
import shutil
import tomllib

import pytest
from killed import killed_at

from snugline.desk.page.jobs import job_photos, photo_moves
from snugline.desk.page.jobs.job_folders import Shelf
from snugline.desk.page.jobs.job_states import photo_id
from snugline.desk.page.jobs.recovery import recover
from snugline.errors import FileError

OTHER = photo_id("photo-1.jpg")


@pytest.fixture
def shelf(tmp_path):
    """A shelf with a job of two photos, a third one removed, and an upload that has come in."""
    made = Shelf(tmp_path / "jobs")
    made.folder.mkdir()
    job = made.find(made.make("tray"))
    incoming = job.parent / ".snugline" / "incoming"
    incoming.mkdir(parents=True)
    for number in (1, 2, 3):
        (incoming / "photo-x").write_bytes(f"picture {number}".encode())
        job_photos._enter(job, incoming / "photo-x", "", "jpg", "left end", None)
    job_photos.take_out(job, photo_id("photo-3.jpg"))
    (incoming / "photo-y").write_bytes(b"picture 4")
    return made


def pictures(job):
    """What the job shows and what it keeps aside, by content; nothing else may lie anywhere."""
    folder = job.parent
    tables = tomllib.loads(job.read_text()).get("photo", [])
    shown = sorted((folder / table["file"]).read_bytes() for table in tables)
    kept = sorted((folder / "removed" / n).read_bytes() for n in job_photos.removed_files(folder))
    lying = {p.name for p in folder.iterdir()} - {t["file"] for t in tables}
    assert lying <= {"job.toml", "removed", ".snugline"}, lying
    assert {p.name for p in (folder / ".snugline").iterdir()} <= {"incoming", "lock"}
    return shown, kept


def add(job):
    upload = job.parent / ".snugline" / "incoming" / "photo-y"
    job_photos._enter(job, upload, "", "jpg", "right end", None)


def replace(job):
    upload = job.parent / ".snugline" / "incoming" / "photo-y"
    job_photos._enter(job, upload, "", "jpg", "right end", OTHER)


def delete(job):
    job_photos.take_out(job, OTHER)


def restore(job):
    (kept,) = job_photos.removed_files(job.parent)
    job_photos.put_back(job, photo_id(kept), None)


def restore_instead(job):
    (kept,) = job_photos.removed_files(job.parent)
    job_photos.put_back(job, photo_id(kept), OTHER)


def contents(*numbers):
    return sorted(f"picture {n}".encode() for n in numbers)


# What is shown and what is kept aside, before and after.
ACTS = {
    add: ((1, 2, 4), (3,)),
    replace: ((2, 4), (1, 3)),
    delete: ((2,), (1, 3)),
    restore: ((1, 2, 3), ()),
    restore_instead: ((2, 3), (1,)),
}


@pytest.mark.whole
@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.__name__)
def test_killed_before_any_step_every_photo_is_in_the_job_or_among_the_removed(
    shelf, tmp_path, act
):
    seen = []
    for step in range(200):
        folder = tmp_path / f"killed-{step}"
        shutil.copytree(shelf.folder, folder)
        copy = Shelf(folder)
        (job,) = copy.jobs()
        ended = killed_at(step, lambda: act(job))  # noqa: B023 - called at once
        recover(copy)
        found = pictures(job)
        before, after = (contents(1, 2), contents(3)), tuple(contents(*n) for n in ACTS[act])
        assert found in (before, after), step
        assert not list((job.parent / ".snugline" / "incoming").iterdir())
        seen.append(found == after)
        if ended:
            break
    assert ended
    assert seen == sorted(seen)  # from some step on it is done
    assert True in seen
    assert False in seen


@pytest.mark.whole
@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.__name__)
def test_a_hand_that_edits_the_job_after_the_kill_is_heard_and_no_photo_hidden(
    shelf, tmp_path, act
):
    for step in range(200):
        folder = tmp_path / f"killed-{step}"
        shutil.copytree(shelf.folder, folder)
        copy = Shelf(folder)
        (job,) = copy.jobs()
        ended = killed_at(step, lambda: act(job))  # noqa: B023
        job.write_text(job.read_text() + '\n[output]\nunits = "in"\n')
        recover(copy)
        shown, kept = pictures(job)
        at_least = set(contents(1, 2, 3))
        assert at_least <= {*shown, *kept} <= at_least | set(contents(4)), step
        assert tomllib.loads(job.read_text())["output"] == {"units": "in"}
        if ended:
            break
    assert ended


def test_a_move_that_fails_leaves_all_as_it_was(shelf, monkeypatch):
    (job,) = shelf.jobs()
    before = job.read_bytes()
    real = photo_moves.write_whole

    def full(path, content):
        if path.name == "job.toml":
            raise FileError("cannot write the file (No space left on device)", str(path), "...")
        real(path, content)

    monkeypatch.setattr(photo_moves, "write_whole", full)
    for act in ACTS:
        with pytest.raises(FileError):
            act(job)
        assert job.read_bytes() == before
        assert pictures(job) == (contents(1, 2), contents(3))


@pytest.mark.parametrize(
    "moves",
    [
        [["photo-1.jpg", "../stolen.jpg"]],
        [["../../secret.txt", "photo-9.jpg"]],
        [["/etc/passwd", "photo-9.jpg"]],
        [["job.toml", "removed/job.toml"]],
        [["photo-1.jpg", ".snugline/lock"]],
        [["photo-1.jpg", 5]],
        "photo-1.jpg",
    ],
)
def test_a_journal_that_leads_elsewhere_moves_nothing(shelf, tmp_path, moves):
    (job,) = shelf.jobs()
    (tmp_path / "secret.txt").write_text("secret")
    before, found = job.read_bytes(), pictures(job)
    journal = {"come": moves, "go": [], "before": "", "job": "x", "shows": "section"}
    (job.parent / ".snugline" / "moving.json").write_text(json.dumps(journal))
    recover(shelf)
    assert job.read_bytes() == before
    assert pictures(job) == found
    assert (tmp_path / "secret.txt").exists()
