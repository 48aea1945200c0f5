"""What runs in the server's worker processes: each a function of plain values.

Nothing here depends on requests or windows. Results go to the job's dot-folder or back as plain
records.
"""

import json
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from snugline.counting import counted
from snugline.desk.job import Job, inspect_record
from snugline.desk.page.jobs.job_file_edit import job_bytes
from snugline.desk.page.jobs.limits import UPLOAD_PIXELS
from snugline.desk.page.jobs.measured_store import Store, measuring_key
from snugline.errors import FileError, PhotoError
from snugline.fit.result import FittedOutline
from snugline.trace.measure import Measured
from snugline.untrusted import parsed_toml

FORMATS = {"JPEG": "jpg", "MPO": "jpg", "PNG": "png", "TIFF": "tif", "WEBP": "webp", "HEIF": "heic"}


def photo_ending(path: Path, name: str) -> str:
    """The file ending that fits a photo's content; only its header is read.

    Raises
    ------
    FileError : no photo in a format that can be read.
    PhotoError : more pixels than the server takes.
    """
    import warnings

    from PIL import Image, UnidentifiedImageError
    from pillow_heif import register_heif_opener

    register_heif_opener()
    mend = "choose a photo as the phone took it: JPEG, HEIC, PNG, TIFF or WebP"
    Image.MAX_IMAGE_PIXELS = None  # the limit is ours, below
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=("JPEG", "PNG", "TIFF", "WEBP", "HEIF")) as image:
                (width, height), kind = image.size, str(image.format)
    except UnidentifiedImageError as error:
        raise FileError("is not a photo in a format that can be read", name, mend) from error
    except Exception as error:  # a decoder may stumble over a broken file in any way
        raise FileError(f"the photo is damaged ({error})", name, mend) from error
    if width * height > UPLOAD_PIXELS:
        raise PhotoError(
            f"the photo has {width * height / 1e6:.0f} megapixels ({width} x {height})",
            name,
            f"take it with at most {UPLOAD_PIXELS // 1_000_000}",
        )
    if kind not in FORMATS:
        raise FileError(f"a file of the kind {kind} cannot be read here", name, mend)
    return FORMATS[kind]


def measure(record: Mapping[str, Any], path: Path, key: str) -> float:
    """Measure the photos of a job and keep what was measured under `key`; gives the seconds.

    Raises
    ------
    SnuglineError : a photo or a frame refuses the job.
    """
    from snugline.desk.job_run import measure_job
    from snugline.desk.page.jobs.measured_record import to_record

    start = time.monotonic()
    job = _job(record, path)
    store, record_of = Store(path.parent), to_record(measure_job(job))
    store.save("measured", key, record_of)
    store.save("summary", key, without_points(record_of["photos"][0]))
    return time.monotonic() - start


def measure_alone(record: Mapping[str, Any], path: Path, key: str) -> float:
    """Measure one photo of a job; of several sheets, on those that it shows.

    Raises
    ------
    SnuglineError : the photo or a frame refuses the job.
    """
    tables = record.get("frame")
    if isinstance(tables, list) and len(tables) > 1:
        from snugline.trace.camera.sheets_in_sight import described_in_sight
        from snugline.trace.image.photo_file import read_photo

        job = _job(record, path)
        seen = described_in_sight(read_photo(job.beside(job.photo[0].file)), job.frames())
        # Where none is seen, measuring on all of them says so.
        record = {**record, "frame": [tables[i] for i in seen] or tables}
    return measure(record, path, key)


def sheets(path: Path) -> list[dict[str, Any]]:
    """Which built-in sheets a photo shows, whatever the job says."""
    from snugline.trace.camera.sheets_in_sight import sheets_in_sight
    from snugline.trace.image.photo_file import read_photo

    return [sheet.as_json() for sheet in sheets_in_sight(read_photo(path))]


def without_points(photo: Mapping[str, Any]) -> dict[str, Any]:
    """What a list of photos shows of one: short, since there may be many."""
    contour = photo["contour"]
    return {"contour": {"photo": contour["photo"], "warnings": contour["warnings"]}}


def fit(record: Mapping[str, Any], path: Path, measured: str, key: str) -> FittedOutline:
    """Fit the outline and keep the page's answer under `key`; gives the outline without points."""
    from snugline.desk.job_outline import fit_job
    from snugline.desk.page.jobs.page_answers import fit_answer

    job, store = _job(record, path), Store(path.parent)
    photos = _measured(store, measured, job)
    contours = [photo.contour for photo in photos.photos]
    fitting = fit_job(job, contours, photos.joined)
    store.save("fitted", key, fit_answer(job, photos, fitting))
    return replace(fitting.fitted, sections=())


