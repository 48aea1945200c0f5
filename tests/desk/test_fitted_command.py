"""`snugline fitted`: cuts go on record and come back as an estimate."""

import json

import pytest

MACHINE = ["--wood", "poplar", "--machine", "big router"]


@pytest.fixture(autouse=True)
def own_data_folder(tmp_path, monkeypatch):
    monkeypatch.setattr("snugline.pocket.records.default_path", lambda: tmp_path / "fits.sqlite")


@pytest.fixture
def job(tmp_path, frame_record):
    (tmp_path / "frame.json").write_text(json.dumps(frame_record))
    (tmp_path / "left.jpg").touch()
    path = tmp_path / "job.toml"
    path.write_text(
        '[part]\nname = "tray"\nthickness = "9 mm"\n[frame]\ndescription = "frame.json"\n'
        '[[photo]]\nfile = "left.jpg"\nshows = "left end"\n'
    )
    return path


def test_a_cut_that_was_tight_says_that_the_machine_cuts_narrow(snugline, job):
    _, before, _ = snugline("fitted", *MACHINE, "--json")
    cut = ["--clearance", "0.5mm", "--verdict", "tight"]
    status, _, err = snugline("fitted", job, *cut, *MACHINE)
    assert (status, err) == (0, "")
    _, after, _ = snugline("fitted", *MACHINE, "--json")
    before, after = json.loads(before), json.loads(after)
    assert (before["cuts"], after["cuts"]) == (0, 1)
    assert after["overcut"]["value"] < before["overcut"]["value"]
    assert after["overcut"]["u95"] < before["overcut"]["u95"]


def test_records_go_out_and_come_in_again_once(snugline, job, tmp_path):
    snugline("fitted", job, "--clearance", "0.5mm", "--verdict", "snug", *MACHINE)
    snugline("fitted", "--export", tmp_path / "out.json")
    (tmp_path / "fits.sqlite").unlink()
    for added in (1, 0):
        _, out, _ = snugline("fitted", "--import", tmp_path / "out.json", "--json")
        assert json.loads(out) == {"added": added}


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--verdict", "snug"], "job"),
        (["JOB", "--verdict", "snug"], "--clearance"),
        (["JOB", "--clearance", "0.5mm"], "--verdict"),
        (["JOB", "--clearance", "0.5", "--verdict", "snug"], "no unit"),
        (["JOB", "--clearance", "0.5mm", "--verdict", "perfect"], "perfect"),
        (["JOB", "--clearance=-1mm", "--verdict", "snug"], "negative"),
    ],
)
def test_half_a_record_is_refused(snugline, job, arguments, named):
    given = [job if word == "JOB" else word for word in arguments]
    status, _, err = snugline("fitted", *given, *MACHINE)
    assert status == 2
    assert err.count("\n") == 1
    assert named in err
