"""The served folder: one folder a job. What a client calls a job is compared, never opened."""

import os
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from snugline.errors import FileError, InputError
from snugline.files import write_whole

JOB = "job.toml"
_LONGEST = 60


@dataclass(frozen=True)
class Shelf:
    """A folder of jobs."""

    folder: Path

    def jobs(self) -> list[Path]:
        """The job files, the one changed last first."""
        found = []
        for entry in os.scandir(self.folder):
            if entry.name.startswith(".") or not entry.is_dir(follow_symlinks=False):
                continue
            job = Path(entry.path) / JOB
            if job.is_file() and not job.is_symlink():
                found.append((job.stat().st_mtime, job))
        return [job for _, job in sorted(found, reverse=True)]

    def find(self, ident: str) -> Path:
        """The job file of a folder's name.

        Raises
        ------
        LookupError : there is no such job.
        """
        for job in self.jobs():
            if job.parent.name == ident:
                return job
        raise LookupError(ident)

    def make(self, name: str) -> str:
        """A new job with a frame and nothing else; gives its id.

        Raises
        ------
        InputError : no name.
        """
        name = " ".join(name.split())
        if not name or len(name) > 200 or not name.isprintable():
            raise InputError("the job has no name", "name", "write what the part is called")
        plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
        stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST] or "job"
        document = tomlkit.document()
        part, frame = tomlkit.table(), tomlkit.table()
        part["name"] = name
        frame["description"] = "border-a4"
        document["part"] = part
        document.add(tomlkit.nl())
        document["frame"] = frame
        for number in range(1, 1000):
            ident = stem if number == 1 else f"{stem}-{number}"
            try:
                (self.folder / ident).mkdir()
            except FileExistsError:
                continue
            except OSError as error:
                raise FileError(
                    f"cannot make a folder ({error.strerror})", ident, "make room on the disk"
                ) from error
            write_whole(self.folder / ident / JOB, tomlkit.dumps(document))
            return ident
        raise InputError(f"there are too many jobs called {name!r}", "name", "use another name")
