"""Job folders that came from anyone: the list shows them all, and none leads out of its folder."""

import hashlib
import json
import os
import time

import pytest

from snugline.desk.page.jobs.job_list import _known

GOOD = """
[part]
name = "tray {number}"
thickness = "9.5 mm"
[frame]
description = "border-a4"
[[photo]]
file = "left.jpg"
shows = "left end"
"""
SECRET = "secret of another folder"


def a_job(folder, text, name="job.toml"):
    folder.mkdir(parents=True)
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


HOSTILE = {
    "dotted": "a" + ".a" * 30_000 + " = 1",
    "dotted-header": "[" + "a." * 30_000 + "a]",
    "nested": "a = " + "[" * 50_000,
    "nested-inline": "a = " + "{a=" * 20_000,
    "large": b"#" * 100_000_000,
    "many-keys": "\n".join(f"k{n} = 1" for n in range(20_000)),
    "many-tables": "[[photo]]\n" * 15_000,
    "nan": '[part]\nname = "p"\n[pocket]\nclearance = nan\nsanding = -inf',
    "long-number": "[part]\nthickness = " + "9" * 90_000,
    "long-text": '[part]\nname = "' + "x" * 90_000 + '"',
    "open-text": '[part]\nname = """' + "x\n" * 50_000,
    "quotes": '"' * 99_999,
    "escapes": '"""' + "\\" * 99_999,
    "not-utf-8": b"[part]\nname = '\xff\xfe'",
    "utf-16": '[part]\nname = "x"'.encode("utf-16"),
    "nul": b"\0" * 50_000,
    "empty-words": "[" * 3 + "]" * 3,
}
# Read as TOML, but no job; the page names the key when it opens them.
ODD = {
    "frame-5": 'frame = 5\n[part]\nname = "x"\n[[photo]]\nfile = "a.jpg"\nshows = "whole"',
    "photo-list": "photo = [1, 2]",
    "photo-text": 'photo = "x"',
    "part-list": "part = [1]",
    "reading-5": "reading = 5",
    "reading-5-photo": GOOD.replace("[part]", "reading = 5\n[part]"),
    "many-photos": GOOD + '[[photo]]\nfile = "a.jpg"\nshows = "whole"\n' * 2000,
    "pocket-5": "pocket = 5",
    "long-photo-name": GOOD.replace("left.jpg", "x" * 1900),
    "long-name": GOOD.replace("tray {number}", "x" * 1900),
    "nul-in-name": GOOD.replace("left.jpg", "a\\u0000b.jpg"),
    "dates": "[part]\nname = 1979-05-27\nthickness = 07:32:00",
    "long-quantity": GOOD.replace("9.5 mm", "9" * 1900 + " mm"),
    "outside-photo": GOOD.replace("left.jpg", "../secret.txt"),
    "absolute-photo": GOOD.replace("left.jpg", "/etc/passwd"),
    "outside-frame": GOOD.replace("border-a4", "../frame.json"),
    "device": GOOD.replace("left.jpg", "/dev/zero"),
    "frame-device": GOOD.replace("border-a4", "/dev/zero.json"),
    "huge-part": GOOD.replace("9.5 mm", "90 m"),
    "thousand-clearances": GOOD
    + "[pocket]\nclearance = ["
    + ", ".join(f'"0.{n:04} mm"' for n in range(1, 1001))
    + "]",
    "many-notches": GOOD
    + '[pocket]\nclearance = "0.3 mm"\nnotch = ['
    + ", ".join('{side = "front"}' for _ in range(1000))
    + "]",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_job_is_an_error_with_its_place_in_the_list_and_when_opened(ask, name):
    a_job(ask.folder / name, HOSTILE[name])
    start = time.monotonic()
    listed, opened = ask(("GET", "/api/jobs"), ("GET", f"/api/jobs/{name}"))
    assert time.monotonic() - start < 1.0
    (entry,) = listed.json()["jobs"]
    assert entry["error"]["what"]
    assert name in entry["error"]["where"] or "job.toml" in entry["error"]["where"]
    assert str(ask.folder) not in listed.text
    assert opened.status_code in (200, 422)
    faults = opened.json().get("faults") or [opened.json()["error"]]
    assert faults[0]["what"] == entry["error"]["what"]


@pytest.mark.parametrize("name", ODD)
def test_an_odd_job_opens_with_its_faults(ask, name):
    a_job(ask.folder / name, ODD[name])
    (ask.folder / "secret.txt").write_text(SECRET)
    (ask.folder / "frame.json").write_text(json.dumps({"name": SECRET}))
    listed, opened = ask(("GET", "/api/jobs"), ("GET", f"/api/jobs/{name}"))
    (entry,) = listed.json()["jobs"]
    assert entry["id"] == name
    assert opened.status_code == 200
    assert json.loads(opened.text, parse_constant=pytest.fail)["faults"]
    assert SECRET not in opened.text


def test_the_list_is_quick_with_a_hundred_good_jobs_and_every_hostile_one(ask):
    for number in range(100):
        a_job(ask.folder / f"good-{number}", GOOD.replace("{number}", str(number)))
    for name, text in HOSTILE.items():
        a_job(ask.folder / name, text)
    (ask.folder / os.fsdecode(b"not-\xff-text")).mkdir()
    (ask.folder / os.fsdecode(b"not-\xff-text") / "job.toml").write_text(GOOD)
    (ask.folder / "a-folder").mkdir()
    (ask.folder / "a-folder" / "job.toml").mkdir()
    os.mkfifo(a_job(ask.folder / "pipe", "", "x") / "job.toml")
    _known.clear()
    first, answer = ask(("GET", "/api/jobs"), ("GET", "/api/jobs"))
    # On a busy computer the last ones are read when the list is asked for again.
    while any(job["name"] == job["id"] and job["error"] is None for job in answer.json()["jobs"]):
        answer = ask(("GET", "/api/jobs"))
    jobs = answer.json()["jobs"]
    assert len(jobs) == len(first.json()["jobs"]) == 103 + len(HOSTILE)
    good = [job for job in jobs if job["id"].startswith("good-")]
    assert {job["name"] for job in good} == {f"tray {n}" for n in range(100)}
    assert all(job["photos"] == 1 and job["error"] is None for job in good)
    assert all(job["error"] for job in jobs if job not in good)
    assert first.elapsed.total_seconds() < 1.5  # 0.5 in the benchmark, on a computer of its own


LINKS = ["job.toml", ".snugline", "removed", "job-result"]


@pytest.mark.parametrize("name", LINKS)
def test_a_job_that_holds_a_link_stays_shut(ask, tmp_path, name):
    elsewhere = tmp_path / ".elsewhere"
    elsewhere.mkdir()
    (elsewhere / "job.toml").write_text(GOOD)
    folder = a_job(ask.folder / "linked", GOOD)
    if name == "job.toml":
        (folder / name).unlink()
        (folder / name).symlink_to(elsewhere / "job.toml")
    else:
        (folder / name).symlink_to(elsewhere)
    asked = ["", "/photos/x/picture", "/files.zip", "/files/result.json", "/outline", "/plan"]
    listed, *answers = ask(
        ("GET", "/api/jobs"), *(("GET", "/api/jobs/linked" + path) for path in asked)
    )
    (entry,) = listed.json()["jobs"]
    assert name in entry["error"]["what"]
    assert "link" in entry["error"]["what"]
    for answer in answers:
        assert answer.status_code == 422
        assert "link" in answer.json()["error"]["what"]
    assert sorted(p.name for p in elsewhere.iterdir()) == ["job.toml"]


def test_a_linked_folder_is_no_job(ask, tmp_path):
    elsewhere = a_job(tmp_path / ".elsewhere", GOOD)
    (ask.folder / "linked").symlink_to(elsewhere)
    listed, opened = ask(("GET", "/api/jobs"), ("GET", "/api/jobs/linked"))
    assert listed.json()["jobs"] == []
    assert opened.status_code == 404


def test_links_among_the_results_and_the_photos_are_not_given_out(ask, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text(SECRET)
    folder = a_job(ask.folder / "linked", GOOD)
    (folder / "left.jpg").symlink_to(secret)
    (folder / "job-result").mkdir()
    (folder / "job-result" / "p.txt").symlink_to(secret)
    names = {"p.txt": hashlib.sha256(SECRET.encode()).hexdigest()}
    manifest = {"files": ["p.txt", "result.json", "../../secret.txt"], "sha256": names}
    (folder / "job-result" / "result.json").write_text(json.dumps(manifest))
    for kind, name in (("measured", "x.json"), ("pictures", "x.jpg"), ("finishing", "step.txt")):
        (folder / ".snugline" / kind).mkdir(parents=True)
        (folder / ".snugline" / kind / name).symlink_to(secret)
    opened = ask(("GET", "/api/jobs/linked")).json()
    photo = opened["photos"][0]["id"]
    assert [entry["name"] for entry in opened["files"]["list"]] == ["result.json"]
    assert "link" in opened["files"]["error"]["what"]
    answers = ask(
        ("GET", "/api/jobs/linked/files/p.txt"),
        ("GET", "/api/jobs/linked/files.zip"),
        ("GET", f"/api/jobs/linked/photos/{photo}/picture"),
        ("GET", f"/api/jobs/linked/photos/{photo}/contour"),
    )
    for answer in answers:
        assert SECRET.encode() not in answer.content
    assert secret.read_text() == SECRET


@pytest.mark.parametrize("kind", ["measured", "fitted", "pictures", "incoming", "finishing"])
def test_a_linked_folder_of_kept_results_is_neither_read_nor_written(ask, tmp_path, kind):
    elsewhere = tmp_path / ".elsewhere"
    elsewhere.mkdir()
    folder = a_job(ask.folder / "linked", GOOD)
    (folder / ".snugline").mkdir()
    (folder / ".snugline" / kind).symlink_to(elsewhere)
    answer = ask(("POST", "/api/jobs/linked/photos", {"content": b"x" * 100}))
    assert answer.status_code in (415, 422)
    assert list(elsewhere.iterdir()) == []
