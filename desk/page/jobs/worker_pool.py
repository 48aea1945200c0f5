"""Worker processes: few, with a time limit for each piece of work, and replaced when they die."""

import asyncio
import os
from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_all_start_methods, get_context
from typing import Any, TypeVar

from pebble import ProcessExpired, ProcessPool
from threadpoolctl import threadpool_limits

from snugline.errors import SnuglineError

T = TypeVar("T")
# A worker is replaced after this many pieces of work: memory leaked by libraries stays small.
_PIECES = 500


class Pool:
    """Some processes that take one piece of work each; more work waits its turn.

    Parameters
    ----------
    processes : how many.
    nice : how far they step back before others that want the processor.
    """

    def __init__(self, processes: int, nice: int = 0) -> None:
        self._processes = processes
        self._nice = nice
        self._room = asyncio.Semaphore(processes)
        self._pool = self._made()

    def _made(self) -> ProcessPool:
        return ProcessPool(
            max_workers=self._processes,
            max_tasks=_PIECES,
            initializer=_begin,
            initargs=(self._nice,),
            context=_context(),
        )

    def start(self) -> None:
        """Start the processes, so that the first piece of work finds them warm."""
        for _ in range(self._processes):
            self._pool.schedule(_begun)

    async def run(
        self,
        seconds: float,
        function: Callable[..., T],
        *arguments: Any,
        started: Callable[[], None] = lambda: None,
    ) -> T:
        """The function's result, from a process of the pool.

        Cancelling ends the process that works on it.

        Raises
        ------
        SnuglineError : the function's own; or it took longer than `seconds`, or its process died
            twice.
        """
        async with self._room:
            started()
            try:
                try:
                    result: T = await self._scheduled(seconds, function, arguments)
                except (BrokenProcessPool, ProcessExpired):
                    # A process died, idle or at work: once may be chance, so it is tried again.
                    if not self._pool.active:
                        self._pool = self._made()
                    result = await self._scheduled(seconds, function, arguments)
            except TimeoutError as error:
                raise SnuglineError(
                    f"it took longer than {seconds:.0f} s and was stopped",
                    "this computer",
                    "try again, or with a smaller photo",
                ) from error
            except (BrokenProcessPool, ProcessExpired) as error:
                raise SnuglineError(
                    "the process that worked on it was ended twice, perhaps for lack of memory",
                    "this computer",
                    "close other programs and try again, or use a smaller photo",
                ) from error
            return result

    async def _scheduled(
        self, seconds: float, function: Callable[..., T], arguments: tuple[Any, ...]
    ) -> T:
        if not self._pool.active:
            raise BrokenProcessPool
        future = self._pool.schedule(function, args=arguments, timeout=seconds)
        result: T = await asyncio.wrap_future(future)
        return result

    def stop(self) -> None:
        """End the processes, whatever they work on."""
        self._pool.stop()  # type: ignore[no-untyped-call]
        self._pool.join()


def _context() -> Any:
    """Where the system can, processes are copies of one that has loaded everything.

    So a worker is there at once, and all share the memory of what they have loaded.
    """
    if "forkserver" not in get_all_start_methods():
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(["snugline.desk.page.jobs.preload"])
    return context


def _begun() -> None:
    """A piece of work that only takes a started process."""


def _begin(nice: int) -> None:
    import signal

    import cv2

    # A keyboard's Ctrl-C reaches the server alone, which then ends its workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if nice and hasattr(os, "nice"):
        os.nice(nice)
    import snugline.desk.page.jobs.preload  # noqa: F401

    cv2.setNumThreads(1)  # the pool itself keeps the cores busy
    threadpool_limits(1, "blas")  # as `run_job` does, for the same bytes
