"""`snugline camera`: a learned phone is kept, and jobs and traces find it."""

import json
from pathlib import Path

import numpy as np
import pytest

from snugline.desk.job import inspect_job
from snugline.trace.camera.lens import Lens
from snugline.trace.known_cameras import CameraKey, KnownCamera, lens_finder, save

PHOTOS = Path(__file__).parents[2].parent / "shared" / "photos"
FRAMES_ONLY = PHOTOS / "phone-frames-only"
needs_photos = pytest.mark.skipif(not PHOTOS.is_dir(), reason="the rendered photos are not there")


@pytest.fixture
def shop_phone(no_learned_cameras):
    lens = Lens(3000.0, (1990.0, 1510.0), (0.0, 0.0, 0.0, 0.0), (4000, 3000))
    key = CameraKey(None, None, None, None, 26.0, (4000, 3000))
    save(KnownCamera("shop phone", key, lens, np.eye(7), 6, 0.01), no_learned_cameras)


@needs_photos
def test_a_phone_is_learned_and_kept(snugline, no_learned_cameras):
    # A photo from 11 degrees aside: one from straight above tells nothing of the focal length.
    status, out, err = snugline(
        "camera", FRAMES_ONLY / "photo-2.jpg", "--frame", FRAMES_ONLY / "frame.json",
        "--bar-x", "199.68mm", "--bar-y", "120.2mm", "--name", "phone a", "--json",
    )  # fmt: skip
    assert status == 0
    assert "cannot be tested" in err
    record = json.loads(out)
    truth = json.loads((FRAMES_ONLY / "truth.json").read_text())["lens"]
    assert record["focal_px"] == pytest.approx(truth["f"], rel=0.003)
    assert record["holdout_mm"] is None
    assert Path(record["file"]).parent == no_learned_cameras
    lens_finder("Phone A")


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--frame", "border-a4"], "PHOTO"),
        (["absent.jpg", "--frame", "border-a4"], "absent.jpg"),
        (["p.jpg", "--frame", "border-a9"], "border-a9"),
        (["p.jpg", "--frame", "border-a4", "--bar-x", "200"], "no unit"),
    ],
)
def test_what_cannot_be_learned_from_is_refused_in_a_line(snugline, arguments, named):
    status, out, err = snugline("camera", *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert named in err


def test_a_plain_frame_is_refused(snugline, tmp_path):
    plain = {"name": "p", "units": "mm", "kind": "plain", "opening": [200, 100], "border": 20,
             "thickness": 3}  # fmt: skip
    (tmp_path / "plain.json").write_text(json.dumps(plain))
    status, _, err = snugline("camera", "p.jpg", "--frame", tmp_path / "plain.json")
    assert status == 2
    assert "without markers" in err


@pytest.mark.usefixtures("shop_phone")
def test_a_job_names_its_camera(tmp_path, frame_record):
    (tmp_path / "frame.json").write_text(json.dumps(frame_record))
    (tmp_path / "left.jpg").touch()
    rest = (
        '[part]\nthickness = "9 mm"\n[frame]\ndescription = "frame.json"\n'
        '[[photo]]\nfile = "left.jpg"\nshows = "left end"\n'
    )
    path = tmp_path / "job.toml"
    path.write_text('camera = "shop phone"\n' + rest)
    job, faults = inspect_job(path)
    assert (job.camera, faults) == ("shop phone", [])
    path.write_text('camera = "other phone"\n' + rest)
    (fault,) = inspect_job(path)[1]
    assert "other phone" in fault.what
    assert "shop phone" in fault.mend
    path.write_text("camera = 7\n" + rest)
    (fault,) = inspect_job(path)[1]
    assert fault.where == f"{path}, camera"


@pytest.mark.usefixtures("shop_phone")
def test_a_trace_names_a_camera_that_must_have_been_learned(snugline):
    arguments = ["trace", "p.jpg", "--frame", "border-a4", "--thickness", "9mm"]
    status, _, err = snugline(*arguments, "--camera", "other phone")
    assert status == 2
    assert "'other phone'" in err
    assert "'shop phone'" in err
