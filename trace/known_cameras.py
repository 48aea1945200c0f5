"""Camera calibration: a phone's lens from photos of frames, kept and used in later jobs.

A lens belongs to the sensor, and EXIF may turn the picture before it is shown. So a calibrated lens
is kept for the pixels as stored, and turned with each photo when it is used.
"""

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import FileError, InputError
from snugline.files import write_json
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.lens import LENS_SIZE, RADIAL_TERMS, Lens, LensPrior, radial_precision
from snugline.trace.camera.sighting import Sighting, sight_markers
from snugline.trace.image.photo_file import Photo, read_photo
from snugline.trace.sheet.frame_description import Frame
from snugline.trace.stored_pictures import IN_DISPLAY, as_stored, displayed
from snugline.trace.verdict.photo_verdict import HOLDOUT_MM

Floats = NDArray[np.float64]

SCHEMA = "snugline/camera/1"
# From photo to photo: focusing changes the focal length, stabilisation moves the lens sideways, and
# the distortion follows a little (common practice, no source).
_BREATHING = 0.003
_CENTRE_U_PX = 3.0
_RIPPLE_U_PX = 0.15
# A photo with the calibrated camera's name, size and focal length is hardly ever another's: odds of
# fifty to one against the EXIF hypotheses.
_LEARNED_WEIGHT = 50.0
# The photos are held out in this many groups, to test the lens on photos it was not fitted to.
_GROUPS = 3
_NAME = re.compile(r"\w[\w .()+-]{0,79}")


@dataclass(frozen=True)
class CameraKey:
    """What identifies the photos of one camera; `size` is (width, height) as stored."""

    make: str | None
    model: str | None
    lens: str | None
    focal_mm: float | None
    focal_35mm: float | None
    size: tuple[int, int]


@dataclass(frozen=True)
class KnownCamera:
    """A calibrated camera.

    Attributes
    ----------
    name : what the user calls it, or make and model.
    lens : for the pixels as stored.
    covariance : (7, 7) of `Lens.vector`.
    photos : how many it was calibrated from.
    holdout_mm : hold-out error, rms mm on the sheet: markers held out of photos held out; NaN with
        fewer than two photos.
    """

    name: str
    key: CameraKey
    lens: Lens
    covariance: Floats
    photos: int
    holdout_mm: float

    def prior(self, orientation: int) -> LensPrior:
        """The lens as a prior for a photo of this camera, in displayed pixels."""
        lens, u = self.lens, np.zeros((LENS_SIZE, LENS_SIZE))
        u[0, 0] = (_BREATHING * lens.focal) ** 2
        u[1, 1] = u[2, 2] = _CENTRE_U_PX**2
        half_diagonal = 0.5 * float(np.hypot(*lens.size))
        spread = np.full(RADIAL_TERMS, _RIPPLE_U_PX)
        u[3:, 3:] = np.linalg.inv(radial_precision(lens.focal, half_diagonal, spread))
        turn = np.eye(LENS_SIZE)
        turn[1:3, 1:3] = IN_DISPLAY[orientation]
        covariance = turn @ (self.covariance + u) @ turn.T
        unit = np.sqrt(np.diag(covariance))
        precision = np.linalg.inv(covariance / np.outer(unit, unit)) / np.outer(unit, unit)
        centre = displayed(np.array([lens.centre]), orientation, lens.size)[0]
        size = lens.size if orientation <= 4 else (lens.size[1], lens.size[0])
        shown = replace(lens, centre=(float(centre[0]), float(centre[1])), size=size)
        source = f"the camera {self.name!r}, calibrated from {counted(self.photos, 'photo')}"
        return LensPrior(
            shown, 0.5 * (precision + precision.T), source, _LEARNED_WEIGHT, kind="learned"
        )


