"""What was measured, kept beside the job: found again by what it was measured from.

Files of the dot-folder `.snugline` in the job's folder. They can be deleted at any time: what is
missing is measured again. Floats are written so that they come back to the last bit.
"""

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from snugline.desk.job import Job
from snugline.errors import FileError, SnuglineError
from snugline.files import write_whole

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


@cache
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
    """The dot-folder of one job."""

    def __init__(self, job_folder: Path) -> None:
        self.folder = job_folder / ".snugline"

    def place(self, kind: str, name: str) -> Path:
        folder = self.folder / kind
        folder.mkdir(parents=True, exist_ok=True)
        return folder / name

    def has(self, kind: str, key: str) -> bool:
        return (self.folder / kind / f"{key}.json").is_file()

    def load(self, kind: str, key: str) -> dict[str, Any] | None:
        """A record, or None where there is none that can be read."""
        try:
            path = self.place(kind, f"{key}.json")
            record = json.loads(path.read_text(encoding="utf-8"))
            path.touch()
        except (OSError, ValueError):
            return None
        return record if isinstance(record, dict) else None

    def save(self, kind: str, key: str, record: Mapping[str, Any]) -> None:
        text = json.dumps(record, ensure_ascii=False, separators=(",", ":"))
        write_whole(self.place(kind, f"{key}.json"), text)
        self._forget_old(kind)

    def keep(self, kind: str, name: str, content: bytes) -> None:
        """A file that is not a record."""
        write_whole(self.place(kind, name), content)
        self._forget_old(kind)

    def _forget_old(self, kind: str) -> None:
        files = [p for p in (self.folder / kind).iterdir() if not p.name.startswith(".")]
        for path in sorted(files, key=lambda p: p.stat().st_mtime)[:-KEPT]:
            path.unlink(missing_ok=True)


def error_record(error: SnuglineError, folder: Path | None = None) -> dict[str, str]:
    """The three parts of an error, for the page; without the way to the job's `folder`."""
    where = error.where.replace(f"{folder}{os.sep}", "") if folder is not None else error.where
    return {"what": error.what, "where": where, "mend": error.mend}
