"""`snugline run`: what it prints and how it leaves; the runs themselves are stood in for."""

import json
from pathlib import Path

import pytest

from snugline.desk.batch import Outcome
from snugline.desk.result_record import summary
from snugline.errors import InputError
from snugline.notice import Notice

SAMPLE = Path(__file__).parents[2] / "samples" / "basalt-plate-in-ash-board"
RECORD = {
    "part": "tray",
    "state": "usable",
    "because": ["code"],
    "outline": {
        "family": "superellipse rectangle",
        "length": {"value": 418.0, "u95": 0.3},
        "width": {"value": 118.5, "u95": 0.05},
        "corners": [
            {"at": at, "family": "superellipse", "exponent": {"value": 2.7, "u95": 0.01}}
            for at in ("front left", "front right", "back right", "back left")
        ],
    },
}


@pytest.fixture
def outcomes(monkeypatch):
    """Let every run come out as told, and record what was asked for."""
    asked = []

    def come_out(*told):
        def run_all(jobs, making, processes):
            asked.extend(jobs)
            return [
                Outcome(job, folder, **one) for (job, folder), one in zip(jobs, told, strict=True)
            ]

        monkeypatch.setattr("snugline.desk.batch.run_all", run_all)
        return asked

    return come_out


def fine(*severities):
    notices = tuple(Notice("code", f"it is {s}", "do so", s) for s in severities)
    state = "not to be cut" if "retake" in severities else "usable"
    record = {**RECORD, "state": state, "warnings": [notice.as_json() for notice in notices]}
    return {"record": record, "lines": summary(record, Path("out")), "notices": notices}


def failed():
    return {"error": InputError("no unit", "job.toml, [part]", "write mm")}


def test_dimensions_go_to_standard_output_and_remarks_beside(snugline, outcomes):
    outcomes(fine("fine", "usable"))
    status, out, err = snugline("run", "job.toml")
    assert status == 0
    assert "length: 418.00 mm, U95 0.30 mm" in out
    assert "all corners, exponent: 2.70, U95 0.01" in out
    assert err == "warning: It is usable. Do so.\n"


def test_a_photo_to_retake_makes_the_status_1(snugline, outcomes):
    outcomes(fine("retake"))
    status, out, err = snugline("run", "job.toml")
    assert status == 1
    # The cause stands in the first line, and is not told twice.
    assert out.startswith("tray: not to be cut. It is retake. Do so.")
    assert err == ""


def test_a_single_job_that_is_refused_leaves_with_2(snugline, outcomes):
    outcomes(failed())
    status, out, err = snugline("run", "job.toml")
    assert (status, out) == (2, "")
    assert err == "snugline: job.toml, [part]: no unit; write mm\n"


def test_of_several_jobs_each_is_told_and_one_failure_makes_1(snugline, outcomes):
    outcomes(fine(), failed())
    status, out, err = snugline("run", "a.toml", "b.toml")
    assert status == 1
    assert "tray" in out
    assert "no unit" in err


def test_json_is_one_record_for_one_job_and_a_list_for_several(snugline, outcomes):
    outcomes(fine())
    assert json.loads(snugline("run", "a.toml", "--json")[1])["part"] == "tray"
    outcomes(fine(), failed())
    good, bad = json.loads(snugline("run", "a.toml", "b.toml", "--json")[1])
    assert good["part"] == "tray"
    assert bad["error"] == {"what": "no unit", "where": "job.toml, [part]", "mend": "write mm"}


def test_results_go_beside_the_job_or_where_told(snugline, outcomes, tmp_path):
    asked = outcomes(fine())
    snugline("run", tmp_path / "tray.toml")
    snugline("run", tmp_path / "tray.toml", "--out", tmp_path / "here")
    folders = [folder.relative_to(tmp_path).as_posix() for _, folder in asked]
    assert folders == ["tray-result", "here"]


def test_several_jobs_share_a_folder_by_name(snugline, outcomes, tmp_path):
    asked = outcomes(fine(), fine())
    jobs = [tmp_path / "tray" / "job.toml", tmp_path / "mat.toml"]
    snugline("run", *jobs, "--out", tmp_path / "out")
    assert [folder.name for _, folder in asked] == ["tray", "mat"]


def test_two_jobs_of_one_name_are_refused(snugline, tmp_path):
    jobs = [tmp_path / "a" / "tray.toml", tmp_path / "b" / "tray.toml"]
    status, _, err = snugline("run", *jobs, "--out", tmp_path / "out")
    assert status == 2
    assert "same folder" in err


def test_a_job_that_cannot_be_read_writes_nothing(snugline, tmp_path):
    (tmp_path / "job.toml").write_text('[part]\nthicknes = "9 mm"\n')
    status, _, err = snugline("run", tmp_path / "job.toml")
    assert status == 2
    assert err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]
