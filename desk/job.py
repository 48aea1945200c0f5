"""The job file: what part, on which frame, which photos, which readings, which pocket.

TOML in, frozen values in millimetres and radians out. A fault names the file, the key and the
remedy in one line. Paths in a job are relative to the job file.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import (
    ValidationError,
)

from snugline.desk.job_faults import fault_of, missing, unknown_key
from snugline.desk.job_record import NOT_IN_FILE, Job
from snugline.errors import FileError, SnuglineError
from snugline.files import why
from snugline.limits import (
    JOB_BYTES,
)
from snugline.pocket.choices_record import units_in
from snugline.untrusted import parsed_toml

__all__ = ["Job", "inspect_job", "inspect_record", "read_job", "read_toml"]


def read_job(path: Path) -> Job:
    """The job in a file, with every file that it names present.

    Raises
    ------
    FileError : the job, a photo or a frame description cannot be read.
    InputError : an unknown or missing key, a wrong unit or word. Nothing is written before.
    """
    job, faults = inspect_job(path)
    if job is None or faults:
        raise faults[0]
    return job


def inspect_job(path: Path) -> tuple[Job | None, list[SnuglineError]]:
    """The job, as far as it can be understood, and everything that is wrong with it."""
    try:
        record = read_toml(path)
    except SnuglineError as error:
        return None, [error]
    return inspect_record(record, path)


def inspect_record(
    record: dict[str, Any], path: Path, boxed: bool = False
) -> tuple[Job | None, list[SnuglineError]]:
    """The same as `inspect_job`, for a file with this content at this path.

    Parameters
    ----------
    boxed : a job that may come from anyone: files outside its folder are refused, not looked at.
    """
    for key in NOT_IN_FILE & set(record):
        return None, [unknown_key((key,), path)]
    units = frozenset(units_in(record.get("reading")))
    known = {"path": path, "reading_units": units, "readings_written": _as_written(record)}
    try:
        job = Job.model_validate({**record, **known})
    except ValidationError as error:
        # A mistyped key explains the missing one, so it comes first.
        entries = sorted(error.errors(), key=lambda entry: entry["type"] != "extra_forbidden")
        return None, [fault_of(entry, path) for entry in entries if not _follows(entry, entries)]
    return job, missing(job, boxed)


def _follows(entry: Any, entries: Sequence[Any]) -> bool:
    """Whether a list is empty only because what stands in it has faults of its own."""
    loc = entry["loc"]
    return entry["type"] == "too_short" and any(
        len(other["loc"]) > len(loc) and other["loc"][: len(loc)] == loc for other in entries
    )


def _as_written(record: dict[str, Any]) -> tuple[tuple[str, ...], ...]:
    """The values of each reading before they become millimetres."""
    tables = record.get("reading", [])
    found = []
    for table in tables if isinstance(tables, list) else [tables]:
        values = table.get("values", table.get("value", [])) if isinstance(table, dict) else []
        found.append(tuple(map(str, values if isinstance(values, list) else [values])))
    return tuple(found)


def read_toml(path: Path) -> dict[str, Any]:
    """What a job file holds, unchecked but for its size and the bounds of its values.

    Raises
    ------
    FileError : it cannot be read, is too large, or is not TOML.
    InputError : a value that no job can hold.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(JOB_BYTES + 1)
    except OSError as error:
        raise FileError(
            f"cannot read the job ({why(error)})",
            str(path),
            "give the path of a job.toml; `snugline new` makes one",
        ) from error
    if len(content) > JOB_BYTES:
        raise FileError(
            f"is larger than {JOB_BYTES // 1000} kB, too large for a job file",
            str(path),
            "give a job.toml",
        )
    return parsed_toml(content, str(path))
