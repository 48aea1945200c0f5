"""Whole jobs: renamed, copied, into the bin and back, out as a zip and in again."""

import io
import os
import stat
import zipfile

import pytest
from PIL import Image

from snugline.desk.page.jobs import job_archive, job_moves
from snugline.desk.page.jobs.job_folders import Shelf
from snugline.errors import FileError

TOML = '[part]\nname = "tray"\n[frame]\ndescription = "own.json"\n[[photo]]\nfile = "left.jpg"\nshows = "left end"\n'  # noqa: E501


def jpeg():
    stream = io.BytesIO()
    Image.new("RGB", (640, 480), (200, 90, 40)).save(stream, "JPEG")
    return stream.getvalue()


@pytest.fixture
def tray(tmp_path):
    folder = tmp_path / "tray"
    folder.mkdir()
    (folder / "job.toml").write_text(TOML)
    (folder / "left.jpg").write_bytes(jpeg())
    (folder / "own.json").write_text("{}")
    (folder / "job-result").mkdir()
    (folder / "job-result" / "outline.svg").write_text("<svg/>")
    return folder


def zipped(entries, **of_first):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, content in entries:
            info = zipfile.ZipInfo(name)
            for key, value in of_first.items():
                setattr(info, key, value)
            archive.writestr(info, content)
    return stream.getvalue()


GOOD = [("job.toml", TOML), ("left.jpg", jpeg()), ("own.json", "{}")]


def test_a_job_is_renamed_copied_and_put_into_the_bin_and_back(ask, tray):
    renamed, copied, jobs, removed, none, bin_, gone = ask(
        ("PUT", "/api/jobs/tray/name", {"json": {"name": "slate tray"}}),
        ("POST", "/api/jobs/tray/copy", {"json": {"name": "slate tray, second"}}),
        ("GET", "/api/jobs"),
        ("DELETE", "/api/jobs/tray"),
        ("GET", "/api/jobs/tray"),
        ("GET", "/api/bin"),
        ("GET", "/api/jobs"),
    )
    assert renamed.status_code == 200
    assert copied.json() == {"id": "slate-tray-second"}
    assert {job["name"] for job in jobs.json()["jobs"]} == {"slate tray", "slate tray, second"}
    copy = tray.parent / "slate-tray-second"
    # A copy has the job's own files and no results.
    kept = [name for name in sorted(os.listdir(copy)) if name != ".snugline"]  # its lock's folder
    assert kept == ["job.toml", "left.jpg", "own.json"]
    assert none.status_code == 404
    (entry,) = bin_.json()["jobs"]
    assert (entry["id"], entry["job"]) == (removed.json()["removed"], "tray")
    assert [job["id"] for job in gone.json()["jobs"]] == ["slate-tray-second"]
    back, unknown = ask(
        ("POST", f"/api/bin/{entry['id']}/restore"),
        ("POST", f"/api/bin/{entry['id']}/restore"),
    )
    assert back.json() == {"id": "tray"}
    assert (tray / "job-result" / "outline.svg").exists()
    assert unknown.status_code == 404


def test_a_thumbnail_is_small_and_opens_no_job(ask, tray):
    picture, none = ask(
        ("GET", "/api/jobs/tray/thumbnail"),
        ("POST", "/api/jobs", {"json": {"name": "empty"}}),
    )
    with Image.open(io.BytesIO(picture.content)) as image:
        assert image.size == (320, 240)
    assert not (tray / ".snugline" / "measured").exists()
    assert ask(("GET", "/api/jobs/empty/thumbnail")).status_code == 404
    assert none.status_code == 201


def test_a_zip_goes_out_and_comes_in_as_the_same_job(ask, tray):
    out = ask(("GET", "/api/jobs/tray/job.zip"))
    assert out.headers["content-disposition"].endswith('filename="tray-job.zip"')
    with zipfile.ZipFile(io.BytesIO(out.content)) as archive:
        assert sorted(archive.namelist()) == ["job.toml", "left.jpg", "own.json"]
    made = ask(("POST", "/api/jobs/zip?name=tray-job.zip", {"content": out.content}))
    assert made.json() == {"id": "tray-2"}
    for name in ("job.toml", "left.jpg", "own.json"):
        assert (tray.parent / "tray-2" / name).read_bytes() == (tray / name).read_bytes()
    # Nothing else is left beside the jobs.
    assert sorted(os.listdir(tray.parent)) == ["tray", "tray-2"]


def test_a_zip_with_one_folder_in_it_comes_in(tmp_path):
    source = tmp_path / "a.zip"
    source.write_bytes(zipped([(f"tray/{name}", content) for name, content in GOOD]))
    assert job_archive.unpack(Shelf(tmp_path), source, "a.zip") == "tray"


