"""Learned cameras, against the lens that rendered the photos (its `truth.json`)."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from photo_truth import Case, distortion_error

from snugline.errors import FileError, InputError
from snugline.trace.camera.lens import Lens
from snugline.trace.image.photo_file import Exif, Photo
from snugline.trace.known_cameras import (
    CameraKey,
    KnownCamera,
    judge_camera,
    learn,
    prior_for,
    read_cameras,
    save,
)
from snugline.trace.sheet.frame_description import read_frame, with_print_scale

FOLDER = Path(__file__).parents[2].parent / "shared" / "photos" / "phone-frames-only"
needs_photos = pytest.mark.skipif(not FOLDER.is_dir(), reason="the rendered photos are not there")
TWO = (1, 5)  # the second is stored upside down

LENS = Lens(3000.0, (1990.0, 1510.0), (0.02, -0.1, 0.3, -0.2), (4000, 3000))
COVARIANCE = np.diag([1.0, 0.04, 0.04, 1e-6, 1e-5, 1e-5, 1e-5])
KEY = CameraKey("maker", "model", None, 5.6, 26.0, (4000, 3000))
CAMERA = KnownCamera("Shop phone", KEY, LENS, COVARIANCE, 6, 0.01)


def photo(orientation=1, make="maker", size=(4000, 3000)):
    width, height = size if orientation <= 4 else size[::-1]
    pixels = np.broadcast_to(np.uint8(0), (height, width, 3))
    exif = Exif(make, "model", None, 5.6, 26.0, orientation)
    return Photo(Path("p.jpg"), pixels, exif)


@pytest.fixture(scope="module")
def learned():
    readings = json.loads((FOLDER / "readings.json").read_text())["readings"]
    bars = [reading["value"] for reading in readings]
    files = [FOLDER / f"photo-{n}.jpg" for n in TWO]
    return learn(files, [with_print_scale(read_frame(FOLDER / "frame.json"), *bars)])


@needs_photos
def test_two_photos_give_the_lens_they_were_rendered_with(learned):
    truth = json.loads((FOLDER / "truth.json").read_text())["lens"]
    assert learned.lens.focal == pytest.approx(truth["f"], rel=1e-3)
    assert learned.lens.centre == pytest.approx((truth["cx"], truth["cy"]), abs=2)
    assert distortion_error(Case(FOLDER), learned.lens, TWO) < 0.15
    assert (learned.photos, learned.name) == (2, "rendered")
    assert 0 < learned.holdout_mm < 0.02


@needs_photos
def test_the_covariance_says_how_far_the_learned_lens_is_from_the_true_one(learned):
    truth = json.loads((FOLDER / "truth.json").read_text())["lens"]
    true = np.array([truth["f"], truth["cx"], truth["cy"], *truth["radial_polynomial"]])
    off = learned.lens.vector() - true
    unit = np.sqrt(np.diag(learned.covariance))
    square = (off / unit) @ np.linalg.inv(learned.covariance / np.outer(unit, unit)) @ (off / unit)
    # Chi square with 7 degrees of freedom: 0.1 % lie above 24.32 (any table, from memory).
    assert square < 24.32


def test_a_camera_is_the_same_after_saving_and_reading(tmp_path):
    path = save(CAMERA, tmp_path / "cameras")
    (again,) = read_cameras(path.parent)
    assert (again.name, again.key, again.lens, again.photos) == ("Shop phone", KEY, LENS, 6)
    np.testing.assert_array_equal(again.covariance, COVARIANCE)
    save(replace(CAMERA, name="shop PHONE", photos=8), path.parent)
    assert [camera.photos for camera in read_cameras(path.parent)] == [8]
    assert read_cameras(tmp_path / "absent") == ()


@pytest.mark.parametrize("damage", ["", "{}", "[]", '{"schema": "snugline/camera/1"}'])
def test_a_damaged_file_is_named(tmp_path, damage):
    path = save(CAMERA, tmp_path)
    path.write_text(damage)
    with pytest.raises(FileError, match=path.name):
        read_cameras(tmp_path)


@pytest.mark.parametrize(
    ("photos", "holdout", "code"),
    [(6, 0.01, []), (6, 0.08, ["lens-varies"]), (1, np.nan, ["one-photo"])],
)
def test_a_doubtful_camera_is_remarked_on(photos, holdout, code):
    camera = replace(CAMERA, photos=photos, holdout_mm=holdout)
    assert [notice.code for notice in judge_camera(camera)] == code


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_centre_turns_with_the_picture_as_the_reader_turns_it(orientation):
    from snugline.trace.image.photo_file import _turned

    prior = CAMERA.prior(orientation)
    stored = np.zeros((3000, 4000, 3), np.uint8)
    stored[1510, 1990] = 255
    shown = _turned(stored, orientation)
    (v,), (u,) = np.nonzero(shown[..., 0])
    assert prior.lens.centre == (u, v)
    assert prior.lens.size == shown.shape[1::-1]


def test_a_turned_prior_has_the_precision_of_the_turned_centre():
    flat = replace(CAMERA, covariance=np.diag([1.0, 25.0, 0.04, 1e-6, 1e-5, 1e-5, 1e-5]))
    upright, turned = (np.linalg.inv(flat.prior(k).precision) for k in (1, 6))
    assert turned[2, 2] == pytest.approx(upright[1, 1])
    assert turned[1, 1] == pytest.approx(upright[2, 2])
    assert upright[1, 1] > upright[2, 2] + 20


def test_a_prior_leaves_room_for_focusing():
    covariance = np.linalg.inv(CAMERA.prior(1).precision)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(np.hypot(1.0, 0.003 * 3000), rel=1e-6)


def test_photos_find_their_camera_by_exif_or_by_name():
    assert prior_for(photo(), [CAMERA]).lens == LENS
    assert prior_for(photo(6), [CAMERA]).lens.size == (3000, 4000)
    assert prior_for(photo(make="another"), [CAMERA]) is None
    assert prior_for(photo(make=None), [CAMERA]) is None
    assert prior_for(photo(size=(2000, 1500)), [CAMERA]) is None
    assert prior_for(photo(make=None), [CAMERA], "shop phone").lens == LENS


def test_a_camera_that_was_not_learned_is_refused():
    with pytest.raises(InputError, match="Shop phone"):
        prior_for(photo(), [CAMERA], "other")


def test_a_camera_learned_with_another_size_is_not_used_and_that_is_said():
    remark = prior_for(photo(size=(2000, 1500)), [CAMERA], "Shop phone")
    assert remark.code == "camera-of-another-size"
    assert "2000 x 1500" in remark.text
    assert remark.about.file == "p.jpg"


def written(tmp_path, name, size=(400, 300), **exif):
    from PIL import Image
    from PIL.ExifTags import IFD, Base

    image = Image.new("RGB", size, "white")
    record = image.getexif()
    record[Base.Orientation] = exif.get("orientation", 1)
    record.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] = exif.get("focal", 26)
    path = tmp_path / name
    image.save(path, exif=record)
    return path


@pytest.mark.parametrize(
    ("other", "word"), [({"size": (300, 200)}, "300 x 200"), ({"focal": 52}, "52 mm")]
)
def test_photos_of_two_cameras_are_told_apart_and_named(tmp_path, monkeypatch, other, word):
    monkeypatch.setattr("snugline.trace.known_cameras.sight_markers", lambda p, f: None)
    monkeypatch.setattr("snugline.trace.known_cameras.as_stored", lambda s, p: None)
    files = [written(tmp_path, "one.jpg"), written(tmp_path, "two.jpg", **other)]
    with pytest.raises(InputError, match=f"two.jpg.*{word}"):
        learn(files, [])


@pytest.mark.parametrize(
    ("name", "orientation", "word"),
    [(None, 1, "name"), ("../x", 1, "cannot be"), ("a", 2, "mirrored")],
)
def test_what_cannot_be_kept_is_refused(tmp_path, monkeypatch, name, orientation, word):
    monkeypatch.setattr("snugline.trace.known_cameras.sight_markers", lambda p, f: None)
    monkeypatch.setattr("snugline.trace.known_cameras.as_stored", lambda s, p: None)
    with pytest.raises(InputError, match=word):
        learn([written(tmp_path, "one.jpg", orientation=orientation)], [], name)
