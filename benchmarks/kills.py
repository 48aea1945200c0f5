"""Killed in the middle of anything: what is old, new, mixed, hidden, stuck or left over.

    python benchmarks/kills.py           # 500 kills
    python benchmarks/kills.py 50        # a tenth of each
    python benchmarks/kills.py 500 workers --seed 2    # one kind's share of them

Half of the kills are aimed before one call that changes the disk, the others come at a random
moment. After each the next start is made, as a user would, and everything is looked at.
"""

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "desk")]
sys.path.append(str(ROOT / "tests" / "desk" / "page" / "jobs"))

import test_photo_moves as moves  # noqa: E402
import test_result_folder as results  # noqa: E402
from killed import killed_at  # noqa: E402
from page_server import Serving  # noqa: E402

from snugline.desk import cli, job_run  # noqa: E402
from snugline.desk.job import read_job  # noqa: E402
from snugline.desk.page.jobs import job_photos  # noqa: E402
from snugline.desk.page.jobs.job_folders import Shelf  # noqa: E402
from snugline.desk.page.jobs.job_states import photo_id  # noqa: E402
from snugline.desk.page.jobs.recovery import recover  # noqa: E402
from snugline.desk.result_folder import publish, settle_all  # noqa: E402
from snugline.pocket.cut_record import Cut  # noqa: E402
from snugline.pocket.records import Records  # noqa: E402

CHANCE = random.Random(1)


def killed_after(seconds: float, action) -> None:
    """Do the action in a process that is killed after that time."""
    child = os.fork()
    if child == 0:
        try:
            action()
        finally:
            os._exit(0)
    time.sleep(seconds)
    with suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def kill(n: int, steps: int, seconds: float, action) -> None:
    if n % 2:
        killed_at(CHANCE.randrange(steps), action)
    else:
        killed_after(CHANCE.uniform(0, seconds), action)


def leftovers(folder: Path) -> list[Path]:
    found = list(folder.rglob(".snugline-*"))
    return found + list(folder.glob("*/.snugline/incoming/*"))


def result_folders(count: int, place: Path) -> Counter:
    found: Counter = Counter()
    for n in range(count):
        out = place / str(n) / "out"
        publish(out, results.OLD)
        (out / "notes.txt").write_text("mine")
        if n % 4 > 1:
            (out / "toolpaths").mkdir()
        kill(n, 60, 0.03, lambda: publish(out, results.NEW))  # noqa: B023
        settle_all(out.parent)
        held = results.held(out)
        found["own files lost"] += held.pop("notes.txt", b"") != b"mine"
        found["mixed or stale"] += held not in (results.OLD, results.NEW)
        found["left over"] += bool(leftovers(out.parent))
        shutil.rmtree(out.parent)
    return found


def whole_runs(count: int, place: Path) -> Counter:
    """`snugline run` itself, over the result of another job; its photos were measured before."""
    found: Counter = Counter()
    sample = ROOT / "samples" / "basalt-plate-in-ash-board"
    text = (sample / "job.toml").read_text(encoding="utf-8").partition("[pocket]")[0]
    jobs = [place / name / "job.toml" for name in ("old", "new")]
    for job, gap in zip(jobs, ("0.5 mm", "0.75 mm"), strict=True):
        shutil.copytree(sample, job.parent)
        job.write_text(f'{text}[pocket]\nclearance = "{gap}"\n', encoding="utf-8")
    measured = job_run.measure_job(read_job(jobs[0]))
    picture = job_run.draw_overlay(measured.photos[0])
    job_run.measure_job = lambda job, draw: measured
    job_run.draw_overlay = lambda photo: picture

    def run(job: Path, out: Path) -> None:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        cli.main(["run", str(job), "--out", str(out)])

    start = time.monotonic()
    for job in jobs:
        assert killed_at(10**9, lambda: run(job, place / f"{job.parent.name}-out"))  # noqa: B023
    seconds = (time.monotonic() - start) / 2
    old, new = (results.held(place / f"{job.parent.name}-out") for job in jobs)
    assert old["result.json"] != new["result.json"]
    for n in range(count):
        out = place / str(n) / "out"
        shutil.copytree(place / "old-out", out)
        (out / "notes.txt").write_text("mine")
        kill(n, 120, seconds, lambda: run(jobs[1], out))  # noqa: B023
        settle_all(out.parent)
        held = results.held(out)
        found["own files lost"] += held.pop("notes.txt", b"") != b"mine"
        found["mixed or stale"] += held not in (old, new)
        found["left over"] += bool(leftovers(out.parent))
        shutil.rmtree(out.parent)
    return found


def photo_moves(count: int, place: Path) -> Counter:
    found: Counter = Counter()
    shelf = Shelf(place / "shelf")
    shelf.folder.mkdir()
    job = shelf.find(shelf.make("tray"))
    upload = job.parent / ".snugline" / "incoming" / "photo-y"
    upload.parent.mkdir(parents=True)
    for number in (1, 2, 3):
        upload.write_bytes(f"picture {number}".encode())
        job_photos._enter(job, upload, "", "jpg", "left end", None)
    job_photos.take_out(job, photo_id("photo-3.jpg"))
    upload.write_bytes(b"picture 4")
    for n in range(count):
        copy = Shelf(place / f"moved-{n}")
        shutil.copytree(shelf.folder, copy.folder)
        (one,) = copy.jobs()
        act = CHANCE.choice(list(moves.ACTS))
        kill(n, 40, 0.02, lambda: act(one))  # noqa: B023
        recover(copy)
        try:
            seen = moves.pictures(one)
        except (AssertionError, FileNotFoundError):
            seen = ([], [])
        before = (moves.contents(1, 2), moves.contents(3))
        after = tuple(moves.contents(*numbers) for numbers in moves.ACTS[act])
        found["photos hidden"] += seen not in (before, after)
        found["left over"] += bool(leftovers(copy.folder))
        shutil.rmtree(copy.folder)
    return found


