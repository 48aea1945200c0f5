"""One open job: what is started when, what is given up, and what the windows are told.

The worker processes are stood in for: each piece of work waits until the test lets it end.
"""

import asyncio
import json
import shutil

import pytest
from made_measured import made_measured

from snugline.desk.page.jobs import worker_tasks
from snugline.desk.page.jobs.job_file_edit import change_file
from snugline.desk.page.jobs.job_states import wanted
from snugline.desk.page.jobs.key_changes import Change
from snugline.desk.page.jobs.measured_record import to_record
from snugline.desk.page.jobs.measured_store import Store
from snugline.desk.page.jobs.open_job import JobAtWork
from snugline.desk.page.jobs.page_answers import blocking
from snugline.desk.page.jobs.stage import Processes
from snugline.errors import PhotoError
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.result import FittedOutline, Quantity

LENGTH = {"what": "length", "value": "418 mm", "tool": "tape"}


def fitted():
    size = Quantity(418.0, 0.2, ("tape",))
    outline = rounded_rectangle(418, 150, 20)
    return FittedOutline("rounded rectangle", size, size, (), outline, 0.01, 0.02, (), {}, None,
                         (), ())  # fmt: skip


class Workers:
    """Takes the place of both pools; `let(name)` ends the oldest piece of that worker_tasks."""

    def __init__(self):
        self.waiting = []
        self.given_up = []

    async def run(self, seconds, function, *arguments, started=lambda: None):
        started()
        if function is worker_tasks.sheets:
            return []
        # A photo alone and all photos together wait alike.
        name, end = (
            function.__name__.removesuffix("_alone"),
            asyncio.get_running_loop().create_future(),
        )
        self.waiting.append((name, arguments, end))
        try:
            error = await end
        except asyncio.CancelledError:
            self.waiting.remove((name, arguments, end))
            self.given_up.append(name)
            raise
        if error is not None:
            raise error
        return self.done(name, arguments)

    def done(self, name, arguments):
        if name == "measure":
            _, path, key = arguments
            record = to_record(made_measured())
            Store(path.parent).save("measured", key, record)
            Store(path.parent).save(
                "summary", key, worker_tasks.without_points(record["photos"][0])
            )
            return 1.0
        if name == "fit":
            _, path, _, key = arguments
            Store(path.parent).save("fitted", key, {"outline": {"notices": []}, "photos": []})
            return fitted()
        if name == "plan":
            return json.dumps(
                {"clearance": arguments[0]["pocket"]["clearance"], "notices": []}
            ).encode()
        raise AssertionError(name)

    def names(self):
        return [name for name, _, _ in self.waiting]

    async def let(self, name, error=None):
        piece = next(p for p in self.waiting if p[0] == name)
        self.waiting.remove(piece)
        piece[2].set_result(error)
        await settled()

    async def let_all(self):
        while self.waiting:
            await self.let(self.waiting[0][0])


async def settled():
    for _ in range(20):
        await asyncio.sleep(0)


def change(path, *keys, was=None, now=None, element=None):
    change_file(path, [Change(keys, was, now, element)])


@pytest.fixture
def opened(two_photos):
    """Run a test in the event loop with a job and its workers."""

    def run(test):
        async def in_loop():
            workers = Workers()
            at_work = JobAtWork(two_photos, Processes(workers, workers))
            await at_work.refresh()
            await settled()
            await test(at_work, workers)
            await at_work.close()

        asyncio.run(in_loop())

    return run


def test_photos_come_first_then_all_together_then_fit_and_plan(opened):
    async def test(at_work, workers):
        assert workers.names() == ["measure", "measure"]
        assert (at_work.outline.state, at_work.plan.state) == ("waiting", "waiting")
        await workers.let("measure")
        assert workers.names() == ["measure"]
        await workers.let("measure")
        assert workers.names() == ["measure"]
        assert at_work.outline.state == "tracing"
        await workers.let("measure")
        assert workers.names() == ["fit"]
        await workers.let("fit")
        assert workers.names() == ["plan"]
        assert at_work.outline.state == "ready"
        await workers.let("plan")
        assert at_work.plan.state == "ready"
        assert workers.names() == []

    opened(test)


