"""Hostile job folders: how soon, with which word and within what memory each is refused.

    python benchmarks/hostile.py

The page is a server of its own with 100 good jobs beside the hostile ones; its list is asked for
cold, then each job is opened. The command line checks each in a process of its own; seconds and
memory are those beyond a good job's. The bounds are on the processor's seconds, which stand in
brackets; those by the clock depend on what else the computer does, and may show a wait.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "desk" / "page" / "http")]

import test_received_jobs as received  # noqa: E402
from page_server import Serving  # noqa: E402

LIST_SECONDS, OPEN_SECONDS, SERVER_MB = 0.5, 1.0, 300
COMMAND_SECONDS, COMMAND_MB = 1.0, 100
WAIT_SECONDS = 10.0  # by the clock, on a busy computer


def verdict(good: bool) -> str:
    return "pass" if good else "FAIL"


def server_mb(pid: int) -> float:
    """The most memory that the server itself has used."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1000


def processor_seconds(pid: int) -> float:
    """Of the server and of what it has started and waited for."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def the_page(folder: Path) -> bool:
    for number in range(100):
        text = received.GOOD.replace("{number}", str(number))
        received.a_job(folder / f"good-{number}", text)
    hostile = received.HOSTILE | received.ODD
    for name, text in hostile.items():
        received.a_job(folder / name, text)
    odd = folder / os.fsdecode(b"not-\xff-text")
    received.a_job(odd, received.GOOD)
    serving = Serving(folder)
    serving.browser.get("/api/about")
    start, busy = time.perf_counter(), processor_seconds(serving.process.pid)
    jobs = serving.browser.get("/api/jobs").json()["jobs"]
    listed = time.perf_counter() - start
    busy = processor_seconds(serving.process.pid) - busy
    good = listed < LIST_SECONDS and len(jobs) == 101 + len(hostile)
    print(
        f"list of {len(jobs)} jobs: {listed:.2f} s ({busy:.2f} of the processor; bound "
        f"{LIST_SECONDS} s) {verdict(good)}"
    )
    all_good = good
    for name in hostile:
        start, busy = time.perf_counter(), processor_seconds(serving.process.pid)
        answer = serving.browser.get(f"/api/jobs/{name}")
        took = time.perf_counter() - start
        busy = processor_seconds(serving.process.pid) - busy
        record = answer.json()
        fault = (record.get("faults") or [record.get("error")])[0]
        good = busy < OPEN_SECONDS and took < WAIT_SECONDS
        good &= answer.status_code in (200, 422) and bool(fault["where"])
        all_good &= good
        said = f"{fault['where'][:40]}: {fault['what'][:60]}"
        print(
            f"  open {name:20} {took:5.2f} s ({busy:.2f})  {answer.status_code}  {verdict(good)}  "
            f"{said}"
        )
    used = server_mb(serving.process.pid)
    serving.end()
    print(f"server: {used:.0f} MB at most (bound {SERVER_MB} MB) {verdict(used < SERVER_MB)}")
    return all_good and used < SERVER_MB


def checked(job: Path) -> tuple[float, float, float, int, str]:
    """Seconds by the clock and of the processor, MB, status and the line of `snugline check`."""
    start = time.perf_counter()
    command = [sys.executable, "-P", "-m", "snugline.desk.cli", "check", str(job)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    out = process.stdout.read().decode() if process.stdout else ""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    took, busy = time.perf_counter() - start, usage.ru_utime + usage.ru_stime
    return took, busy, usage.ru_maxrss / 1000, process.returncode, out


def the_command_line(folder: Path) -> bool:
    plain = received.a_job(folder / "plain", received.GOOD) / "job.toml"
    (plain.parent / "left.jpg").write_bytes(b"x")
    runs = [checked(plain) for _ in range(3)]
    seconds, busiest, mb = (pick(r[k] for r in runs) for k, pick in enumerate((min, min, max)))
    all_good = True
    for name, text in (received.HOSTILE | received.ODD).items():
        job = received.a_job(folder / "cli" / name, text) / "job.toml"
        took, busy, used, status, out = checked(job)
        line = out.strip().splitlines()[0] if out.strip() else ""
        good = busy - busiest < COMMAND_SECONDS and took - seconds < WAIT_SECONDS
        good &= used - mb < COMMAND_MB and status in (1, 2)
        # The command line reads what its user names elsewhere, and says so.
        good = "job.toml" in out and (good or (status == 0 and "outside the job's folder" in out))
        all_good &= good
        print(
            f"  check {name:20} {took - seconds:+5.2f} s ({busy - busiest:+.2f}) "
            f"{used - mb:+5.0f} MB  status {status}  "
            f"{verdict(good)}  {line.replace(str(folder), '')[:90]}"
        )
    return all_good


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        page = the_page(Path(place) / "jobs")
        command = the_command_line(Path(place) / "more")
    print(f"page {verdict(page)}, command line {verdict(command)}")
    own = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
    print(f"largest process of all: {own:.0f} MB")
    raise SystemExit(not (page and command))


if __name__ == "__main__":
    main()