def fit_records(count: int, place: Path) -> Counter:
    found: Counter = Counter()
    told = place / "told"
    records = Records(place / "fits.sqlite")
    cut = Cut(0.3, "snug", "oak", "router", 6.0)

    def record() -> None:
        records.add(cut)
        with told.open("ab") as stream:
            stream.write(b"x")

    for n in range(count):
        kill(n, 12, 0.05, record)
        acknowledged = told.stat().st_size if told.exists() else 0
        found["records lost"] += len(records.cuts()) < acknowledged
        found["records made up"] += len(records.cuts()) > n + 1
    return found


def servers(count: int, place: Path) -> Counter:
    """The server and all its workers at once, while photos come, go and are traced."""
    found: Counter = Counter()
    serving = Serving(place / "jobs")
    job = serving.new_job("tray")
    sent: set[bytes] = set()
    for n in range(count):
        start = time.monotonic()
        moment = start + CHANCE.uniform(0.2, 1.5)
        with suppress(Exception):
            while time.monotonic() < moment:
                _do_something(serving, job, n, sent)
        serving.kill()
        serving.start()
        shown = serving.browser.get(job).json()
        folder = serving.folder / "tray"
        kept = {p.read_bytes() for p in (folder / "removed").glob("*")}
        listed = {(folder / p["file"]).read_bytes() for p in shown["photos"]}
        lying = {p.read_bytes() for p in folder.glob("photo-*")}
        found["photos hidden"] += not (lying <= listed and sent <= listed | kept)
        old = [p for p in leftovers(serving.folder) if p.stat().st_mtime < time.time() - 30]
        found["left over"] += bool(old)
        found["jobs stuck"] += shown["files"]["state"] == "writing"
    serving.end()
    return found


def _do_something(serving: Serving, job: str, n: int, sent: set[bytes]) -> None:
    from test_job_photos import picture

    photos = serving.browser.get(job).json()["photos"]
    act = CHANCE.choice(["add", "replace", "delete", "finish", "change"])
    content = picture(CHANCE.randrange(256), size=(64 + CHANCE.randrange(64), 48 + n % 64))
    if act == "finish":
        serving.browser.post(job + "/finish")
    elif act == "change":
        serving.change(job, (["part", "listed"], None, "418 x 118 mm"))
    elif act == "add" or not photos:
        answer = serving.browser.post(job + "/photos", content=content)
        if answer.status_code == 201:
            sent.add(content)
    elif act == "replace":
        ident = photos[0]["id"]
        if serving.browser.put(f"{job}/photos/{ident}", content=content).status_code == 200:
            sent.add(content)
    else:
        serving.browser.delete(f"{job}/photos/{photos[0]['id']}")


def workers(count: int, place: Path) -> Counter:
    """One worker of the server, while it traces: the work is done again, or refused by name."""
    from test_job_photos import picture

    found: Counter = Counter()
    serving = Serving(place / "worked")
    job = serving.new_job("tray")
    for n in range(count):
        answer = serving.browser.post(job + "/photos", content=picture(n, size=(640, 480)))
        time.sleep(CHANCE.uniform(0.0, 0.2))
        children = subprocess.run(
            ["pgrep", "-s", str(serving.process.pid)], capture_output=True, text=True, check=False
        ).stdout.split()
        pids = [int(pid) for pid in children if int(pid) != serving.process.pid]
        names = {pid: Path(f"/proc/{pid}/cmdline") for pid in pids}
        busy = [p for p, f in names.items() if f.exists() and b"forkserver" in f.read_bytes()]
        if busy:
            with suppress(ProcessLookupError):
                os.kill(CHANCE.choice(busy), signal.SIGKILL)
        ident = answer.json()["photo"]["id"]

        def ended(seen, ident=ident) -> bool:
            (one,) = [p for p in seen["photos"] if p["id"] == ident]
            return one["state"] in ("done", "refused")

        try:
            serving.wait(job, ended, 60)
        except AssertionError:
            found["jobs stuck"] += 1
        serving.browser.delete(f"{job}/photos/{ident}")
    serving.end()
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", nargs="?", type=int, default=500)
    parser.add_argument("kinds", nargs="*")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_intermixed_args()
    count, _ = arguments.count, CHANCE.seed(arguments.seed)
    parts = {
        result_folders: 0.3, whole_runs: 0.1, photo_moves: 0.32, fit_records: 0.12, servers: 0.1,
        workers: 0.06,
    }  # fmt: skip
    bad = 0
    for part, share in parts.items():
        if arguments.kinds and part.__name__ not in arguments.kinds:
            continue
        with tempfile.TemporaryDirectory() as place:
            kills = round(count * share)
            found = part(kills, Path(place))
        said = ", ".join(f"{number} {what}" for what, number in sorted(found.items()))
        faults = sum(found.values())
        bad += faults
        name = part.__name__.replace("_", " ")
        print(f"{name:15} {kills:4} kills: {said or 'nothing'}  {'FAIL' if faults else 'pass'}")
    raise SystemExit(bad > 0)


if __name__ == "__main__":
    main()
