"""What a job file requires at this moment: what to measure, fit and plan, each with its name.

Everything is derived from the file and the photos; nothing is remembered. So a server that was
killed goes on where the files are.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from snugline.desk.advice import advice
from snugline.desk.job import Job, inspect_record
from snugline.desk.page.jobs.job_file_edit import job_bytes
from snugline.desk.page.jobs.measured_store import (
    file_hash,
    key_of,
    measuring_key,
    photos_key,
    setting_key,
)
from snugline.desk.page.jobs.remark_keys import is_of_pocket, key_of_error
from snugline.errors import FileError, InputError, SnuglineError
from snugline.files import inside, is_file, why
from snugline.limits import PHOTOS
from snugline.notice import Notice
from snugline.pocket.cut_record import Cut, same_name
from snugline.pocket.records import Records, default_path
from snugline.pocket.width_error import LEAST_CUTS
from snugline.untrusted import parsed_toml

# Until the part's thickness is known a photo is traced with this one, to be looked at only.
PROVISIONAL_THICKNESS = "10 mm"


@dataclass(frozen=True)
class PhotoWish:
    """One photo of the job and what tracing it alone takes.

    Attributes
    ----------
    file : as the job names it.
    record : the job of this photo alone; None with a `fault`.
    key : the name of its result.
    picture : the name of what the file holds.
    """

    id: str
    index: int
    file: str
    shows: str
    turn: int
    path: Path
    record: dict[str, Any] | None = None
    key: str | None = None
    provisional: bool = False
    fault: SnuglineError | None = None
    picture: str | None = None


@dataclass(frozen=True)
class Wanted:
    """What a job requires.

    Attributes
    ----------
    revision : of the file.
    record : as the file holds it.
    together : several sheets lie under the part, so that its photos are measured as one.
    measured, fitted, planned : the names of the results; None where `lacking` gives the reason.
    """

    revision: str
    record: dict[str, Any]
    job: Job | None
    faults: tuple[SnuglineError, ...]
    remarks: tuple[Notice, ...]
    photos: tuple[PhotoWish, ...]
    measured: str | None
    fitted: str | None
    planned: str | None
    lacking: SnuglineError | None
    lacking_pocket: SnuglineError | None
    together: bool = False


def wanted(path: Path) -> Wanted:
    """Read a job file and find what it requires."""
    content = job_bytes(path)
    revision = hashlib.sha256(content).hexdigest()[:16]
    record: dict[str, Any] = {}
    job: Job | None = None
    faults: list[SnuglineError] = []
    try:
        record = parsed_toml(content, str(path))
    except SnuglineError as error:
        faults = [error]
    else:
        job, faults = inspect_record(record, path, boxed=True)
    photos = _photos(record, path)
    lacking = _lacking(faults, photos)
    measured = fitted = planned = None
    lacking_pocket = lacking
    if job is not None and lacking is None:
        measured = measuring_key(job)
        fitted = _fit_key(measured, record)
        lacking_pocket = next((f for f in faults if _of_pocket(f)), None)
        if not lacking_pocket and not record.get("pocket"):
            lacking_pocket = InputError("no clearance is chosen", "pocket", "choose one")
        if lacking_pocket is None:
            planned = _plan_key(fitted, record)
    remarks = advice(job) if job is not None else ()
    return Wanted(
        revision,
        record,
        job,
        tuple(faults),
        remarks,
        photos,
        measured,
        fitted,
        planned,
        lacking,
        lacking_pocket,
        job is not None and len(job.frame) > 1,
    )


def files_key(path: Path) -> str:
    """The name of what the job's files are made from.

    Raises
    ------
    SnuglineError : the job cannot run.
    """
    record = parsed_toml(job_bytes(path), str(path))
    job, faults = inspect_record(record, path, boxed=True)
    if job is None or faults:
        raise faults[0]
    return key_of(measuring_key(job), record, taught(job, Records().cuts()))


def taught(job: Job, cuts: Sequence[Cut]) -> list[str]:
    """What the shop's records put into a job's files: the machine's cuts, once they count.

    Another machine's cuts, or the first ones of this machine, leave clearances, coupons and
    probabilities as they are, and so the files.
    """
    named = job.choices.machine if job.choices is not None else ""
    own = [repr(cut) for cut in cuts if named and same_name(cut.machine) == same_name(named)]
    return own if len(own) >= LEAST_CUTS else []


def photo_id(file: str) -> str:
    """A photo's name in addresses."""
    return hashlib.sha256(file.encode()).hexdigest()[:12]


