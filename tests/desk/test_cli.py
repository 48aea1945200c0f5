"""The command line: help, exit statuses, one line for each error."""

import json
import subprocess
import sys

import pytest

HEAVY = (
    "cv2",
    "ezdxf",
    "fpdf",
    "numpy",
    "PIL",
    "pydantic",
    "rich",
    "scipy",
    "shapely",
    "skimage",
    "svgwrite",
)


def commands():
    import typer.main

    from snugline.desk.cli import app

    return sorted(typer.main.get_command(app).commands)


def test_help_loads_nothing_heavy():
    code = (
        "import sys\n"
        "from snugline.desk.cli import main\n"
        "try:\n"
        "    main(['--help'])\n"
        "except SystemExit:\n"
        f"    print(sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True)
    assert done.stderr.strip() == "[]"
    assert "snugline" in done.stdout


@pytest.mark.parametrize("command", commands())
def test_every_command_shows_examples_and_json(snugline, command):
    status, out, err = snugline(command, "--help")
    assert (status, err) == (0, "")
    assert "Example" in out
    assert f"snugline {command}" in out
    assert "--json" in out


def test_without_a_command_the_help_is_shown_with_the_exit_statuses(snugline):
    status, out, _ = snugline()
    assert status == 0
    assert "Exit status" in out


def test_the_version_is_shown(snugline):
    status, out, _ = snugline("--version")
    assert status == 0
    assert out.startswith("snugline 0.")


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["chek"], "No such command 'chek'"),
        (["check"], "JOB"),
        (["check", "--jsn", "job.toml"], "--jsn"),
        (["check", "absent.toml"], "absent.toml"),
        (["new", "no-such-folder/job.toml", "--thickness", "9 mm"], "no-such-folder"),
    ],
)
def test_a_user_s_error_is_one_line_and_status_2(snugline, arguments, named):
    status, out, err = snugline(*arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith("snugline")
    assert named in err


def test_a_fault_of_ours_is_one_line_and_status_3(snugline, monkeypatch):
    def broken(path):
        raise RuntimeError("two\nlines")

    monkeypatch.setattr("snugline.desk.job.inspect_job", broken)
    monkeypatch.delenv("SNUGLINE_TRACEBACK", raising=False)
    status, _, err = snugline("check", "job.toml")
    assert status == 3
    assert err.count("\n") == 1
    assert "RuntimeError: two lines" in err


NEW = ["--thickness", "9.5mm", "--photo", "left.jpg=left end"]


def test_a_new_job_can_be_checked(snugline, tmp_path, monkeypatch, frame_record):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "left.jpg").touch()
    (tmp_path / "frame.json").write_text(json.dumps(frame_record))
    more = [
        "--frame",
        "frame.json",
        "--length",
        "16 7/16 in",
        "--width",
        "118.5 mm",
        "--clearance",
        "0.3mm, 0.5mm",
    ]
    status, out, _ = snugline("new", "job.toml", *NEW, *more, "--name", 'a "fine" tray')
    assert status == 0
    assert "snugline run job.toml" in out
    text = (tmp_path / "job.toml").read_text()
    assert '"16 7/16 in"' in text
    status, out, _ = snugline("check", "job.toml", "--json")
    report = json.loads(out)
    assert [remark["code"] for remark in report[0]["remarks"]] == [
        "one-thickness",
        "edge-not-stated",
        "edge-not-stated",
        "bars-not-measured",
        "end-not-shown",
    ]
    assert (status, report[0]["faults"]) == (0, [])


def test_a_new_job_never_overwrites(snugline, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.toml").write_text("mine")
    status, _, err = snugline("new", "job.toml", *NEW)
    assert (status, (tmp_path / "job.toml").read_text()) == (2, "mine")
    assert "exists already" in err


def test_a_new_job_with_a_wrong_unit_names_the_option_and_writes_nothing(
    snugline, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    status, _, err = snugline("new", "job.toml", *NEW, "--width", "118.5")
    assert status == 2
    assert "--width" in err
    assert list(tmp_path.iterdir()) == []


def test_a_new_job_with_a_fault_is_to_be_corrected_and_checked(snugline, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "left.jpg").touch()
    wrong = ["--thickness", "9.5mm", "--photo", "left.jpg=left", "--frame", "border-a4"]
    status, out, err = snugline("new", "job.toml", *wrong)
    assert status == 0
    # A photo with a fault is not a missing photo.
    assert [line for line in err.splitlines() if "photo" in line] == [err.splitlines()[0]]
    assert "'left' is not one of the allowed values" in err
    assert "correct it, then: snugline check job.toml" in out


def test_check_lists_every_fault(snugline, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text('[part]\nthicknes = "9 mm"\n')
    status, _, err = snugline("check", path)
    assert status == 2
    assert err.count("\n") == 3
    assert "thickness" in err.splitlines()[0]