def test_a_new_reading_fits_anew_and_traces_nothing(opened):
    async def test(at_work, workers):
        await workers.let_all()
        old = at_work.outline.key
        change(at_work.path, "reading", 0, was=LENGTH, now={**LENGTH, "value": "419 mm"})
        await at_work.refresh()
        await settled()
        assert workers.names() == ["fit"]
        assert (at_work.outline.state, at_work.outline.key) == ("fitting", old)
        assert at_work.outline_answer()["stale"]
        await workers.let("fit")
        assert at_work.outline.key != old
        assert not at_work.outline_answer()["stale"]
        assert workers.names() == ["plan"]

    opened(test)


def test_a_fit_that_is_out_of_date_is_followed_by_the_one_that_is_wanted(opened):
    async def test(at_work, workers):
        await workers.let_all()
        for value in ("419 mm", "420 mm", "421 mm"):
            now = at_work.want.record["reading"][0]
            change(at_work.path, "reading", 0, was=now, now={**LENGTH, "value": value})
            await at_work.refresh()
            await settled()
        assert workers.names() == ["fit"]
        await workers.let("fit")
        assert workers.names() == ["fit"]
        assert workers.waiting[0][1][0]["reading"][0]["value"] == "421 mm"
        await workers.let_all()
        assert at_work.outline.key == at_work.want.fitted
        assert at_work.plan.key == at_work.want.planned

    opened(test)


def test_tracing_all_together_is_given_up_when_a_photo_goes(opened):
    async def test(at_work, workers):
        await workers.let("measure")
        await workers.let("measure")
        assert at_work.outline.state == "tracing"
        table = at_work.want.record["photo"][1]
        change(at_work.path, "photo", 1, was=table, now=None)
        await at_work.refresh()
        await settled()
        assert workers.given_up == ["measure"]
        # The one photo that is left was measured alone already.
        assert workers.names() == ["fit"]

    opened(test)


def test_only_the_latest_pocket_is_planned(opened):
    async def test(at_work, workers):
        await workers.let_all()
        was = "0.3 mm"
        for now in ("0.4 mm", "0.5 mm", "0.6 mm"):
            change(at_work.path, "pocket", "clearance", was=was, now=now)
            await at_work.refresh()
            await settled()
            was = now
        assert workers.names() == ["plan"]
        await workers.let("plan")
        await workers.let("plan")
        assert workers.names() == []
        assert json.loads(at_work.plan_bytes)["clearance"] == "0.6 mm"

    opened(test)


def test_what_was_refused_is_told_and_tried_again_only_when_asked(opened):
    async def test(at_work, workers):
        await workers.let("measure", PhotoError("found no marker", "left.jpg", "take it again"))
        await workers.let("measure")
        first, second = (at_work.photo(photo) for photo in at_work.want.photos)
        assert (first["state"], first["verdict"]) == ("refused", "retake")
        assert first["error"]["what"] == "found no marker"
        assert second["state"] == "done"
        assert at_work.outline.state == "missing"
        assert "marker" in at_work.outline.error["what"]
        await at_work.refresh()
        await settled()
        assert workers.names() == []
        at_work.again()
        await settled()
        assert workers.names() == ["measure"]
        await workers.let_all()
        assert at_work.outline.state == "ready"

    opened(test)


def test_a_fault_of_ours_is_told_and_does_not_start_over(opened, caplog):
    async def test(at_work, workers):
        await workers.let_all()
        change(at_work.path, "reading", 0, was=LENGTH, now={**LENGTH, "value": "419 mm"})
        await at_work.refresh()
        await settled()
        await workers.let("fit", ZeroDivisionError("by nought"))
        assert at_work.outline.state == "refused"
        assert "ZeroDivisionError" in at_work.outline.error["what"]
        assert workers.names() == []

    opened(test)
    assert "by nought" in caplog.text


def test_what_is_cleared_away_is_made_again(opened):
    async def test(at_work, workers):
        await workers.let_all()
        shutil.rmtree(at_work.path.parent / ".snugline")
        await at_work.refresh()
        await settled()
        assert workers.names() == ["measure", "measure"]
        await workers.let_all()
        assert at_work.outline_answer() is not None

    opened(test)


