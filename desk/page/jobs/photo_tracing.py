"""The photos of an open job, each traced alone as soon as it is there: to be looked at at once."""

from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

from snugline.desk.page.jobs import limits, worker_tasks
from snugline.desk.page.jobs.job_states import PhotoWish
from snugline.desk.page.jobs.measured_store import Store, error_record
from snugline.desk.page.jobs.page_answers import photo_answer
from snugline.desk.page.jobs.stage import Processes, Stage
from snugline.errors import SnuglineError

Start = Callable[[str, Coroutine[Any, Any, None]], None]


class PhotoTracing:
    """What is traced, waits or was refused.

    Parameters
    ----------
    path : of the job file.
    refused : by the name of the result; shared with the rest of the job.
    start : starts a named piece of work.
    tell : called whenever something of a photo has changed.
    needed : whether the job still requires a result of this name.
    """

    def __init__(
        self,
        path: Path,
        processes: Processes,
        refused: dict[str, dict[str, str]],
        start: Start,
        tell: Callable[[PhotoWish], None],
        needed: Callable[[str], bool],
    ) -> None:
        self._path, self._processes, self._refused = path, processes, refused
        self._start, self._tell, self._needed = start, tell, needed
        self._store = Store(path.parent)
        self._traced: dict[str, Stage] = {}
        self._summaries: dict[str, dict[str, Any]] = {}
        self._sheets: dict[str, list[dict[str, Any]]] = {}
        self._looked: set[str] = set()

    def advance(self, photo: PhotoWish) -> None:
        """Start what this photo lacks."""
        stage = self.stage(photo)
        known = stage.state in ("done", "refused", "tracing", "waiting")
        if not known and photo.key is not None and photo.record is not None:
            self._traced[photo.key] = Stage("waiting")
            self._start(f"photo {photo.key}", self._trace(photo, photo.key))
        elif stage.state in ("done", "refused") and photo.picture is not None:
            self._look_for_sheets(photo, photo.picture)
        self._tell(photo)

    def stage(self, photo: PhotoWish) -> Stage:
        if photo.fault is not None:
            return Stage("refused", None, error_record(photo.fault, self._path.parent))
        key = photo.key or ""
        if key in self._refused:
            return Stage("refused", key, self._refused[key])
        if self._summary(key) is not None:
            return Stage("done", key)
        return self._traced.get(key, Stage("missing"))

    def sheets(self, photo: PhotoWish) -> list[dict[str, Any]] | None:
        """The built-in sheets that it shows; None until that is known."""
        name = photo.picture or ""
        if name not in self._sheets and (kept := self._store.load("sheets", name)) is not None:
            self._sheets[name] = kept["sheets"]
        return self._sheets.get(name)

    def answer(self, photo: PhotoWish) -> dict[str, Any]:
        """What is sent to the page about a photo."""
        stage = self.stage(photo)
        answer: dict[str, Any] = {
            "id": photo.id,
            "file": photo.file,
            "shows": photo.shows,
            "turn": photo.turn,
            "index": photo.index,
            "state": "waiting" if stage.state == "missing" else stage.state,
            "key": photo.key,
            "provisional": photo.provisional,
            "error": stage.error,
            "width": None,
            "height": None,
            "verdict": "retake" if stage.state == "refused" else None,
            "notices": [],
            "facts": None,
            "sheets": self.sheets(photo),
        }
        summary = self._summary(photo.key or "") if stage.state == "done" else None
        return answer | photo_answer(summary, photo.turn) if summary is not None else answer

    def _summary(self, key: str) -> dict[str, Any] | None:
        """The record of a photo that was traced, without its points."""
        if not self._store.has("measured", key):
            self._summaries.pop(key, None)  # cleared away meanwhile
        elif (
            key not in self._summaries and (record := self._store.load("summary", key)) is not None
        ):
            self._summaries[key] = record
        return self._summaries.get(key)

    async def _trace(self, photo: PhotoWish, key: str) -> None:
        def started() -> None:
            self._traced[key] = Stage("tracing")
            self._tell(photo)

        try:
            if not self._needed(key):
                return
            seconds = await self._processes.heavy.run(
                limits.TRACE_SECONDS,
                worker_tasks.measure_alone,
                photo.record,
                self._path,
                key,
                started=started,
            )
            self._processes.pace.took("photo", seconds)
        except SnuglineError as error:
            self._refused[key] = error_record(error, self._path.parent)
        finally:
            self._traced.pop(key, None)

    def _look_for_sheets(self, photo: PhotoWish, picture: str) -> None:
        """Once for each picture, after it was traced, so that it is ready in time."""
        if picture not in self._looked and self.sheets(photo) is None:
            self._looked.add(picture)
            self._start(f"sheets {picture}", self._find_sheets(photo, picture))

    async def _find_sheets(self, photo: PhotoWish, picture: str) -> None:
        try:
            found = await self._processes.light.run(
                limits.PICTURE_SECONDS, worker_tasks.sheets, photo.path
            )
        except SnuglineError:
            found = []  # a photo that cannot be read is refused elsewhere
        else:
            self._store.save("sheets", picture, {"sheets": found})
        self._sheets[picture] = found
        self._tell(photo)
