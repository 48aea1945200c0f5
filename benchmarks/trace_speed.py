"""Time and memory of tracing one photo, as ratios to what OpenCV needs to read it.

Run as `OPENBLAS_NUM_THREADS=1 python benchmarks/trace_speed.py [--profile]`. All within one
process, in turn, the best of a few runs: a photo of 12 megapixels, a dark part and a pale one. Once
by the clock on the wall with two threads, which is what a user waits, and once by the processor
time of one thread, which other work on the machine changes little. Then 2,000 rows through the
network. Peak memory is that of a process that does nothing else, for 12 megapixels and for the same
photo enlarged to 50.
"""

import argparse
import cProfile
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import cv2
import numpy as np
from photo_truth import PHOTOS, Case

from snugline.trace.edge.learned_edge import CHANNELS, PLACES, through_network
from snugline.trace.measure import measure_photos

PHOTOS_12_MP = (("dark part", "basalt-panel-two-ends"), ("pale part", "maple-board-round-ends"))
FULL_RATIO, REDUCED_RATIO = 3.0, 4.0
ROWS, ROWS_SECONDS = 2000, 0.15
MB_12, MB_50 = 600, 1500
RUNS = 7
CLOCKS = (
    ("by the clock, two threads", 2, time.perf_counter),
    ("processor time, one thread", 1, time.process_time),
)


def best(clock: Callable[[], float], *works: Callable[[], object]) -> list[float]:
    """Seconds of the fastest run of each, done in turn, after one to warm up."""
    seconds = []
    for run in range(RUNS + 1):
        for work in works:
            start = clock()
            work()
            if run:
                seconds.append(clock() - start)
    return [min(seconds[k :: len(works)]) for k in range(len(works))]


def opencv(path: Path, reduced: bool) -> None:
    """Decode the file and detect its markers once, at full or at half size."""
    grey = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2GRAY)
    if reduced:
        grey = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    cv2.aruco.ArucoDetector(book).detectMarkers(grey)


def trace(path: Path, case: Case) -> None:
    """What `snugline trace` does between reading its options and writing its files."""
    measure_photos([path], case.frames(), case.sides())


def peak_mb(name: str, path: Path) -> float:
    """Peak memory of a fresh process that traces one photo."""
    command = [sys.executable, __file__, "--peak-of", name, str(path)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def own_peak_mb() -> float:
    """Peak memory of this process; what the system counts as its largest includes its parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(s for s in status.read_text().splitlines() if s.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def enlarged(path: Path, folder: Path) -> Path:
    """The photo with 50 megapixels, its EXIF lost: a scene of the same extent, twice as fine."""
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    factor = (50e6 / (picture.shape[0] * picture.shape[1])) ** 0.5
    larger = cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)
    out = folder / "fifty.jpg"
    assert cv2.imwrite(str(out), larger, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return out


def profile(path: Path, case: Case) -> None:
    """Where the time goes, function by function."""
    watch = cProfile.Profile()
    watch.runcall(trace, path, case)
    stats = pstats.Stats(watch)
    for order in ("cumulative", "tottime"):
        stats.sort_stats(order).print_stats("trace/|cv2|scipy|numpy", 28)


def main() -> int:
    """Print the table; the exit status says whether all bounds hold."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--profile", action="store_true", help="also say where the time goes")
    parser.add_argument("--peak-of", nargs=2, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.peak_of:
        name, path = options.peak_of
        trace(Path(path), Case(PHOTOS / name))
        print(own_peak_mb())
        return 0
    held = []
    print("12 megapixels, seconds: trace, OpenCV at full and at half size; ratios and their bounds")
    for clock_words, threads, clock in CLOCKS:
        cv2.setNumThreads(threads)
        print(clock_words)
        for words, name in PHOTOS_12_MP:
            case = Case(PHOTOS / name)
            path = case.photos[0]
            ours, full, half = best(
                clock,
                lambda path=path, case=case: trace(path, case),
                lambda path=path: opencv(path, reduced=False),
                lambda path=path: opencv(path, reduced=True),
            )
            for what, theirs, bound in (("full", full, FULL_RATIO), ("half", half, REDUCED_RATIO)):
                held.append(ours / theirs <= bound)
                print(
                    f"  {words}: {ours:.2f} to {theirs:.3f} ({what} size) = {ours / theirs:5.2f} "
                    f"(bound {bound:g}) {'pass' if held[-1] else 'FAIL'}"
                )
        rows = np.zeros((1, CHANNELS, ROWS, PLACES), np.float32)
        (seconds,) = best(clock, lambda rows=rows: through_network(rows))
        held.append(seconds <= ROWS_SECONDS)
        print(
            f"  {ROWS} rows through the network: {seconds:.3f} s (bound {ROWS_SECONDS}) "
            f"{'pass' if held[-1] else 'FAIL'}"
        )
    print("\npeak memory, MB")
    name = PHOTOS_12_MP[0][1]
    path = Case(PHOTOS / name).photos[0]
    with tempfile.TemporaryDirectory() as folder:
        for words, photo, bound in (
            ("12 megapixels", path, MB_12),
            ("50 megapixels", enlarged(path, Path(folder)), MB_50),
        ):
            peak = peak_mb(name, photo)
            held.append(peak <= bound)
            print(f"{words}: {peak:.0f} (bound {bound}) {'pass' if held[-1] else 'FAIL'}")
    if options.profile:
        for words, case_name in PHOTOS_12_MP:
            print(f"\n{words}")
            case = Case(PHOTOS / case_name)
            profile(case.photos[0], case)
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
