"""The list of jobs: a bounded look at each, so that one odd job never hides the others."""

import os
import time
from pathlib import Path
from typing import Any

from snugline.desk.options import result_folder
from snugline.desk.page.jobs.job_file_edit import job_bytes
from snugline.desk.page.jobs.job_folders import Shelf, job_id, refuse_links
from snugline.desk.page.jobs.measured_store import error_record
from snugline.desk.result_folder import INDEX
from snugline.errors import FileError, SnuglineError
from snugline.files import is_file, why
from snugline.untrusted import parsed_toml

# A person waits for the list. What is not read by then is shown by its folder's name, and read
# when the list is asked for again.
_READING_SECONDS = 0.2
_KEPT = 5_000

Head = tuple[str, int, SnuglineError | None]
_known: dict[tuple[Path, int, int], Head] = {}  # each is read once after it was changed


def job_list(shelf: Shelf) -> list[dict[str, Any]]:
    """An entry for each job, the one changed last first; a faulty job's gives the fault."""
    end = time.monotonic() + _READING_SECONDS
    return [_entry(job, end) for job in shelf.jobs()]


def _entry(job: Path, end: float) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "id": job_id(job),
        "name": job_id(job),
        "changed": 0.0,
        "photos": 0,
        "finished": False,
        "error": None,
    }
    try:
        status = os.lstat(job)
        entry["changed"] = status.st_mtime
        refuse_links(job)
        entry["finished"] = is_file(result_folder(job) / INDEX)
        stamp = (job, status.st_mtime_ns, status.st_size)
        if stamp not in _known and time.monotonic() < end:
            _remember(stamp, _head(job))
        if stamp in _known:
            name, entry["photos"], error = _known[stamp]
            entry["name"] = name or entry["name"]
            entry["error"] = error_record(error, job.parent) if error is not None else None
    except SnuglineError as error:
        entry["error"] = error_record(error, job.parent)
    except OSError as error:
        refused = FileError(f"cannot be read ({why(error)})", job.parent.name, "look at its rights")
        entry["error"] = error_record(refused, job.parent)
    return entry


def _remember(stamp: tuple[Path, int, int], head: Head) -> None:
    if len(_known) >= _KEPT:
        _known.clear()
    _known[stamp] = head


def _head(job: Path) -> Head:
    """The part's name, the number of photos, and what is wrong."""
    try:
        record = parsed_toml(job_bytes(job), str(job))
    except SnuglineError as error:
        return "", 0, error
    part, photos = record.get("part"), record.get("photo", [])
    name = part.get("name") if isinstance(part, dict) else None
    count = len(photos) if isinstance(photos, list) else 1
    return (name if isinstance(name, str) else ""), count, None
