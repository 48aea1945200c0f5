"""One open job: what is in progress, what is ready, and which windows are notified.

The job file determines what is needed (`job_states.wanted`); `advance` starts what is missing, and
every piece of work that ends calls it again. Results lie in the job's dot-folder under the name of
what they were made from, so nothing is measured twice and nothing that is out of date is shown as
new.
"""

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import aclosing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from anyio import to_thread

from snugline.desk.page.jobs import limits, worker_tasks
from snugline.desk.page.jobs.finishing import Finishing
from snugline.desk.page.jobs.job_states import PhotoWish, Wanted, wanted
from snugline.desk.page.jobs.measured_store import Store, error_record
from snugline.desk.page.jobs.page_answers import blocking, first_cause
from snugline.desk.page.jobs.photo_tracing import PhotoTracing
from snugline.desk.page.jobs.progress import progress
from snugline.desk.page.jobs.stage import Processes, Stage
from snugline.desk.page.jobs.windows import Windows
from snugline.errors import InputError, SnuglineError
from snugline.fit.result import FittedOutline

T = TypeVar("T")


@dataclass
class JobAtWork:
    """An open job; all its methods run in the server's event loop."""

    path: Path
    processes: Processes
    want: Wanted | None = None
    outline: Stage = field(default_factory=Stage)
    plan: Stage = field(default_factory=Stage)
    fitted: FittedOutline | None = None
    plan_bytes: bytes | None = None
    blocked: dict[str, Any] | None = None
    refused: dict[str, dict[str, str]] = field(default_factory=dict)
    tasks: dict[str, "asyncio.Task[None]"] = field(default_factory=dict)
    windows: Windows = field(default_factory=Windows)
    used: float = field(default_factory=time.monotonic)
    _result: tuple[str, dict[str, Any]] = ("", {})
    _seen: int = 0
    _begun: int = 0
    _failed: bool = False
    _closed: bool = False
    writing: asyncio.Lock = field(default_factory=asyncio.Lock)
    _reading: asyncio.Lock = field(default_factory=asyncio.Lock)

    def __post_init__(self) -> None:
        self.finishing = Finishing(self.path, lambda: self._tell("files", self.files))
        self.tracing = PhotoTracing(
            self.path,
            self.processes,
            self.refused,
            self._start,
            self._tell_photo,
            self._wants_photo,
        )

    @property
    def store(self) -> Store:
        return Store(self.path.parent)

    async def changed(self, change: Callable[..., T], *arguments: Any) -> T:
        """Change the job's file or folder, one change at a time; gives the function's result."""
        async with self.writing:
            return await to_thread.run_sync(change, self.path, *arguments)

    async def refresh(self, again: bool = False) -> Wanted:
        """Read the job file if it was written since; start what it requires.

        Parameters
        ----------
        again : read it in any case, since something next to it changed.
        """
        self.used = time.monotonic()
        begun = self._begun
        async with self._reading:
            # Of many that wait for the file, one reads for all that came before it began.
            if again or self.want is None or self._failed or self._begun == begun:
                self._begun += 1
                await self._read(again)
        self.advance()
        assert self.want is not None
        return self.want

    async def _read(self, again: bool) -> None:
        stamp = self.path.stat().st_mtime_ns if self.path.exists() else 0
        if self.want is not None and stamp == self._seen and not again and not self._failed:
            return
        self._failed = True
        self.want = await to_thread.run_sync(wanted, self.path)
        self._seen, self._failed = stamp, False
        self._tell("job", {"revision": self.want.revision})
        await self.finishing.look("files" in self.tasks)

    def advance(self) -> None:
        """Start whatever is needed, not there and not in progress."""
        want = self.want
        if want is None or self._closed:
            return
        for photo in want.photos:
            self.tracing.advance(photo)
        self._advance_outline(want)
        self._advance_plan(want)

    def photo(self, photo: PhotoWish) -> dict[str, Any]:
        """What is sent to the page about a photo."""
        return self.tracing.answer(photo)

    def _wants_photo(self, key: str) -> bool:
        return self.want is not None and any(photo.key == key for photo in self.want.photos)

    # Outline

    def _advance_outline(self, want: Wanted) -> None:
        key = want.fitted
        if key is None or want.measured is None:
            self._set_outline("missing", want.lacking)
            return
        if self.outline.key == key and self.store.has("fitted", key):
            self._set_outline("ready")
            return
        if f"outline {key}" in self.tasks:
            return
        stale = [name for name in self.tasks if name.startswith("outline ")]
        if stale:
            # A running trace of other photos is given up; a fit is soon done.
            if self.outline.state in ("tracing", "waiting"):
                self.tasks[stale[0]].cancel()
            return
        if key in self.refused:
            self.outline = replace(self.outline, state="refused", error=self.refused[key])
            self._tell("outline", self.outline.as_json())
            return
        stages = [self.tracing.stage(photo) for photo in want.photos]
        bad = next((s.error for s in stages if s.state == "refused"), None)
        if want.together:
            # What one photo lacks alone another may give; measuring all of them decides.
            stages = [s for s in stages if s.state != "refused"]
            bad = next((self._said(p.fault) for p in want.photos if p.fault is not None), None)
        if bad is not None:
            self.outline = replace(self.outline, state="missing", error=bad)
            self._tell("outline", self.outline.as_json())
        elif all(stage.state == "done" for stage in stages):
            self._start(f"outline {key}", self._fit(want, want.measured, key))
        else:
            self._set_outline("waiting")

    def _set_outline(self, state: str, error: SnuglineError | None = None) -> None:
        told = self._said(error) if error is not None else None
        self.outline = replace(self.outline, state=state, error=told)
        self._tell("outline", self.outline.as_json())

    async def _fit(self, want: Wanted, measured: str, key: str) -> None:
        try:
            if not self.store.has("measured", measured):
                self._set_outline("tracing")
                seconds = limits.TRACE_SECONDS * (1 + len(want.photos))
                took = await self.processes.heavy.run(
                    seconds, worker_tasks.measure, want.record, self.path, measured
                )
                self.processes.pace.took("together", took / max(1, len(want.photos)))
            self._set_outline("fitting")
            begun = time.monotonic()
            self.fitted = await self.processes.light.run(
                limits.FIT_SECONDS, worker_tasks.fit, want.record, self.path, measured, key
            )
            self.processes.pace.took("fit", time.monotonic() - begun)
            self.outline = Stage("ready", key)
            self._tell("outline", self.outline.as_json())
        except SnuglineError as error:
            self.refused[key] = self._said(error)

    def outline_answer(self) -> dict[str, Any] | None:
        """The last outline that is ready."""
        key = self.outline.key
        record = self.store.load("fitted", key) if key is not None else None
        if record is None:
            return None
        stale = self.want is None or self.want.fitted != key
        outline: dict[str, Any] = record["outline"]
        return {"key": key, "stale": stale, **outline}

    def result(self) -> dict[str, Any]:
        """State, causes and remarks of the outline that the job requires; {} until it is there."""
        want = self.want
        if want is None or want.fitted is None or self.outline.key != want.fitted:
            return {}
        if self._result[0] != want.fitted:
            record = self.store.load("fitted", want.fitted) or {"outline": {}}
            keys = ("state", "because", "notices")
            found = {k: v for k, v in record["outline"].items() if k in keys}
            self._result = (want.fitted, found)
        return self._result[1]

    def barred(self) -> dict[str, str] | None:
        """Why nothing may be cut from the outline; None where it may."""
        result = self.result()
        if result.get("state") != "not to be cut":
            return None
        photos = self.want.photos if self.want is not None else ()
        notice = first_cause(result, [self.photo(photo) for photo in photos])
        if notice is None:
            return {"what": "the outline is not to be cut", "where": "outline", "mend": "see there"}
        return {"what": notice["text"], "where": "outline", "mend": notice["mend"]}

    # Plan

    def _advance_plan(self, want: Wanted) -> None:
        key = want.planned
        if key is None or want.lacking_pocket is not None:
            self._set_plan("missing", want.lacking_pocket)
        elif (barred := self.barred()) is not None:
            self.plan = replace(self.plan, state="missing", error=barred)
            self._tell("plan", self.plan.as_json())
        elif self.plan.key == key:
            self._set_plan("ready")
        elif self.outline.key != want.fitted or self.fitted is None:
            self._set_plan("waiting")
        elif key in self.refused:
            self.plan = replace(self.plan, state="refused", error=self.refused[key])
            self._tell("plan", self.plan.as_json())
        elif not any(name.startswith("plan ") for name in self.tasks):
            self._set_plan("planning")
            self._start(f"plan {key}", self._make_plan(want, key))

    def _set_plan(self, state: str, error: SnuglineError | None = None) -> None:
        told = self._said(error) if error is not None else None
        self.plan = replace(self.plan, state=state, error=told)
        self._tell("plan", self.plan.as_json())

    async def _make_plan(self, want: Wanted, key: str) -> None:
        try:
            self.plan_bytes = await self._planned(want.record)
            self.blocked = blocking(json.loads(self.plan_bytes))
            self.plan = Stage("ready", key)
            self._tell("plan", self.plan.as_json())
        except SnuglineError as error:
            self.refused[key] = self._said(error)

    async def _planned(self, record: dict[str, Any]) -> bytes:
        return await self.processes.light.run(
            limits.PLAN_SECONDS, worker_tasks.plan, record, self.path, self.fitted
        )

    async def tried(self, pocket: dict[str, Any]) -> bytes:
        """The plan of a pocket that is only being tried.

        Raises
        ------
        SnuglineError : it cannot be planned like this.
        LookupError : no outline was fitted yet.
        """
        want = await self.refresh()
        if self.fitted is None:
            raise LookupError("outline")
        return await self._planned({**want.record, "pocket": pocket})

    async def clearances(self, number: int, step: float) -> dict[str, Any]:
        """How likely the part goes in, from tight to loose, about one of the job's clearances.

        Raises
        ------
        SnuglineError : no pocket can be planned.
        LookupError : no outline was fitted yet.
        """
        want = await self.refresh()
        if self.fitted is None:
            raise LookupError("outline")
        return await self.processes.light.run(
            limits.PLAN_SECONDS,
            worker_tasks.clearances,
            want.record,
            self.path,
            self.fitted,
            number,
            step,
        )

    async def settled_plan(self) -> None:
        """Wait until the plan that the job requires is made or refused, if it is in progress."""
        for _ in range(4):
            running = [task for name, task in self.tasks.items() if name.startswith("plan ")]
            if not running:
                return
            await asyncio.wait(running)

    def again(self) -> None:
        """Try again what was refused: a photo that took too long, for example."""
        self.refused.clear()
        self.advance()

    # Files

    @property
    def files(self) -> dict[str, Any]:
        """What is sent to the page about the job's files."""
        return self.finishing.files

    async def finish(self) -> None:
        """Start to write the job's files, unless that is under way."""
        if "files" not in self.tasks:
            self.finishing.begin()
            photos = len(self.want.photos) if self.want is not None else 1
            self._start("files", self.finishing.write(self.processes.heavy, photos))

    # Work and windows

    def _start(self, name: str, work_of: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(work_of)
        self.tasks[name] = task

        def ended(task: "asyncio.Task[None]") -> None:
            self.tasks.pop(name, None)
            if not task.cancelled() and (fault := task.exception()) is not None:
                self._report(name, fault)
            self.advance()

        task.add_done_callback(ended)

    def _report(self, name: str, fault: BaseException) -> None:
        """A fault of ours ends as a refusal with that reason, and is never retried by itself."""
        import logging

        logging.getLogger("snugline.page").error("%s: %s", name, fault, exc_info=fault)
        key = name.partition(" ")[2]
        error = InputError(
            f"a fault in Snugline itself ({type(fault).__name__}: {fault})",
            name.partition(" ")[0],
            "please report it with the job and the photos",
        )
        if key:
            self.refused[key] = self._said(error)
        else:
            self.finishing.refuse(self._said(error))

    def _said(self, error: SnuglineError) -> dict[str, str]:
        return error_record(error, self.path.parent)

    def work(self) -> dict[str, Any] | None:
        """What is being done, for which photo of how many, and about how long it takes."""
        photos = self.want.photos if self.want is not None else ()
        states = [self.tracing.stage(photo).state for photo in photos]
        stages = self.outline.state, self.plan.state
        return progress(states, *stages, self.files, self.processes.pace)

    def _tell(self, event: str, data: dict[str, Any]) -> None:
        """Send it to every window, once."""
        self.windows.send(event, event, data)
        if self.windows.listeners:
            self.windows.send("work", "work", {"work": self.work()})

    def _tell_photo(self, photo: PhotoWish) -> None:
        if self.windows.listeners:
            self.windows.send("photo", f"photo {photo.id}", self.photo(photo))
            self.windows.send("work", "work", {"work": self.work()})

    async def events(self) -> AsyncIterator[bytes]:
        """One window's stream of server-sent events."""
        want = await self.refresh()
        hello = {"revision": want.revision}
        async with aclosing(self.windows.stream(hello, self.refresh)) as lines:
            async for line in lines:
                yield line

    async def close(self) -> None:
        """Give up all worker_tasks."""
        self._closed = True
        tasks = list(self.tasks.values())
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    @property
    def idle(self) -> bool:
        return not self.tasks and not self.windows.listeners