HOSTILE = {
    "no zip": b"PK nonsense",
    "no job": zipped([("left.jpg", b"x")]),
    "a way out": zipped([*GOOD, ("../out.txt", b"x")]),
    "all of it out": zipped([(f"../{name}", content) for name, content in GOOD]),
    "an absolute way": zipped([(f"/etc/{name}", content) for name, content in GOOD]),
    "a drive": zipped([*GOOD, ("C:evil.jpg", b"x")]),
    "two folders": zipped([("a/job.toml", TOML), ("b/left.jpg", b"x")]),
    "a link": zipped([("job.toml", "/etc/passwd")], external_attr=(stat.S_IFLNK | 0o777) << 16),
    "a device": zipped([*GOOD, ("con.jpg", b"x")]),
    "twice": None,
    "many": zipped([*GOOD, *((f"{n}.jpg", b"") for n in range(500))]),
    "a job out of bounds": zipped([("job.toml", "x = 1\n" * 50_000)]),
    "a photo elsewhere": zipped([("job.toml", TOML.replace("left.jpg", "../left.jpg"))]),
    "a photo that is not there": zipped([("job.toml", TOML)]),
}


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_zip_is_refused_and_leaves_nothing(tmp_path, case):
    content = HOSTILE[case] or zipped([*GOOD, ("left.jpg", b"other")])
    folder = tmp_path / "jobs"
    folder.mkdir()
    source = tmp_path / "a.zip"
    source.write_bytes(content)
    with pytest.raises(FileError, match=r"a\.zip"):
        job_archive.unpack(Shelf(folder), source, "a.zip")
    assert os.listdir(folder) == []
    assert sorted(os.listdir(tmp_path)) == ["a.zip", "jobs"]


def test_a_zip_that_grows_without_end_is_stopped(tmp_path, monkeypatch):
    monkeypatch.setattr(job_archive, "UPLOAD_BYTES", 100_000)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("job.toml", TOML)
        archive.writestr("left.jpg", bytes(10_000_000))
    source = tmp_path / "a.zip"
    source.write_bytes(stream.getvalue())
    assert source.stat().st_size < 20_000
    with pytest.raises(FileError, match="too large"):
        job_archive.unpack(Shelf(tmp_path), source, "a.zip")


def test_the_bin_is_no_way_to_other_places(tmp_path, tray):
    other = tmp_path / "other"
    other.mkdir()
    (tmp_path / ".bin").symlink_to(other)
    with pytest.raises(FileError, match="link"):
        job_moves.put_away(Shelf(tmp_path), tray / "job.toml")
    (tmp_path / ".bin").unlink()
    with pytest.raises(LookupError):
        job_moves.put_back(Shelf(tmp_path), "../tray--20260101-000000")


def test_the_sample_is_a_job_to_try(ask):
    made = ask(("POST", "/api/jobs/sample"))
    found = ask(("GET", f"/api/jobs/{made.json()['id']}"))
    assert len(found.json()["photos"]) == 2


PLAIN = {"name": "plain frame", "units": "mm", "kind": "plain", "opening": [250, 200],
         "border": 30, "thickness": 3}  # fmt: skip


def test_a_frame_of_ones_own_is_laid_under_a_sheet_of_the_job(ask, tray):
    def lay(number, description):
        said = {"number": number, "description": description}
        return ("POST", "/api/jobs/tray/frames", {"json": said})

    laid, wrong, odd, job = ask(
        lay(0, PLAIN), lay(0, {"kind": "plain"}), lay(0, "own.json"), ("GET", "/api/jobs/tray")
    )
    name = laid.json()["description"]
    assert laid.status_code == 201
    assert (tray / name).is_file()
    assert job.json()["job"]["frame"] == {"description": name}
    assert (wrong.status_code, odd.status_code) == (422, 422)
    assert not [fault for fault in job.json()["faults"] if fault["key"][:1] == ["frame"]]


def test_the_page_gets_what_a_frame_of_ones_own_measures(ask, tray):
    said = {"number": 0, "description": PLAIN, "bars": {"x": "250.1 mm", "y": "199.9 mm"}}
    laid, seen, beyond, job = ask(
        ("POST", "/api/jobs/tray/frames", {"json": said}),
        ("GET", "/api/jobs/tray/frames/0"),
        ("GET", "/api/jobs/tray/frames/1"),
        ("GET", "/api/jobs/tray"),
    )
    assert laid.status_code == 201
    bars = {"x": 250.0, "y": 200.0}
    assert seen.json() == {"name": "plain frame", "kind": "plain", "border": 30.0, "bars": bars}
    assert beyond.status_code == 404
    frame = job.json()["job"]["frame"]
    assert (frame["bar_x"], frame["bar_y"]) == ("250.1 mm", "199.9 mm")


def test_a_built_in_sheet_is_none_of_the_jobs_own(ask):
    made, seen = ask(
        ("POST", "/api/jobs", {"json": {"name": "lid"}}), ("GET", "/api/jobs/lid/frames/0")
    )
    assert (made.status_code, seen.status_code) == (201, 404)


def test_a_job_of_a_shop_that_works_in_inches_is_on_its_paper(ask):
    made, job = ask(
        ("POST", "/api/jobs", {"json": {"name": "lid", "unit": "in"}}), ("GET", "/api/jobs/lid")
    )
    assert made.status_code == 201
    assert job.json()["job"]["frame"] == {"description": "border-letter"}
    assert job.json()["job"]["output"] == {"units": "in", "paper": "letter"}