def learn(
    files: Sequence[str | Path], frames: Sequence[Frame], name: str | None = None
) -> KnownCamera:
    """Calibrate a camera from photos of frames, with or without a part on them.

    Parameters
    ----------
    frames : one, or several that lie on the bench together and stay there; with their bars.
    name : what to call it; needed where the photos do not give their make and model.

    Raises
    ------
    InputError : photos of different cameras or sizes, mirrored ones, or a camera without a name.
    PhotoError : a photo that does not show the frame.
    """
    sightings: list[Sighting] = []
    first: CameraKey | None = None
    for file in files:
        photo = read_photo(file)
        key = _key(photo)
        first = first or key
        if key != first:
            raise InputError(
                f"{_said(key)}; the first one {_said(first)}",
                str(file),
                "calibrate with photos of one camera, one lens and one size at a time",
            )
        if np.linalg.det(IN_DISPLAY[photo.exif.orientation]) < 0:
            raise InputError(
                "the photo is stored mirrored",
                str(file),
                "take it with the camera on the back, or turn mirroring off",
            )
        sightings.append(as_stored(sight_markers(photo, frames), photo))
    if first is None:
        raise InputError("there is no photo", "camera", "give photos of a frame")
    learned = KnownCamera(_checked(name, first), first, *_solved(sightings, frames), np.nan)
    if len(sightings) < 2:
        return learned
    squares = []
    for group in range(min(_GROUPS, len(sightings))):
        rest = [s for i, s in enumerate(sightings) if i % _GROUPS != group]
        prior = replace(learned, lens=(again := _solved(rest, frames))[0], covariance=again[1])
        for sighting in sightings[group::_GROUPS]:
            tested = solve([replace(sighting, prior=prior.prior(1))], frames)
            squares.append(tested.holdout_mm[0] ** 2)
    return replace(learned, holdout_mm=float(np.sqrt(np.nanmean(squares))))


def judge_camera(camera: KnownCamera) -> tuple[Notice, ...]:
    """What makes a calibrated camera doubtful."""
    if camera.photos < 2:
        return (
            Notice(
                "one-photo",
                "A lens calibrated from one photo cannot be tested.",
                "Add photos from several sides and heights, upright and turned.",
                about=camera.name,
            ),
        )
    if camera.holdout_mm > HOLDOUT_MM[0]:
        return (
            Notice(
                "lens-varies",
                Sentence(
                    "On photos not used for the calibration, markers are predicted {} off ({} or "
                    "less is wanted).",
                    length(camera.holdout_mm),
                    length(HOLDOUT_MM[0]),
                ),
                "Leave out photos with a bent sheet, zoom or blur, and calibrate again.",
                about=camera.name,
            ),
        )
    return ()


def _solved(sightings: Sequence[Sighting], frames: Sequence[Frame]) -> tuple[Lens, Floats, int]:
    """The lens that all photos share, its covariance, and the number of photos."""
    adjusted = solve(sightings, frames).adjusted
    where = adjusted.layout.lens(0)
    return adjusted.cameras[0].lens, adjusted.covariance[where, where], len(sightings)


def _key(photo: Photo) -> CameraKey:
    exif = photo.exif
    return CameraKey(
        exif.make, exif.model, exif.lens, exif.focal_mm, exif.focal_35mm, photo.stored_size
    )


def _said(key: CameraKey) -> str:
    maker = " ".join(word for word in (key.make, key.model, key.lens) if word) or "no camera's name"
    focal = f"focal length {key.focal_mm or 0:g} mm ({key.focal_35mm or 0:g} mm, 35 mm equivalent)"
    return f"has {maker}, {focal}, {key.size[0]} x {key.size[1]} px"


def _checked(name: str | None, key: CameraKey) -> str:
    known = key.model or ""
    if key.make and not known.casefold().startswith(key.make.casefold()):
        known = f"{key.make} {known}" if known else ""
    name = (name if name is not None else known).strip()
    if not name:
        raise InputError(
            "the photos do not say which camera took them",
            "camera",
            "give the camera a name, and name it later in the job",
        )
    if name is not known and not _NAME.fullmatch(name):
        raise InputError(
            f"{name!r} cannot be a camera's name", "camera", "use letters, digits, spaces, hyphens"
        )
    return name


def prior_for(
    photo: Photo, cameras: Sequence[KnownCamera], name: str | None = None
) -> LensPrior | Notice | None:
    """The prior of the photo's camera, if it is known: by its name, or by the photo's EXIF.

    A camera that is named and was calibrated with photos of another size does not hold for the
    photo: then a remark says so.

    Raises
    ------
    InputError : no camera of that name.
    """
    key = _key(photo)
    if name is not None:
        camera = named(cameras, name)
        if camera.key.size != key.size:
            return Notice(
                "camera-of-another-size",
                f"The photo has {key.size[0]} x {key.size[1]} px as stored and the camera "
                f"{camera.name!r} was calibrated with {camera.key.size[0]} x {camera.key.size[1]}: "
                f"its calibration was not used.",
                "Give the photo as the phone saved it, or calibrate with photos of this size.",
                "usable",
                OfPhoto(photo.path.name),
            )
        return camera.prior(photo.exif.orientation)
    if not (key.make and key.model):
        return None
    alike = (camera for camera in cameras if camera.key == key)
    camera_found = next(alike, None)
    return camera_found.prior(photo.exif.orientation) if camera_found else None


