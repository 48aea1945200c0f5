"""The job's files as they lie in its result folder: those of one run, as it wrote them."""

from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any

from snugline.desk.options import result_folder
from snugline.desk.page.jobs.job_states import files_key
from snugline.desk.page.jobs.measured_store import Store, error_record
from snugline.desk.result_folder import INDEX, named_files, read_named, settle
from snugline.errors import FileError, SnuglineError
from snugline.files import read_within
from snugline.limits import RESULT_JSON_BYTES

_SHOWN = {
    "png": "image/png",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
}
_SAVED = {"json": "application/json", "dxf": "image/vnd.dxf", "zip": "application/zip"}


def media_type(name: str) -> str:
    """The type of one of the job's files, by its ending."""
    ending = name.rpartition(".")[2].lower()
    return (_SHOWN | _SAVED).get(ending, "application/octet-stream")


def files_made(path: Path, store: Store) -> dict[str, Any]:
    """The job's files as they lie there, and whether the job has changed since.

    What was changed or removed since the run is left out, and `error` reports it.
    """
    folder = result_folder(path)
    listed: list[dict[str, Any]] = []
    made = 0.0
    error: SnuglineError | None = None
    with suppress(OSError):
        settle(folder)
    try:
        made = (folder / INDEX).stat().st_mtime
        listed, error = _whole(folder)
    except FileNotFoundError:
        pass
    except FileError as refused:
        error = refused
    except OSError as refused:
        error = FileError(f"cannot be read ({refused.strerror})", folder.name, "look at its rights")
    try:
        note = store.load("finishing", "made") or {}
        stale = note.get("key") != files_key(path)
    except (SnuglineError, OSError, ValueError):
        stale = True
    return {
        "state": "ready" if listed else "missing",
        "stale": bool(listed) and stale,
        "step": None,
        "error": error_record(error, path.parent) if error is not None else None,
        "made": made,
        "folder": folder.name,
        "list": listed,
    }


def file_content(folder: Path, name: str) -> bytes:
    """One file of the run; the manifest itself is one of them.

    Raises
    ------
    LookupError : the run made no such file.
    FileError : it was changed since, or is a link.
    OSError : it cannot be read.
    """
    hashes = named_files(folder)
    if name == INDEX:
        return read_within(folder, INDEX, RESULT_JSON_BYTES)
    if name not in hashes:
        raise LookupError(name)
    return read_named(folder, name, hashes[name])


def _whole(folder: Path) -> tuple[list[dict[str, Any]], SnuglineError | None]:
    """The files that are as the run wrote them, and what is wrong with the first other one."""
    listed, wrong = [_entry(folder, INDEX)], None
    for name, sha256 in named_files(folder).items():
        try:
            status = (folder / name).stat()
            _checked(folder, name, sha256, status.st_mtime_ns, status.st_size)
            listed.append(_entry(folder, name))
        except FileNotFoundError:
            wrong = wrong or FileError("is missing", name, "make the files again")
        except FileError as error:
            wrong = wrong or error
    return sorted(listed, key=lambda entry: str(entry["name"])), wrong


def _entry(folder: Path, name: str) -> dict[str, Any]:
    return {
        "name": name,
        "bytes": (folder / name).stat().st_size,
        "type": media_type(name),
        "preview": name.rpartition(".")[2].lower() in _SHOWN,
    }


@lru_cache(4096)
def _checked(folder: Path, name: str, sha256: str, mtime_ns: int, size: int) -> None:
    """Read once after each time it was written."""
    read_named(folder, name, sha256)
