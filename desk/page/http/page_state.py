"""What all addresses share: the shelf, the worker processes, the open jobs."""

import asyncio
from dataclasses import dataclass, field

from starlette.requests import Request

from snugline.desk.page.http.exchange import Upload
from snugline.desk.page.http.guard import Sessions
from snugline.desk.page.jobs.job_folders import Shelf
from snugline.desk.page.jobs.open_job import JobAtWork
from snugline.desk.page.jobs.proofs import ProofPhotos
from snugline.desk.page.jobs.stage import Processes

_OPEN_JOBS = 30
_SYNCING = 8  # uploads that wait for the disk at a time


@dataclass
class Desk:
    """Everything that the addresses share.

    Parameters
    ----------
    shelf : the served folder.
    sessions, links : with `--lan`: who is let in, and the starts of the link, the best one first.
    """

    shelf: Shelf
    processes: Processes
    sessions: Sessions | None = None
    links: tuple[str, ...] = ()
    open: dict[str, JobAtWork] = field(default_factory=dict)
    syncing: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(_SYNCING))
    uploads: set[Upload] = field(default_factory=set)
    proofs: ProofPhotos = field(default_factory=ProofPhotos)
    streams: int = 0

    def job(self, request: Request) -> JobAtWork:
        """The open job that an address names.

        Raises
        ------
        LookupError : there is none.
        """
        path = self.shelf.find(request.path_params["job"])
        ident = path.parent.name
        if ident not in self.open:
            self._put_away()
            self.open[ident] = JobAtWork(path, self.processes)
        return self.open[ident]

    def _put_away(self) -> None:
        idle = sorted((job.used, ident) for ident, job in self.open.items() if job.idle)
        for _, ident in idle[: max(0, len(self.open) - _OPEN_JOBS)]:
            del self.open[ident]
