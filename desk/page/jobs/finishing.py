"""Writing the job's files: begun, watched, and looked at afterwards."""

import asyncio
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from anyio import to_thread

from snugline.desk.page.jobs import limits, worker_tasks
from snugline.desk.page.jobs.files_made import files_made
from snugline.desk.page.jobs.measured_store import Store, error_record
from snugline.desk.page.jobs.worker_pool import Pool
from snugline.errors import SnuglineError


class Finishing:
    """The job's files as reported to the page.

    Parameters
    ----------
    path : of the job file.
    tell : called whenever `files` has changed.
    """

    def __init__(self, path: Path, tell: Callable[[], None]) -> None:
        self.files: dict[str, Any] = {}
        self._path = path
        self._store = Store(path.parent)
        self._tell = tell
        self._error: dict[str, str] | None = None

    def begin(self) -> None:
        self._error = None
        self.files = {**self.files, "state": "writing", "step": "starting", "error": None}
        self._tell()

    def refuse(self, error: dict[str, str]) -> None:
        self._error = error
        self.files = {**self.files, "state": "refused", "error": error}
        self._tell()

    async def write(self, pool: Pool, photos: int) -> None:
        """Write them in a worker process; an error is kept to be shown."""
        watch = asyncio.create_task(self._watch_step())
        try:
            seconds = limits.FINISH_SECONDS + limits.TRACE_SECONDS * photos
            key = await pool.run(seconds, worker_tasks.finish, self._path)
            self._store.save("finishing", "made", {"key": key, "made": time.time()})
        except SnuglineError as error:
            self._error = error_record(error, self._path.parent)
        finally:
            watch.cancel()
        await self.look(False)

    async def look(self, under_way: bool) -> None:
        """See which files lie there, unless they are being written."""
        if under_way and self.files.get("state") == "writing":
            return
        files = await to_thread.run_sync(files_made, self._path, self._store)
        if self._error is not None:
            files["error"] = self._error
        if files["error"] is not None and files["state"] == "missing":
            files["state"] = "refused"
        self.files = files
        self._tell()

    async def _watch_step(self) -> None:
        while True:
            await asyncio.sleep(0.3)
            with suppress(OSError, SnuglineError):
                step = self._store.read("finishing", "step.txt").decode("utf-8")
                if step != self.files.get("step"):
                    self.files["step"] = step
                    self._tell()
