"""The served folder: one folder a job. What a client calls a job is compared, never opened."""

import os
import re
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from snugline.desk.options import result_folder
from snugline.desk.page.jobs.photo_moves import REMOVED
from snugline.errors import FileError, InputError
from snugline.files import is_file, is_link, is_plain_name, why, write_whole
from snugline.limits import NAME

JOB = "job.toml"
_LONGEST = 60
_OWN = (JOB, ".snugline", REMOVED, result_folder(Path(JOB)).name)


def job_id(job: Path) -> str:
    """What addresses call a job: its folder's name, also where that is not text."""
    return os.fsencode(job.parent.name).decode("utf-8", "replace")


def folder_stem(name: str) -> str:
    """The folder's name for a job of this name, before a number is added.

    >>> folder_stem("Slate tray, 3/8 in")
    'slate-tray-3-8-in'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST] or "job"
    return stem if is_plain_name(stem) else f"{stem}-job"  # `con` is a device on Windows


def refuse_links(job: Path) -> None:
    """A received job may hold links that lead the page to other places: such a job stays shut.

    Raises
    ------
    FileError : it holds one, or its folder's name cannot be shown.
    """
    if not job_id(job).isprintable() or "\ufffd" in job_id(job):
        raise FileError("the folder's name is not text", job_id(job), "rename the folder")
    for name in _OWN:
        if is_link(job.parent / name):
            raise FileError(
                f"{name} is a link to another place", job.parent.name, "put the file itself there"
            )
    if not is_file(job):
        raise FileError(f"{JOB} is not a plain file", job.parent.name, "put a job file there")


@dataclass(frozen=True)
class Shelf:
    """A folder of jobs."""

    folder: Path

    def jobs(self) -> list[Path]:
        """The job files, the one changed last first; none of a folder's oddities is an error."""
        found = []
        try:
            listing = os.scandir(self.folder)
        except OSError as error:
            raise FileError(
                f"the folder of jobs cannot be read ({why(error)})",
                self.folder.name,
                "put it back, or start Snugline again with another one",
            ) from error
        with listing as entries:
            for entry in entries:
                if entry.name.startswith(".") or is_link(Path(entry.path)):
                    continue
                job = Path(entry.path) / JOB
                with suppress(OSError):
                    found.append((os.lstat(job).st_mtime, job))
        return [job for _, job in sorted(found, reverse=True)]

    def find(self, ident: str) -> Path:
        """The job file of a folder's name.

        Raises
        ------
        LookupError : there is no such job.
        FileError : it is not one that the page opens.
        """
        for job in self.jobs():
            if job_id(job) == ident:
                refuse_links(job)
                return job
        raise LookupError(ident)

    def make(self, name: str, inches: bool = False) -> str:
        """A new job with a frame and nothing else; gives its id.

        Parameters
        ----------
        inches : of a shop that works in them: on its own paper, with files in inches.

        Raises
        ------
        InputError : no name.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= NAME or not name.isprintable():
            raise InputError(
                "the job has no name", "name", f"write what the part is called, in {NAME} letters"
            )
        stem = folder_stem(name)
        document = tomlkit.document()
        part, frame = tomlkit.table(), tomlkit.table()
        part["name"] = name
        frame["description"] = "border-letter" if inches else "border-a4"
        document["part"] = part
        document.add(tomlkit.nl())
        document["frame"] = frame
        if inches:
            document.add(tomlkit.nl())
            document["output"] = {"units": "in", "paper": "letter"}
        for number in range(1, 1000):
            ident = stem if number == 1 else f"{stem}-{number}"
            try:
                (self.folder / ident).mkdir()
            except FileExistsError:
                continue
            except OSError as error:
                raise FileError(
                    f"cannot make a folder ({why(error)})", ident, "make room on the disk"
                ) from error
            try:
                write_whole(self.folder / ident / JOB, tomlkit.dumps(document))
            except FileError:
                (self.folder / ident).rmdir()  # a full disk leaves no empty job
                raise
            return ident
        raise InputError(f"there are too many jobs called {name!r}", "name", "use another name")
