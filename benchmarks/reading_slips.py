"""Slips of reading and typing in jobs of rendered photos: named, the right one first, not cut.

Each case's photos are traced once with its readings right; a slip of length or width then enters
the fit, one of the thickness the tracing as well. A slip counts as contradicted where the photos
show the dimension, and it moves it by more than their U95 and the tool's together.

    python benchmarks/reading_slips.py [CASE ...] [--thickness | --only-thickness]

Prints a line for each slip, then the table of bounds.
"""

import sys
import time
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import rendered

from snugline.desk.job import inspect_record
from snugline.desk.job_outline import fit_job, job_state
from snugline.desk.job_run import measure_job
from snugline.errors import SnuglineError
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.lengths import MM_PER_INCH, parse_length

CASES = (
    "basalt-panel-two-ends",
    "birch-tray-bent-sheet",
    "maple-board-round-ends",
    "steel-plate-same-phone",
    "white-plate-chamfered",
    "porcelain-dish-dark-window",
    "stone-slab-four-corners",
    "satin-tile-sharp-corners",
)
LIMIT_FIRST, LIMIT_TIME = 0.9, 2.0
U95_OF_PHOTOS = 0.5  # mm, of a width that photos show between both its sides


@dataclass(frozen=True)
class Case:
    """One slip: the reading as typed, its tool, the kind that should be told first."""

    what: str
    typed: str
    tool: str
    kinds: tuple[str, ...]


def slips_of(truth: dict[str, float], thickness: str) -> Iterator[Case]:
    """The kinds of slips, applied to a case's readings."""
    length, width = truth["length"], truth["width"]
    inches = length / MM_PER_INCH
    yield Case("width", f"{width / 10:.2f} mm", "caliper", ("ten times",))
    yield Case("width", f"{width * 10:.1f} mm", "caliper", ("ten times",))
    yield Case("width", f"{width:.2f} in", "caliper", ("in inches, read in millimetres",))
    yield Case("width", f"{width / MM_PER_INCH:.2f} mm", "caliper", ("read in inches",))
    yield Case("width", f"{length:.0f} mm", "tape", ("the length", "changed places"))
    yield Case("length", f"{width:.0f} mm", "tape", ("the width", "changed places"))
    yield Case("length", f"{inches:.2f} mm", "tape", ("read in inches",))
    yield Case("length", f"{length / 10:.1f} mm", "tape", ("ten times",))
    yield Case("width", f"{width + MM_PER_INCH:.1f} mm", "tape", ("1 in mark",))
    yield Case("width", f"{width + 10:.0f} mm", "tape", ("10 mm mark",))
    yield Case("width", f"{width + 3:.1f} mm", "tape", ("hook",))
    sixteenths = round((width / MM_PER_INCH % 1) * 16)
    if 0 < sixteenths < 10:
        tenths = f"{int(width / MM_PER_INCH)}.{sixteenths} in"
        yield Case("width", tenths, "rule", ("tenths",))
    thick = parse_length(thickness)
    yield Case("thickness", f"{10 * thick:.1f} mm", "caliper", ("ten times",))
    yield Case("thickness", f"{thick / 10:.3f} mm", "caliper", ("ten times",))
    yield Case("thickness", f"{thick / MM_PER_INCH:.3f} mm", "caliper", ("read in inches",))
    yield Case("thickness", f"{thick:.2f} in", "caliper", ("in inches, read in millimetres",))


def changed(record: dict, slip: Case) -> dict:
    record = {**record, "part": dict(record["part"])}
    if slip.what == "thickness":
        record["part"]["thickness"] = slip.typed
        return record
    kept = [reading for reading in record["reading"] if reading["what"] != slip.what]
    table = {"what": slip.what, "value": slip.typed, "tool": slip.tool}
    return {**record, "reading": [*kept, table]}


def job_of(record: dict):
    job, faults = inspect_record(record, Path("/job.toml"))
    if faults:
        raise faults[0]
    return job


def contradicted(slip: Case, truth: dict[str, float], spans: bool, least: float) -> bool:
    """Whether another observation contradicts the slip beyond their joint U95."""
    typed = parse_length(slip.typed)
    if slip.what == "thickness":
        return spans
    own = 1.96 * uncertainty(Reading(slip.what, (typed,), slip.tool)).u
    if slip.what == "width" and spans:
        return abs(typed - truth["width"]) > (own**2 + U95_OF_PHOTOS**2) ** 0.5
    return typed < least


def main() -> int:
    asked = [name for name in sys.argv[1:] if not name.startswith("--")] or CASES
    rows, slowest = [], 0.0
    for name in asked:
        record = tomllib.loads(rendered.job_text(name))
        truth = rendered.truth_of(name)["true_size"]
        start = time.perf_counter()
        measured = measure_job(job_of(record))
        tracing = time.perf_counter() - start
        contours = [photo.contour for photo in measured.photos]
        start = time.perf_counter()
        fit_job(job_of(record), contours, measured.joined)
        right = time.perf_counter() - start
        ends = {photo["shows"] for photo in record["photo"]}
        spans = bool(ends & {"left end", "right end"})
        least = max(min(c.outer.points.max(0) - c.outer.points.min(0)) for c in contours)
        for slip in slips_of(truth, record["part"]["thickness"]):
            if slip.what == "thickness" and not {"--thickness", "--only-thickness"} & {*sys.argv}:
                continue
            if slip.what != "thickness" and "--only-thickness" in sys.argv:
                continue
            whole = right + (tracing if slip.what == "thickness" else 0.0)
            start = time.perf_counter()
            try:
                typed = job_of(changed(record, slip))
                seen = measure_job(typed) if slip.what == "thickness" else measured
                found = [photo.contour for photo in seen.photos]
                fitted = fit_job(typed, found, seen.joined).fitted
                state = job_state(typed, fitted.notices, found, seen.joined)
                told = state.notices[0] if state.notices else None
                verdict = state.state
            except SnuglineError as error:
                told, verdict = error, "refused"
            took = (time.perf_counter() - start) / whole
            text = "" if told is None else f"{getattr(told, 'text', told)} {told.mend}"
            named = verdict in ("not to be cut", "refused") and slip.what in text
            first = named and any(kind.lower() in text.lower() for kind in slip.kinds)
            against = contradicted(slip, truth, spans, least)
            rows.append((against, named, first, verdict))
            slowest = max(slowest, took if named else 0.0)
            mark = "-" if not against else "first" if first else "named" if named else "MISSED"
            print(f"{name:28} {slip.what:9} {slip.typed:>12} {mark:6} {verdict:13} {took:4.1f} x "
                  f"{text[:110]}", flush=True)  # fmt: skip
    against = [row for row in rows if row[0]]
    named = sum(row[1] for row in against)
    first = sum(row[2] for row in against)
    cut = sum(row[3] in ("good", "usable") for row in against)
    table = [
        ("slips, of them contradicted", "60", f"{len(rows)}, {len(against)}", True),
        ("contradicted and named", "all", f"{named} of {len(against)}", named == len(against)),
        ("right slip first", "9 of 10", f"{first} of {len(against)}",
         first >= LIMIT_FIRST * len(against)),
        ("good, or a drawing", "none", str(cut), cut == 0),
        ("time of the fit to the right job's", f"{LIMIT_TIME:.0f} x", f"{slowest:.1f} x",
         slowest <= LIMIT_TIME),
    ]  # fmt: skip
    for what, bound, figure, held in table:
        print(f"{what:36} {bound:8} {figure:16} {'pass' if held else 'FAIL'}")
    return int(not all(row[3] for row in table))


if __name__ == "__main__":
    raise SystemExit(main())