def plan(record: Mapping[str, Any], path: Path, fitted: FittedOutline) -> bytes:
    """The page's answer on the cut plan, as JSON.

    Raises
    ------
    InputError, PlanError : the pocket cannot be planned so.
    """
    from snugline.desk.page.jobs.page_answers import plan_answer
    from snugline.desk.pocketing import plan_of

    job = _job(record, path)
    choices = job.choices
    if choices is None:
        raise FileError("the job has no pocket yet", str(path), "choose a clearance")
    answer = plan_answer(plan_of(job, fitted, choices))
    return json.dumps(answer, allow_nan=False, separators=(",", ":")).encode()


def clearances(
    record: Mapping[str, Any], path: Path, fitted: FittedOutline, number: int, step: float
) -> dict[str, Any]:
    """How likely the part goes in, from tight to loose, about one of the job's clearances.

    Raises
    ------
    InputError, PlanError : the pocket cannot be planned so.
    """
    from snugline.desk.pocketing import range_of

    job = _job(record, path)
    if job.choices is None:
        raise FileError("the job has no pocket yet", str(path), "choose a clearance")
    return range_of(job, fitted, job.choices, number, step)


def finish(path: Path) -> str:
    """Write the job's files as `snugline run` does; gives the name of what they came from."""
    from snugline.desk.job_run import Making, finish_measured
    from snugline.desk.options import result_folder
    from snugline.desk.page.jobs.job_states import files_key
    from snugline.desk.result_folder import publish

    store = Store(path.parent)

    def step(text: str, done: int = 0, of: int = 0, /) -> None:
        store.keep("finishing", "step.txt", text)

    record = parsed_toml(job_bytes(path), str(path))
    job = _job(record, path, whole=True)
    made_from = files_key(path)
    step("reading the contours")
    key = measuring_key(job)
    if not store.has("measured", key):
        step(f"measuring {counted(len(job.photo), 'photo')}")
        measure(record, path, key)
    finished = finish_measured(job, _measured(store, key, job), Making(step=step))
    step("writing the files")
    publish(result_folder(path), finished.files)
    store.place("finishing", "step.txt").unlink(missing_ok=True)
    return made_from


def picture(path: Path, turn: int, width: int | None) -> bytes:
    """A photo as shown, as JPEG, at most `width` wide (or as large as it is)."""
    import cv2
    import numpy as np

    from snugline.desk.turning import turned_pixels
    from snugline.trace.image.photo_file import read_photo

    rgb = turned_pixels(read_photo(path).rgb, turn)
    if width is not None and rgb.shape[1] > width:
        size = (width, max(1, round(rgb.shape[0] * width / rgb.shape[1])))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, 92 if width is None else 85]
    done, encoded = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), quality)
    if not done:
        raise RuntimeError("the picture could not be encoded")
    return encoded.tobytes()


def contour(folder: Path, measured: str, fitted: str | None, number: int, turn: int) -> bytes:
    """The page's answer on one photo's contour, as JSON."""
    from snugline.desk.page.jobs.measured_record import from_record
    from snugline.desk.page.jobs.page_answers import contour_answer

    store = Store(folder)
    record = store.load("measured", measured)
    if record is None:
        raise FileError("it was cleared away", "contour", "wait until it is traced again")
    photos = from_record(record)
    fit_record = store.load("fitted", fitted) if fitted is not None else None
    answer = contour_answer(photos, fit_record, number, turn)
    return json.dumps({"key": measured, **answer}, allow_nan=False, separators=(",", ":")).encode()


def _job(record: Mapping[str, Any], path: Path, whole: bool = False) -> Job:
    job, faults = inspect_record(dict(record), path, boxed=True)
    if job is None or (whole and faults):
        raise faults[0]
    return job


def _measured(store: Store, key: str, job: Job) -> Measured:
    from snugline.desk.job_run import measure_job
    from snugline.desk.page.jobs.measured_record import from_record

    record = store.load("measured", key)
    try:
        return from_record(record or {})
    except (KeyError, TypeError, ValueError):
        # Cleared away or damaged meanwhile: it can always be had again.
        return measure_job(job)
