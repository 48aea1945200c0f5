"""The page's server: time from a photo to its overlay, of a change to the plan, and under load.

Run as `python benchmarks/page.py [UPLOADS]`, on a machine that does nothing else. It talks to a
server of its own on loopback only. The photos are the rendered ones beside the repository, of 12
megapixels. Prints one row per bound: figure, bound, pass or FAIL.
"""

import statistics
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import httpx
import rendered
from page_server import Serving, Window

CASE = "basalt-panel-two-ends"
OTHERS = ("maple-board-round-ends", "stone-slab-four-corners", "porcelain-dish-dark-window")
POCKETS = {
    "clearance": {"clearance": ["0.25 mm"]},
    "three clearances, reliefs, border, notch, coupons, layout": {
        "clearance": ["0.25 mm", "0.4 mm", "0.6 mm"],
        "cutter": {"diameter": "6 mm", "length": "22 mm"},
        "relief": "dog-bone",
        "border": {"land": "20 mm", "corner": "30 mm", "edge": "round-over", "edge_size": "4 mm"},
        "notch": [{"side": "front", "width": "24 mm"}],
        "coupons": {"corners": 2, "slip": True},
        "stock": {"thickness": "22 mm", "length": "1200 mm", "width": "400 mm", "coupons": True},
    },
}
OVERLAY_S, PLAN_S, ANSWER_S = 3.0, 0.2, 1.0
MEMORY_MB = 1200
CHANGES = 30

failed = 0


def row(name: str, figure: str, bound: str, good: bool) -> None:
    global failed
    failed += not good
    print(f"{name:<78} {figure:>14} {bound:>12}  {'pass' if good else 'FAIL'}", flush=True)


def note(name: str, figure: str) -> None:
    print(f"{name:<78} {figure:>14} {'':>12}  -", flush=True)


def photo(case: str, number: int, mark: int = 0) -> bytes:
    """A rendered photo; bytes behind its end make it another file with the same picture."""
    content = (rendered.PHOTOS / case / f"photo-{number}.jpg").read_bytes()
    return content + b"%06d" % mark if mark else content


def overlay_time(serving: Serving, case: str, job: str) -> float:
    """Seconds from the first byte sent to the contour and the picture received."""
    window = Window(serving, job)
    start = time.monotonic()
    ident = serving.browser.post(job + "/photos", content=photo(case, 1)).json()["photo"]["id"]
    with ThreadPoolExecutor(1) as beside:
        picture = beside.submit(httpx.get, f"{serving.url}{job}/photos/{ident}/picture", timeout=30)
        window.wait("photo", lambda data: data["state"] in ("done", "refused"))
        contour = serving.browser.get(f"{job}/photos/{ident}/contour")
        contour.raise_for_status()
        picture.result().raise_for_status()
    seconds = time.monotonic() - start
    window.close()
    return seconds


def uploads_to_overlays(serving: Serving) -> None:
    for case in (CASE, *OTHERS):
        times = []
        for again in range(3):
            job = serving.new_job(f"{case} {again}")
            by_name = {reading["what"]: reading for reading in rendered.readings_of(case)}
            thickness = by_name["thickness"]
            frame = "border-a4-dark" if "dark" in case else "border-a4"
            frame = "border-a3" if case.startswith("maple") else frame
            serving.change(
                job,
                (["part", "thickness"], None, f"{thickness['value']} {thickness['unit']}"),
                (["frame", "description"], "border-a4", frame),
            )
            times.append(overlay_time(serving, case, job))
        median = statistics.median(times)
        name = f"upload to overlay, 12 MP, {case}, median of {len(times)}"
        row(name, f"{median:.2f} s", f"< {OVERLAY_S:g} s", median < OVERLAY_S)


