"""Measured results, kept next to the job: found again by a name made from their inputs.

Files of the dot-folder `.snugline` in the job's folder. They can be deleted at any time: what is
missing is measured again. Floats are written so that they come back to the last bit.
"""

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from snugline.desk.job import Job
from snugline.errors import FileError, SnuglineError
from snugline.files import is_link, read_within, why, write_whole
from snugline.limits import RESULT_FILE_BYTES

KEPT = 250  # records of each kind in one job; the longest unused go


def key_of(*what: Any) -> str:
    """A short name for a content; equal contents, equal names."""
    text = json.dumps(what, sort_keys=True, default=_plain, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:20]


def _plain(value: Any) -> Any:
    return value.tolist() if isinstance(value, np.ndarray) else str(value)


def file_hash(path: Path) -> str:
    """What a file holds, by a name; read again only after it was written."""
    status = path.stat()
    return _hash(path, status.st_mtime_ns, status.st_size)


@lru_cache(4096)
def _hash(path: Path, mtime_ns: int, size: int) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def measuring_key(job: Job) -> str:
    """The name of what measuring the job's photos gives: all that goes into it.

    Raises
    ------
    FileError : a photo is not there.
    SnuglineError : a frame cannot be read.
    """
    return photos_key(setting_key(job), [job.beside(photo.file) for photo in job.photo])


def setting_key(job: Job) -> str:
    """What goes into measuring besides the photos: frames, the part's sides, known cameras."""
    from snugline.desk.job_run import sides_of
    from snugline.trace import known_cameras

    frames = [asdict(frame) for frame in job.frames()]
    folder = known_cameras.camera_folder()
    cameras = {p.name: file_hash(p) for p in sorted(folder.glob("*.json"))}
    return key_of(program(), frames, asdict(sides_of(job)), job.camera, cameras)


def photos_key(setting: str, paths: Sequence[Path]) -> str:
    """The name of what measuring these photos in that setting gives."""
    try:
        # Remarks name the photo by its path, so the path belongs to the result.
        return key_of(setting, [(str(path), file_hash(path)) for path in paths])
    except OSError as error:
        raise FileError(
            f"cannot read the photo ({error.strerror})", str(error.filename), "take it again"
        ) from error


@cache
def program() -> str:
    """Which program measures: another version measures again."""
    import snugline.trace

    folder = Path(snugline.trace.__file__).parent
    sources = sorted(folder.rglob("*.py"))
    files = {path.relative_to(folder).as_posix(): path.read_bytes().hex() for path in sources}
    return key_of(files)


class Store:
    """The dot-folder of one job. Links in it are not followed: a job may come from anyone."""

    def __init__(self, job_folder: Path) -> None:
        self.folder = job_folder / ".snugline"

    def place(self, kind: str, name: str) -> Path:
        """Where a file of that kind lies, in a folder that is there.

        Raises
        ------
        FileError : the folder is a link to another place, or cannot be made.
        """
        folder = self.folder / kind
        for one in (self.folder, folder):
            if is_link(one):
                raise FileError("is a link to another place", one.name, "take the link away")
            try:
                one.mkdir(exist_ok=True)
            except OSError as error:
                raise FileError(
                    f"cannot make the folder ({why(error)})", one.name, "make room on the disk"
                ) from error
        return folder / name

    def has(self, kind: str, key: str) -> bool:
        return (self.folder / kind / f"{key}.json").is_file()

    def read(self, kind: str, name: str) -> bytes:
        """A file's content.

        Raises
        ------
        FileError, OSError : there is none that can be read.
        """
        return read_within(self.place(kind, name).parent, name, RESULT_FILE_BYTES)

    def load(self, kind: str, key: str) -> dict[str, Any] | None:
        """A record, or None where there is none that can be read."""
        name = f"{key}.json"
        try:
            record = json.loads(self.read(kind, name).decode("utf-8"))
            os.utime(self.folder / kind / name, follow_symlinks=False)
        except (OSError, ValueError, RecursionError, NotImplementedError):
            return None
        return record if isinstance(record, dict) else None

    def save(self, kind: str, key: str, record: Mapping[str, Any]) -> None:
        text = json.dumps(record, ensure_ascii=False, separators=(",", ":"))
        write_whole(self.place(kind, f"{key}.json"), text)
        self._forget_old(kind)

    def keep(self, kind: str, name: str, content: bytes | str) -> None:
        """A file that is not a record."""
        write_whole(self.place(kind, name), content)
        self._forget_old(kind)

    def _forget_old(self, kind: str) -> None:
        kept: list[tuple[float, str]] = []
        with os.scandir(self.folder / kind) as entries:
            for entry in entries:
                if not entry.name.startswith("."):
                    with suppress(FileNotFoundError):  # another process forgets, too
                        kept.append((entry.stat(follow_symlinks=False).st_mtime, entry.path))
        for _, path in sorted(kept)[:-KEPT]:
            Path(path).unlink(missing_ok=True)


def error_record(error: SnuglineError, folder: Path | None = None) -> dict[str, Any]:
    """An error for the page, with its quantities; without the way to the `folder`."""
    record = error.as_json()
    if folder is None:
        return record
    return {
        part: told.replace(f"{folder}{os.sep}", "").replace(str(folder), folder.name)
        if isinstance(told, str)
        else told
        for part, told in record.items()
    }