def _photos(record: Mapping[str, Any], path: Path) -> tuple[PhotoWish, ...]:
    tables = record.get("photo", [])
    tables = [tables] if isinstance(tables, dict) else tables
    if not isinstance(tables, list):
        return ()
    named = [
        (i, table, table["file"])
        for i, table in enumerate(tables)
        if isinstance(table, dict) and isinstance(table.get("file"), str)
    ][:PHOTOS]
    setting: str | SnuglineError | None = None
    alone: dict[str, Any] = {}
    provisional = False
    wishes = []
    for i, table, file in named:
        turn = table.get("turn", 0)
        wish = PhotoWish(
            photo_id(file),
            i,
            file,
            str(table.get("shows", "section")),
            turn if turn in (0, 90, 180, 270) else 0,
            path.parent / file,
        )
        if setting is None:
            alone, provisional, setting = _alone(record, path)
        wishes.append(_completed(wish, path.parent, alone, provisional, setting))
    return tuple(wishes)


def _completed(
    wish: PhotoWish,
    folder: Path,
    alone: dict[str, Any],
    provisional: bool,
    setting: str | SnuglineError,
) -> PhotoWish:
    if isinstance(setting, SnuglineError):
        return replace(wish, fault=setting)
    if not inside(folder, wish.file) or not is_file(wish.path):
        fault = FileError("the photo is not in the job's folder", wish.file, "take it again")
        return replace(wish, fault=fault)
    try:
        picture = file_hash(wish.path)[:20]
        key = photos_key(setting, [wish.path])
    except SnuglineError as error:
        return replace(wish, fault=error)
    except OSError as error:
        fault = FileError(f"cannot read the photo ({why(error)})", wish.file, "take it again")
        return replace(wish, fault=fault)
    record = {**alone, "photo": {"file": wish.file, "shows": "section"}}
    return replace(wish, record=record, key=key, provisional=provisional, picture=picture)


def _alone(
    record: Mapping[str, Any], path: Path
) -> tuple[dict[str, Any], bool, str | SnuglineError]:
    """The job of one photo alone, whether its thickness is assumed, and its setting or fault."""
    part = record.get("part", {})
    part = part if isinstance(part, dict) else {}
    readings = record.get("reading", [])
    readings = [readings] if isinstance(readings, dict) else readings
    readings = readings if isinstance(readings, list) else []
    alone: dict[str, Any] = {
        "part": {
            key: part[key]
            for key in ("thickness", "edge_radius", "edge_chamfer", "draft")
            if key in part
        },
        "frame": record.get("frame", {"description": "border-a4"}),
        "photo": {"file": "photo", "shows": "section"},
    }
    thickness = [r for r in readings if isinstance(r, dict) and r.get("what") == "thickness"]
    if thickness:
        alone["reading"] = thickness
    if "camera" in record:
        alone["camera"] = record["camera"]
    provisional = "thickness" not in alone["part"] and not thickness
    if provisional:
        alone["part"]["thickness"] = PROVISIONAL_THICKNESS
    job, faults = inspect_record(alone, path, boxed=True)
    faults = [f for f in faults if key_of_error(f, alone)[:1] != ["photo"]]
    if job is None or faults:
        return alone, provisional, faults[0]
    try:
        return alone, provisional, setting_key(job)
    except SnuglineError as error:
        return alone, provisional, error


def _lacking(faults: list[SnuglineError], photos: tuple[PhotoWish, ...]) -> SnuglineError | None:
    """What keeps the outline from being measured."""
    if not photos:
        return InputError("no photo was added yet", "photos", "add one for each end of the part")
    grave = [f for f in faults if not _of_pocket(f)]
    return grave[0] if grave else None


def _of_pocket(fault: SnuglineError) -> bool:
    return is_of_pocket(key_of_error(fault, {}))


def _fit_key(measured: str, record: Mapping[str, Any]) -> str:
    photos = [
        {key: value for key, value in photo.items() if key != "turn"}
        for photo in _as_list(record.get("photo"))
    ]
    part = {key: value for key, value in record["part"].items() if key not in ("name", "wood")}
    rest = [record.get(key) for key in ("reading", "leave_out")]
    return key_of(measured, photos, part, rest, _program())


def _plan_key(fitted: str, record: Mapping[str, Any]) -> str:
    rest = [record.get(key) for key in ("part", "pocket", "output")]
    return key_of(fitted, rest, _fits_stamp())


def _as_list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _program() -> str:
    from snugline import __version__

    return __version__


def _fits_stamp() -> int:
    """When the shop's fit records were last written: the plan on the page counts the cuts."""
    try:
        return default_path().stat().st_mtime_ns
    except OSError:
        return 0
