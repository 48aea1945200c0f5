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


def test_cuts_that_were_tight_say_that_the_machine_cuts_narrow(snugline, job):
    cut = ["--clearance", "0.5mm", "--verdict", "tight"]
    for count in (1, 2, 3):
        status, out, err = snugline("fitted", job, *cut, *MACHINE)
        assert (status, err) == (0, "")
        assert ("too narrow" in out) == (count >= 3)
    _, out, _ = snugline("fitted", *MACHINE, "--json")
    told = json.loads(out)
    assert (told["cuts"], told["claimed"]) == (3, True)
    assert told["width_error"]["value"] < -0.1


def test_the_job_says_wood_machine_cutter_and_kind_where_the_user_does_not(snugline, job):
    job.write_text(
        job.read_text() + '[pocket]\nclearance = "0.4 mm"\nkind = "brittle"\nmachine = "Bench"\n'
        'cutter = {diameter = "6 mm"}\n[pocket.wood]\nspecies = "walnut"\ngrain = "length"\n'
        "now = {moisture = 8}\ndriest = {moisture = 6}\ndampest = {moisture = 10}\n"
    )
    status, _, err = snugline("fitted", job, "--clearance", "0.4mm", "--verdict", "snug")
    assert (status, err) == (0, "")
    _, out, _ = snugline("fitted", "--list", "--json")
    (record,) = json.loads(out)
    assert (record["kind"], record["machine"], record["cutter"]) == ("brittle", "Bench", 6.0)
    assert record["wood"] == "walnut"


def test_the_part_s_uncertainty_is_found_in_any_folder_beside_the_job(snugline, job, tmp_path):
    said = ["--clearance", "0.4mm", "--verdict", "snug", *MACHINE]
    _, out, _ = snugline("fitted", job, *said)
    assert "no result of this part was found" in out
    folder = tmp_path / "out"
    folder.mkdir()
    sizes = {"length": {"value": 400, "u95": 1.2}, "width": {"value": 100, "u95": 0.1}}
    (folder / "result.json").write_text(json.dumps({"part": "tray", "outline": sizes}))
    for more in ([], ["--result", folder]):
        _, out, _ = snugline("fitted", job, *said, *more)
        assert "no result" not in out
    from snugline.pocket.records import Records

    last = Records().cuts()[-1]
    assert last.length_u == pytest.approx(0.6 / 1.96)
    assert last.part_u == pytest.approx(0.05 / 1.96)


def test_records_are_listed_changed_removed_and_changes_undone(snugline, job, tmp_path):
    for gap in ("0.5mm", "0.4mm"):
        snugline("fitted", job, "--clearance", gap, "--verdict", "snug", *MACHINE)
    _, out, _ = snugline("fitted", "--list")
    first = out.splitlines()[0].split()[0]
    assert "0.50 mm" in out
    snugline("fitted", "--edit", first, "--clearance", "0.05mm", "--verdict", "does not enter")
    assert "0.05 mm  does not enter" in snugline("fitted", "--list")[1]
    snugline("fitted", "--remove", first)
    assert len(snugline("fitted", "--list")[1].splitlines()) == 1
    for _ in range(2):
        assert snugline("fitted", "--undo")[0] == 0
    assert "0.50 mm  snug" in snugline("fitted", "--list")[1]
    snugline("fitted", "--export", tmp_path / "out.csv")
    assert "opening_error (mm)" in (tmp_path / "out.csv").read_text()


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
