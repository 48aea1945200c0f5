"""Worker processes: work that takes too long or dies is told, and the next finds a new worker."""

import asyncio
import os
import signal
import time

import pytest
from page_work import work

from snugline.desk.page.jobs import worker_pool
from snugline.desk.page.jobs.worker_pool import Pool
from snugline.errors import FileError, SnuglineError

pytestmark = pytest.mark.whole


@pytest.fixture(scope="module")
def pool():
    made = Pool(1)
    yield made
    made.stop()


def run(pool, *works, seconds=30.0):
    async def all_of_them():
        # A semaphore belongs to one loop.
        pool._room = asyncio.Semaphore(1)
        return await asyncio.gather(
            *(pool.run(seconds, work, one) for one in works), return_exceptions=True
        )

    return asyncio.run(all_of_them())


def test_what_takes_too_long_is_ended_and_the_next_work_is_done(pool):
    first, second = run(pool, 60, 0, seconds=1.0)
    assert isinstance(first, SnuglineError)
    assert "longer than 1 s" in first.what
    assert isinstance(second, int)


def test_a_worker_that_dies_takes_only_its_own_work_along(pool):
    first, second = run(pool, "die", 0)
    assert isinstance(first, SnuglineError)
    assert "twice" in first.what
    assert "memory" in first.what
    assert isinstance(second, int)


def test_work_whose_worker_died_is_done_by_another(pool, tmp_path):
    (pid,) = run(pool, tmp_path / "died")
    assert isinstance(pid, int)
    assert (tmp_path / "died").exists()


def test_a_worker_that_dies_idle_is_replaced(pool):
    (pid,) = run(pool, 0)
    os.kill(pid, signal.SIGKILL)
    time.sleep(0.5)
    (other,) = run(pool, 0)
    assert other != pid
    assert isinstance(other, int)


def test_an_error_comes_back_with_its_three_parts(pool):
    (error,) = run(pool, "refuse")
    assert isinstance(error, FileError)
    assert (error.what, error.where) == ("is no photo", "left.jpg")


def test_work_waits_its_turn(pool):
    start = time.monotonic()
    pids = run(pool, 0.2, 0.2, 0.2)
    assert len(set(pids)) == 1
    assert time.monotonic() - start > 0.6


def test_work_that_nobody_wants_any_more_is_ended(pool):
    async def given_up():
        pool._room = asyncio.Semaphore(1)
        task = asyncio.create_task(pool.run(60, work, 50))
        await asyncio.sleep(0.3)
        task.cancel()
        await asyncio.wait([task])
        return await pool.run(30, work, 0)

    start = time.monotonic()
    assert isinstance(asyncio.run(given_up()), int)
    assert time.monotonic() - start < 20


def test_where_processes_cannot_be_copied_they_are_started_anew(monkeypatch):
    """Windows has `spawn` alone; elsewhere processes are copies of one that has all loaded."""
    assert worker_pool._context().get_start_method() == "forkserver"
    monkeypatch.setattr(worker_pool, "get_all_start_methods", lambda: ["spawn"])
    assert worker_pool._context().get_start_method() == "spawn"


def test_a_worker_begins_where_there_are_no_niceness_and_no_other_signals(monkeypatch):
    asked = []
    monkeypatch.setattr(signal, "signal", lambda number, what: asked.append((number, what)))
    monkeypatch.delattr(worker_pool.os, "nice")
    worker_pool._begin(5)
    assert asked == [(signal.SIGINT, signal.SIG_IGN)]
