"""Whole jobs: copied, put into the bin and taken out of it, made from the sample."""

import os
import re
import shutil
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from snugline.desk.page.jobs.job_file_edit import change_file, job_bytes
from snugline.desk.page.jobs.job_folders import JOB, Shelf, folder_stem, job_id
from snugline.desk.page.jobs.key_changes import Change
from snugline.errors import FileError, InputError
from snugline.files import inside, is_file, is_link, why
from snugline.limits import NAME
from snugline.untrusted import parsed_toml

BIN = ".bin"  # beside the jobs; a dot keeps it off the shelf
_BINNED = re.compile(r"(?P<ident>.+)--(?P<when>\d{8}-\d{6})(?:-\d+)?")


def rename(job: Path, name: str) -> None:
    """Give the part another name; the folder keeps its own, since addresses name it.

    Raises
    ------
    InputError : not a name.
    FileError : the job cannot be read or written.
    """
    part = parsed_toml(job_bytes(job), str(job)).get("part", {})
    was = part.get("name") if isinstance(part, dict) else None
    change_file(job, [Change(("part", "name"), was, _checked(name))])


def copy(shelf: Shelf, job: Path, name: str) -> str:
    """A new job with the same file and photos, without results; gives its id."""
    name = _checked(name)
    files = {file: job.parent / file for file in own_files(job)}
    return taken_in(shelf, name, files, name)


def sample_job() -> Path:
    """The job file of the sample: beside the packages in the tree, inside them once installed."""
    root = Path(__file__).resolve().parents[3]
    return root / "samples" / "basalt-plate-in-ash-board" / JOB


def own_files(job: Path) -> list[str]:
    """The job file and what it names in its folder, by plain names; nothing else belongs to it.

    Raises
    ------
    SnuglineError : the job cannot be read, or names a file elsewhere.
    """
    record = parsed_toml(job_bytes(job), str(job))
    names = [_text(photo, "file") for photo in _tables(record, "photo")]
    described = [_text(frame, "description") for frame in _tables(record, "frame")]
    names += [name for name in described if name.lower().endswith(".json")]
    for name in names:
        there = Path(name).name == name and inside(job.parent, name) and is_file(job.parent / name)
        if not there or is_link(job.parent / name):
            raise FileError(f"{name!r} is not a file of the job", job_id(job), "put it there")
    return [job.name, *dict.fromkeys(names)]


def taken_in(shelf: Shelf, stem: str, files: dict[str, Path], name: str | None = None) -> str:
    """A job's files, copied into a new folder that appears whole; gives the job's id.

    Parameters
    ----------
    files : where each lies, by its name in the job; one of them is the job file.
    name : another one for the part.
    """
    making = Path(tempfile.mkdtemp(prefix=".making-", dir=shelf.folder))
    try:
        for file, source in files.items():
            shutil.copyfile(source, making / file)
        if name is not None:
            rename(making / JOB, name)
        return _placed(shelf, making, folder_stem(stem))
    except OSError as error:
        raise FileError(f"cannot make a folder ({why(error)})", stem, "make room") from error
    finally:
        shutil.rmtree(making, ignore_errors=True)


def put_away(shelf: Shelf, job: Path) -> str:
    """Move a job into the bin; gives what it is called there.

    Raises
    ------
    FileError : it cannot be moved.
    """
    bin_folder = _bin(shelf)
    stem = f"{job.parent.name}--{datetime.now():%Y%m%d-%H%M%S}"
    for number in range(1, 100):
        name = stem if number == 1 else f"{stem}-{number}"
        if not (bin_folder / name).exists():
            try:
                job.parent.rename(bin_folder / name)
            except OSError as error:
                where = job_id(job)
                raise FileError(f"cannot be moved ({why(error)})", where, "try again") from error
            return name
    raise FileError("the bin is full of jobs of this name", job_id(job), "empty it")


def binned(shelf: Shelf) -> list[dict[str, Any]]:
    """What lies in the bin, the newest first."""
    found = []
    with suppress(FileNotFoundError):
        for name in os.listdir(_bin(shelf, make=False)):
            match = _BINNED.fullmatch(name)
            if match is not None and name.isprintable():
                found.append({"id": name, "job": match["ident"], "when": match["when"]})
    return sorted(found, key=lambda one: one["when"], reverse=True)


def put_back(shelf: Shelf, name: str) -> str:
    """Take a job out of the bin; gives its id, which may be new.

    Raises
    ------
    LookupError : there is no such job in the bin.
    """
    if name not in [one["id"] for one in binned(shelf)]:
        raise LookupError(name)
    match = _BINNED.fullmatch(name)
    assert match is not None
    return _placed(shelf, _bin(shelf) / name, match["ident"])


def _bin(shelf: Shelf, make: bool = True) -> Path:
    folder = shelf.folder / BIN
    if is_link(folder):
        raise FileError("is a link to another place", BIN, "take the link away")
    if make:
        folder.mkdir(exist_ok=True)
    return folder


def _placed(shelf: Shelf, folder: Path, stem: str) -> str:
    """Move a folder onto the shelf under the first name that is free."""
    for number in range(1, 1000):
        ident = stem if number == 1 else f"{stem}-{number}"
        if not (shelf.folder / ident).exists() and not is_link(shelf.folder / ident):
            folder.rename(shelf.folder / ident)
            return ident
    raise InputError(f"there are too many jobs called {stem!r}", "name", "use another name")


def _checked(name: str) -> str:
    name = " ".join(name.split())
    if not 0 < len(name) <= NAME or not name.isprintable():
        what = "write what the part is called, in"
        raise InputError("the job has no name", "name", f"{what} {NAME} letters")
    return name


def _text(table: dict[str, Any], key: str) -> str:
    return str(table.get(key, ""))


def _tables(record: dict[str, Any], name: str) -> Iterable[dict[str, Any]]:
    tables = record.get(name, [])
    tables = [tables] if isinstance(tables, dict) else tables
    return [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
