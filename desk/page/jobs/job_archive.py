"""A job as one zip: the job file and what it names, out of a shop and into another.

What comes in may come from anyone: entries are plain files of plain names in one folder, their
number and size are bounded as they are unpacked, whatever the archive claims.
"""

import shutil
import tempfile
import zipfile
from pathlib import Path

from snugline.counting import counted
from snugline.desk.page.jobs.job_folders import JOB, Shelf
from snugline.desk.page.jobs.job_moves import own_files, taken_in
from snugline.desk.page.jobs.limits import ARCHIVE_BYTES, UPLOAD_BYTES
from snugline.errors import FileError, SnuglineError
from snugline.files import is_plain_name
from snugline.limits import FRAMES, JOB_BYTES, PHOTOS
from snugline.untrusted import parsed_toml

_DATE = (1980, 1, 1, 0, 0, 0)  # equal jobs, equal bytes
_ENTRIES = 1 + PHOTOS + FRAMES + 20  # a few more, such as a note
_PIECE = 1 << 20
_MEND = "choose a zip that Snugline wrote"


def pack(job: Path, target: Path) -> None:
    """Write a job into a zip. Photos hardly shrink, so nothing is compressed.

    Raises
    ------
    SnuglineError : the job cannot be read, or names a file elsewhere.
    """
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as archive:
        for name in own_files(job):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.external_attr = 0o644 << 16
            with (job.parent / name).open("rb") as source, archive.open(entry, "w") as out:
                shutil.copyfileobj(source, out, _PIECE)


def unpack(shelf: Shelf, source: Path, name: str) -> str:
    """Take a job out of a zip; gives its id.

    Parameters
    ----------
    name : of the zip, for messages.

    Raises
    ------
    FileError : no zip, no job in it, too large, or an entry that is not a plain file.
    """
    with tempfile.TemporaryDirectory(prefix=".unpacking-", dir=shelf.folder) as folder:
        try:
            with zipfile.ZipFile(source) as archive:
                _extract(archive, Path(folder), name)
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
            raise FileError("is not a zip that can be read", name, _MEND) from error
        job = Path(folder) / JOB
        if not job.is_file() or job.stat().st_size > JOB_BYTES:
            raise FileError(f"holds no {JOB}", name, _MEND)
        try:
            record = parsed_toml(job.read_bytes(), JOB)
            files = own_files(job)
        except SnuglineError as error:
            raise FileError(f"the job in it cannot be read: {error.what}", name, _MEND) from error
        part = record.get("part")
        called = part.get("name") if isinstance(part, dict) else None
        stem = called if isinstance(called, str) else Path(name).stem
        return taken_in(shelf, stem, {file: Path(folder) / file for file in files})


def _extract(archive: zipfile.ZipFile, folder: Path, name: str) -> None:
    entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    if len(entries) > _ENTRIES:
        raise FileError(f"holds {counted(len(entries), 'file')}, more than a job has", name, _MEND)
    # All in the archive, or all in one folder of it.
    folders = {entry.filename.rpartition("/")[0] for entry in entries}
    inner = folders.pop() if len(folders) == 1 else None
    if inner is None or "/" in inner or inner.startswith("."):
        raise FileError("its files are not those of one job", name, _MEND)
    left = ARCHIVE_BYTES
    for entry in entries:
        plain = entry.filename.rpartition("/")[2]
        kind = entry.external_attr >> 16 & 0o170000
        if not is_plain_name(plain) or kind not in (0, 0o100000):
            raise FileError(f"{plain!r} is not a plain file", name, _MEND)
        if (folder / plain).exists():
            raise FileError(f"holds {plain!r} twice", name, _MEND)
        left -= _extract_one(archive, entry, folder / plain, min(left, UPLOAD_BYTES), name)


def _extract_one(
    archive: zipfile.ZipFile, entry: zipfile.ZipInfo, target: Path, most: int, name: str
) -> int:
    size = 0
    with archive.open(entry) as source, target.open("xb") as out:
        while piece := source.read(_PIECE):
            size += len(piece)
            if size > most:
                raise FileError(f"{target.name!r} is too large", name, _MEND)
            out.write(piece)
    return size
