"""Jobs that do not state top edge and lean: the width, its U95, the caliper kept, the question.

    python benchmarks/unstated_edges.py [CASE ...]

Each case's photos are measured and fitted twice, with edge and lean stated as they are and
unstated.
"""

import sys
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import rendered

from snugline.desk.job import inspect_record
from snugline.desk.job_outline import fit_job
from snugline.desk.job_run import sides_of
from snugline.trace.measure import measure_with_each

CASES = (
    "basalt-panel-two-ends",
    "birch-tray-bent-sheet",
    "porcelain-dish-dark-window",
    "gloss-tray-plain-frame",
    "steel-plate-same-phone",
    "white-plate-chamfered",
    "maple-board-round-ends",
)
KEYS = ("edge_radius", "edge_chamfer", "draft")
LARGEST_RATIO = 3.0


def job_of(record):
    job, faults = inspect_record(record, Path("/job.toml"))
    if faults:
        raise faults[0]
    return job


def fitted(*jobs):
    """The outline of each of several jobs that differ in the part's sides only."""
    files = [jobs[0].beside(photo.file) for photo in jobs[0].photo]
    each = measure_with_each(files, jobs[0].frames(), [sides_of(job) for job in jobs])
    return [
        fit_job(job, [photo.contour for photo in measured.photos], measured.joined).fitted
        for job, measured in zip(jobs, each, strict=True)
    ]


def main() -> int:
    failed = 0
    for name in sys.argv[1:] or CASES:
        record = tomllib.loads(rendered.job_text(name))
        part = {key: value for key, value in record["part"].items() if key not in KEYS}
        stated, asked = fitted(job_of(record), job_of({**record, "part": part}))
        off = asked.width.value - rendered.truth_of(name)["true_size"]["width"]
        ratio = asked.width.u95 / stated.width.u95
        codes = [notice.code for notice in asked.notices]
        held = {
            "in U95": abs(off) <= asked.width.u95,
            "U95 ratio": ratio <= LARGEST_RATIO,
            "caliper kept": "reading-contradicted" not in codes,
            "asked": "edge-not-stated" in codes,
        }
        failed += not all(held.values())
        others = [code for code in codes if code not in ("one-reading", "edge-not-stated")]
        print(
            f"{name:28} width {off:+.3f} mm, U95 {asked.width.u95:.3f} ({ratio:.2f} x stated), "
            f"{', '.join(f'{what} {ok}' for what, ok in held.items())}; {others}",
            flush=True,
        )
    print("pass" if not failed else f"FAIL: {failed}")
    return int(failed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