def plan_times(serving: Serving) -> None:
    job = serving.new_job("plans")
    by_name = {reading["what"]: reading for reading in rendered.readings_of(CASE)}
    thickness = by_name["thickness"]
    serving.change(
        job,
        (["part", "thickness"], None, f"{thickness['value']} {thickness['unit']}"),
        (["reading", 0], None, {"what": "length", "value": "417.5 mm", "tool": "tape"}),
    )
    for number, shows in ((1, "left end"), (2, "right end")):
        serving.browser.post(
            job + "/photos", params={"shows": shows}, content=photo(CASE, number)
        ).raise_for_status()
    start = time.monotonic()
    serving.wait(job, lambda found: found["outline"]["state"] == "ready")
    note("two photos to the outline of both", f"{time.monotonic() - start:.1f} s")

    start = time.monotonic()
    serving.change(job, (["part", "listed"], None, "418 x 118 mm"))
    serving.wait(
        job, lambda found: found["outline"]["state"] == "ready" and found["job"]["part"]["listed"]
    )
    note("a change that fits anew, without tracing", f"{time.monotonic() - start:.1f} s")

    was: dict[str, object] = {}
    for name, pocket in POCKETS.items():
        now = pocket
        keys = sorted({*was, *now})
        serving.change(
            job, *((["pocket", key], was.get(key), now.get(key)) for key in keys), plan=1
        )
        times, clearance = [], pocket["clearance"]
        for step in range(CHANGES):
            new = [f"{0.25 + 0.15 * i + 0.002 * (step + 1):.3f} mm" for i in range(len(clearance))]
            start = time.monotonic()
            answer = serving.change(job, (["pocket", "clearance"], clearance, new), plan=1)
            times.append(time.monotonic() - start)
            assert answer.json()["plan"]["state"] == "ready", answer.text[:300]
            clearance = new
        was = {**pocket, "clearance": clearance}
        median, slow = statistics.median(times), sorted(times)[int(0.95 * len(times))]
        row(
            f"change to drawing, {name}, median of {CHANGES}",
            f"{1000 * median:.0f} ms",
            f"< {1000 * PLAN_S:.0f} ms",
            median < PLAN_S,
        )
        note("    the slowest in twenty", f"{1000 * slow:.0f} ms")

    start = time.monotonic()
    serving.browser.post(job + "/finish")
    found = serving.wait(job, lambda found: found["files"]["state"] != "writing")
    note(f"writing {len(found['files']['list'])} files", f"{time.monotonic() - start:.1f} s")


def family(root: int) -> list[int]:
    """A process and all that descend from it."""
    parents = {}
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        parents[int(status.parent.name)] = int(fields[1])
    found = [root]
    for one in found:
        found += [child for child, parent in parents.items() if parent == one]
    return found


def memory_mb(root: int) -> float:
    """Memory of a process and its children, shared pages counted once (proportional set size)."""
    total = 0
    for one in family(root):
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text()
        except OSError:
            continue
        total += sum(int(x.split()[1]) for x in text.splitlines() if x.startswith("Pss:"))
    return total / 1024


def under_load(serving: Serving, count: int) -> None:
    job = serving.new_job("many at once")
    serving.change(job, (["part", "thickness"], None, "5.27 mm"))
    note("memory of the idle server and its workers", f"{memory_mb(serving.process.pid):.0f} MB")
    answers, peak, over = [], [0.0], threading.Event()

    def ask() -> None:
        with httpx.Client(base_url=serving.url, timeout=30) as browser:
            while not over.is_set():
                for path in ("/api/jobs", job, "/"):
                    start = time.monotonic()
                    browser.get(path).raise_for_status()
                    answers.append(time.monotonic() - start)
                time.sleep(0.1)

    def weigh() -> None:
        while not over.is_set():
            peak[0] = max(peak[0], memory_mb(serving.process.pid))
            time.sleep(0.2)

    def upload(mark: int) -> int:
        with httpx.Client(base_url=serving.url, headers={"Origin": serving.url}) as browser:
            answer = browser.post(job + "/photos", content=photo(CASE, 1, mark), timeout=120)
            return answer.status_code

    watchers = [threading.Thread(target=ask), threading.Thread(target=weigh)]
    for watcher in watchers:
        watcher.start()
    start = time.monotonic()
    with ThreadPoolExecutor(count) as windows:
        taken = list(windows.map(upload, range(1, count + 1)))
    uploaded = time.monotonic() - start
    found = serving.wait(
        job, lambda found: {p["state"] for p in found["photos"]} <= {"done", "refused"}, 600
    )
    traced = time.monotonic() - start
    over.set()
    for watcher in watchers:
        watcher.join()
    folder = serving.folder / job.rpartition("/")[2]
    on_disk = {(folder / p["file"]).read_bytes()[-6:] for p in found["photos"]}
    done = sum(p["state"] == "done" for p in found["photos"])
    lost = count - len(on_disk) if set(taken) == {201} else count
    row(f"{count} uploads of 12 MP at once: lost", f"{lost}", "= 0", lost == 0)
    row(f"{count} uploads: traced", f"{done}", f"= {count}", done == count)
    note("    all taken in after", f"{uploaded:.1f} s")
    note("    all traced after", f"{traced:.1f} s")
    slowest = max(answers)
    row(
        f"the page's answers meanwhile, slowest of {len(answers)}",
        f"{slowest:.2f} s",
        f"< {ANSWER_S:g} s",
        slowest < ANSWER_S,
    )
    row(
        "peak memory of the server and its workers",
        f"{peak[0]:.0f} MB",
        f"< {MEMORY_MB} MB",
        peak[0] < MEMORY_MB,
    )


def main(count: int) -> int:
    with tempfile.TemporaryDirectory() as folder:
        serving = Serving(Path(folder) / "jobs")
        try:
            serving.browser.get("/api/jobs").raise_for_status()
            time.sleep(5)  # the workers load what they need
            uploads_to_overlays(serving)
            plan_times(serving)
            under_load(serving, count)
        finally:
            serving.end()
    print(f"{failed} bounds missed" if failed else "all bounds held")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 50))
