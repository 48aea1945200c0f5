"""Many jobs side by side, each in a process of its own: one that fails stops no other."""

import os
from collections.abc import Sequence
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from snugline.counting import counted
from snugline.desk.advice import outside
from snugline.desk.console import Step
from snugline.desk.job import read_job
from snugline.desk.job_run import Making, run_job
from snugline.desk.result_folder import publish, settle_all
from snugline.desk.result_record import summary
from snugline.errors import SnuglineError
from snugline.notice import Notice
from snugline.units import LengthUnit


@dataclass(frozen=True)
class Outcome:
    """What came of one job: either a record or an error."""

    job: Path
    folder: Path
    record: dict[str, Any] | None = None
    lines: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    unit: LengthUnit = "mm"
    error: SnuglineError | None = None

    def as_json(self) -> dict[str, Any]:
        """The record, or in its place the error's three parts."""
        if self.error is None:
            return self.record or {}
        return {"job": str(self.job), "error": self.error.as_json()}


def run_one(job: Path, folder: Path, making: Making) -> Outcome:
    """Run a job and move its files into the folder; an error the user can fix is a result."""
    settle_all(folder.absolute().parent)
    try:
        read = read_job(job)
        finished = run_job(read, making)
        making.step(f"writing {folder}")
        publish(folder, finished.files)
    except SnuglineError as error:
        return Outcome(job, folder, error=error)
    lines = (*summary(finished.record, folder), *(f"  note: {n.text}" for n in outside(read)))
    return Outcome(job, folder, finished.record, lines, finished.notices, read.output.units)


def run_all(
    jobs: Sequence[tuple[Path, Path]], making: Making, processes: int | None
) -> list[Outcome]:
    """Run (job, folder) pairs, in their order; a single one runs in this very process."""
    if len(jobs) == 1:
        return [run_one(*jobs[0], making)]
    with ThreadPoolExecutor(processes or os.cpu_count() or 1) as threads:
        futures = [
            threads.submit(_in_a_process, job, folder, replace(making, step=_silent))
            for job, folder in jobs
        ]
        _watch(futures, making.step)
    return [future.result() for future in futures]


def _watch(futures: Sequence["Future[Outcome]"], step: Step) -> None:
    step(f"0 of {counted(len(futures), 'job')} done")
    for done, future in enumerate(as_completed(futures), 1):
        step(f"{done} of {counted(len(futures), 'job')} done, last {future.result().job}")


def _silent(step: str) -> None:
    """Steps of a job among many are not told."""


def _in_a_process(job: Path, folder: Path, making: Making) -> Outcome:
    """One job in a process of its own: memory that runs out there ends that job alone."""
    with ProcessPoolExecutor(1, get_context("spawn")) as process:
        try:
            return process.submit(run_one, job, folder, making).result()
        except BrokenProcessPool:
            what = "the process that ran it was ended from outside, perhaps for lack of memory"
            mend = "run it alone, or fewer at a time with --processes 1"
        except Exception as error:
            what = f"a fault in Snugline itself ({type(error).__name__}: {error})"
            mend = "please report it with the job and the photos"
    return Outcome(job, folder, error=SnuglineError(what, str(job), mend))