def lens_finder(name: str | None = None) -> Callable[[Photo], LensPrior | Notice | None]:
    """What is known of photos' lenses from the cameras in the user's data folder.

    `name` is a camera's; without it each photo's EXIF decides which camera took it.
    """
    cameras = read_cameras(camera_folder())
    if name is not None:
        named(cameras, name)
    return lambda photo: prior_for(photo, cameras, name)


def named(cameras: Sequence[KnownCamera], name: str) -> KnownCamera:
    """The camera of that name, capitals aside.

    Raises
    ------
    InputError : there is none; it names those that are there.
    """
    for camera in cameras:
        if camera.name.casefold() == name.strip().casefold():
            return camera
    known = ", ".join(repr(c.name) for c in cameras)
    raise InputError(
        f"no camera {name!r} has been calibrated",
        "camera",
        f"the calibrated ones are {known}" if known else "calibrate it with `snugline camera`",
    )


def camera_folder() -> Path:
    """Where calibrated cameras are kept: in the user's data folder."""
    from platformdirs import user_data_path

    return user_data_path("snugline", appauthor=False) / "cameras"


def save(camera: KnownCamera, folder: Path) -> Path:
    """Keep a camera; one of the same name is replaced. Gives the file's path."""
    import hashlib

    folded = camera.name.casefold()
    # The digest keeps names apart that differ in signs which file names cannot hold.
    digest = hashlib.sha256(folded.encode()).hexdigest()[:8]
    path = folder / f"{re.sub(r'[^a-z0-9]+', '-', folded).strip('-')}-{digest}.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(
            f"cannot make the folder ({error.strerror})", str(folder), "check its permissions"
        ) from error
    write_json(path, as_record(camera))
    return path


def as_record(camera: KnownCamera) -> dict[str, Any]:
    """The record of a camera's file."""
    key, lens = camera.key, camera.lens
    return {
        "schema": SCHEMA,
        "name": camera.name,
        "make": key.make,
        "model": key.model,
        "lens_model": key.lens,
        "focal_mm": key.focal_mm,
        "focal_35mm": key.focal_35mm,
        "size": list(key.size),
        "focal_px": lens.focal,
        "centre_px": list(lens.centre),
        "radial": list(lens.radial),
        "covariance": camera.covariance.tolist(),
        "photos": camera.photos,
        "holdout_mm": camera.holdout_mm if np.isfinite(camera.holdout_mm) else None,
    }


def read_cameras(folder: Path) -> tuple[KnownCamera, ...]:
    """All calibrated cameras of a folder, by name; none where there is no folder.

    Raises
    ------
    FileError : a file that is damaged; it is named.
    """
    cameras = [_read(path) for path in sorted(folder.glob("*.json"))]
    return tuple(sorted(cameras, key=lambda camera: camera.name.casefold()))


def _read(path: Path) -> KnownCamera:
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        if record["schema"] != SCHEMA:
            raise ValueError(f"schema {record['schema']!r}")
        width, height = (int(side) for side in record["size"])
        covariance = np.array(record["covariance"], dtype=np.float64).reshape(LENS_SIZE, LENS_SIZE)
        numbers = [record["focal_px"], *record["centre_px"], *record["radial"]]
        empty = Lens(1.0, (0.0, 0.0), (0.0, 0.0, 0.0, 0.0), (width, height))
        lens = empty.with_vector(np.array(numbers, dtype=np.float64))
        holdout = record["holdout_mm"]
        if not (np.isfinite(lens.vector()).all() and np.linalg.eigvalsh(covariance).min() > 0):
            raise ValueError("lens parameters out of range")
        return KnownCamera(
            str(record["name"]),
            CameraKey(
                record["make"],
                record["model"],
                record["lens_model"],
                record["focal_mm"],
                record["focal_35mm"],
                (width, height),
            ),
            lens,
            covariance,
            int(record["photos"]),
            np.nan if holdout is None else float(holdout),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise FileError(
            f"the calibrated camera cannot be read ({error})",
            str(path),
            "remove the file and calibrate the camera again",
        ) from error