def test_windows_are_told_each_thing_once(opened):
    async def test(at_work, workers):
        window = at_work.events()
        assert b"event: hello" in await anext(window)
        (queue,) = at_work.windows.listeners
        await workers.let_all()
        for _ in range(5):
            await at_work.refresh()
        lines = [queue.get_nowait() for _ in range(queue.qsize())]
        # The word on the work in hand comes and goes.
        lines = [line for line in lines if not line.startswith(b"event: work")]
        assert len(lines) == len(set(lines))
        assert [b"planning" in line for line in lines].count(True) == 1
        await window.aclose()
        assert at_work.windows.listeners == set()

    opened(test)


def test_a_window_that_sleeps_is_let_go(opened):
    async def test(at_work, workers):
        window = at_work.events()
        await anext(window)
        for number in range(500):
            at_work._tell("job", {"revision": str(number)})
        assert at_work.windows.listeners == set()
        await window.aclose()

    opened(test)


def test_closing_gives_up_all_work_and_starts_none(opened):
    async def test(at_work, workers):
        assert len(workers.names()) == 2
        await at_work.close()
        await settled()
        assert workers.names() == []
        assert workers.given_up == ["measure", "measure"]

    opened(test)


def test_a_photo_waiting_for_a_thickness_is_only_looked_at(opened):
    async def test(at_work, workers):
        await workers.let_all()
        change(at_work.path, "part", "thickness", was="9.5 mm", now=None)
        await at_work.refresh()
        await settled()
        await workers.let_all()
        shown = [at_work.photo(photo) for photo in at_work.want.photos]
        assert [(one["state"], one["provisional"]) for one in shown] == [("done", True)] * 2
        assert at_work.outline.state == "missing"
        assert "thickness" in at_work.outline.error["what"]
        # What was known before stays to be looked at.
        assert at_work.outline.key is not None

    opened(test)


def test_of_many_that_ask_at_once_one_reads_for_all(opened, monkeypatch):
    async def test(at_work, workers):
        reads = []

        def counted(path):
            reads.append(path)
            return wanted(path)

        monkeypatch.setattr("snugline.desk.page.jobs.open_job.wanted", counted)
        change(at_work.path, "part", "name", was="tray", now="dish")
        want = await asyncio.gather(*(at_work.refresh() for _ in range(20)))
        assert len(reads) == 1
        assert {one.record["part"]["name"] for one in want} == {"dish"}

        # Who asks while a reading is under way gets one that began later.
        first = asyncio.create_task(at_work.refresh(again=True))
        await asyncio.sleep(0)
        change(at_work.path, "part", "name", was="dish", now="bowl")
        assert (await at_work.refresh()).record["part"]["name"] == "bowl"
        await first

    opened(test)


def test_a_reading_that_failed_is_no_answer_for_others(opened, monkeypatch):
    async def test(at_work, workers):
        def broken(path):
            raise PhotoError("the disk is gone", "job.toml", "plug it in")

        with monkeypatch.context() as patched:
            patched.setattr("snugline.desk.page.jobs.open_job.wanted", broken)
            tries = [at_work.refresh(again=True), at_work.refresh(), at_work.refresh()]
            answers = await asyncio.gather(*tries, return_exceptions=True)
        assert all(isinstance(answer, PhotoError) for answer in answers)
        assert (await at_work.refresh()).record["part"]["name"] == "tray"

    opened(test)


def test_a_plan_is_blocked_only_where_none_of_its_pockets_can_be_cut():
    jams = {"code": "does-not-go-in", "text": "it does not go in", "mend": "add some"}
    note = {"code": "clearance-large", "text": "unusually large", "mend": "check"}
    bad = {"state": "not to be cut", "because": ["does-not-go-in"]}
    good = {"state": "good", "because": []}
    assert blocking({"pockets": [bad, bad], "notices": [note, jams]}) == jams
    assert blocking({"pockets": [bad, good], "notices": [note, jams]}) is None
    assert blocking({}) is None
