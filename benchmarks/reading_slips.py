"""Slips of reading and typing in jobs of rendered photos: named, the right one first, not cut.

Each job's photos are traced once with its readings right; a slip of length or width then enters
the fit, one of the thickness the tracing as well. Whether another observation contradicts a slip
is computed from the right job: the outline fitted without that reading predicts it, over all
directions that a hand may have meant where no two sides are parallel, and a slip counts where it
lies beyond the joint U95 of prediction and tool. A thickness moves the width that the photos show,
which the width's reading or the other photos contradict; or the stated top edge is larger than it.

    python benchmarks/reading_slips.py [CASE ...] [--of WHAT] [--made SEED NUMBER ...]

Prints a line for each slip, then the table of bounds. Times are of the processor.
"""

import argparse
import sys
import time
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import rendered

from snugline.desk.job import Job, inspect_record
from snugline.desk.job_outline import Fitting, fit_job, job_state, sections_of
from snugline.desk.job_run import measure_job
from snugline.errors import SnuglineError
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.result import FittedOutline
from snugline.fit.section import moved_by_thickness
from snugline.lengths import MM_PER_INCH, parse_length
from snugline.trace.measure import Measured

CASES = (
    "basalt-panel-two-ends",
    "birch-tray-bent-sheet",
    "maple-board-round-ends",
    "steel-plate-same-phone",
    "white-plate-chamfered",
    "porcelain-dish-dark-window",
    "stone-slab-four-corners",
    "satin-tile-sharp-corners",
    "gloss-tray-plain-frame",
    "slate-palette-free-form",
    "walnut-shelf-two-sheets",
)
LIMIT_FIRST, LIMIT_TIME = 0.9, 2.0
# Radians about the length's direction in which a hand may have held tape or caliper along a part
# that has no parallel sides. Common practice, no source.
HAND = np.radians(12.0)
# U95 of a dimension, mm, beyond which nothing but the reading determines it.
DETERMINED = 10.0
TOLD = ("not to be cut", "refused")


@dataclass(frozen=True)
class Case:
    """One slip: the reading as typed, its tool, the kinds that should be told first."""

    what: str
    typed: str
    tool: str
    kinds: tuple[str, ...]


@dataclass(frozen=True)
class Predicted:
    """What all else says of a dimension: mm from the least to the most it may be, and U95."""

    low: float
    high: float
    u95: float

    def contradicts(self, value: float, tool_u95: float) -> bool:
        joint = float(np.hypot(self.u95, tool_u95))
        return value < self.low - joint or value > self.high + joint


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


def changed(record: dict[str, Any], slip: Case) -> dict[str, Any]:
    """The job with a slip in it."""
    record = {**record, "part": dict(record["part"])}
    if slip.what == "thickness":
        record["part"]["thickness"] = slip.typed
        return record
    kept = [reading for reading in record["reading"] if reading["what"] != slip.what]
    table = {"what": slip.what, "value": slip.typed, "tool": slip.tool}
    return {**record, "reading": [*kept, table]}


def job_of(record: dict[str, Any]) -> Job:
    job, faults = inspect_record(deepcopy(record), Path("/job.toml"))
    if job is None or faults:
        raise faults[0]
    return job


def tool_u95(what: str, value: float, tool: str) -> float:
    return 1.96 * uncertainty(Reading(what, (value,), tool)).u


class Right:
    """A job with its readings right: what it says of each dimension without that one's reading."""

    def __init__(self, record: dict[str, Any]) -> None:
        self.record, self.job = record, job_of(record)
        start = time.process_time()
        self.measured = measure_job(self.job)
        self.tracing = time.process_time() - start
        self.contours = [photo.contour for photo in self.measured.photos]
        self.fitted = self._fit().fitted
        start = time.process_time()
        self._fit()
        self.fitting = time.process_time() - start
        self.without = {what: self._without(what) for what in ("length", "width")}

    def _fit(self) -> Fitting:
        return fit_job(self.job, self.contours, self.measured.joined)

    def _without(self, what: str) -> FittedOutline | None:
        """The outline without a dimension's reading, where all else determines that dimension."""
        kept = [table for table in self.record["reading"] if table["what"] != what]
        try:
            job = job_of({**self.record, "reading": kept})
            fitted = fit_job(job, self.contours, self.measured.joined).fitted
        except SnuglineError:
            return None
        return fitted if getattr(fitted, what).u95 <= DETERMINED else None

    def predicted(self, what: str) -> Predicted:
        """A length or width from all but its own reading."""
        kept = [table for table in self.record["reading"] if table["what"] != what]
        fitted = self.without[what]
        if fitted is None:
            return self._at_least(what)
        size = getattr(fitted, what)
        if fitted.family != "free":
            return Predicted(size.value, size.value, size.u95)
        angles = np.linspace(-HAND, HAND, 481)
        corners = fitted.outline.inscribed(0.01)
        along, across = (
            np.ptp(corners @ np.stack([np.cos(angles + a), np.sin(angles + a)]), axis=0)
            for a in (0.0, np.pi / 2)
        )
        own, other = (along, across) if what == "length" else (across, along)
        # Of the directions those in which the other reading is met; one that alone says how far
        # apart the photos lie is met in any.
        met = np.ones(len(angles), bool)
        for table in kept:
            if table["what"] in ("length", "width") and self.without[table["what"]]:
                value = parse_length(table["value"])
                other_u95 = getattr(fitted, table["what"]).u95
                joint = np.hypot(tool_u95(table["what"], value, table["tool"]), other_u95)
                met &= np.abs(other - value) <= joint
        own = own[met] if met.any() else own
        return Predicted(float(own.min()), float(own.max()), size.u95)

    def _at_least(self, what: str) -> Predicted:
        """No less than what one photo shows of it, as it lies in the right outline."""
        axis = ("length", "width").index(what)
        least = max(float(np.ptp(s.points[s.kept][:, axis])) for s in self.fitted.sections)
        return Predicted(least, np.inf, min(getattr(self.fitted, what).u95, 1.0))

    def thickness(self) -> Predicted:
        """The thickness from the width: as read, and as the photos show it by their relief."""
        edge = max(
            (parse_length(self.record["part"][key]) for key in ("edge_radius", "edge_chamfer")
             if key in self.record["part"]), default=0.0,
        )  # fmt: skip
        shown, true = self.predicted("width"), self.job.thickness.value
        if np.isinf(shown.high):
            return Predicted(edge, np.inf, 0.0)
        table = next(table for table in self.record["reading"] if table["what"] == "width")
        read = parse_length(table["value"])
        by_mm = self._width_by_thickness(tuple(r for r in self.job.readings if r.what != "width"))
        # Thicker by so much, the photos show the reading in one of the directions.
        more = sorted((read - mm) / by_mm for mm in (shown.low, shown.high))
        u95 = np.hypot(shown.u95, tool_u95("width", read, table["tool"])) / abs(by_mm)
        return Predicted(max(true + more[0], edge + u95), true + more[1], float(u95))

    def _width_by_thickness(self, readings: tuple[Reading, ...]) -> float:
        """What a millimetre of thickness adds to the width that the photos show."""
        part, step = self.job.part, 0.5
        sections = sections_of(self.job, self.contours, self.measured.joined)
        thinner, thicker = (
            fit_outline(
                [moved_by_thickness(section, more) for section in sections],
                readings,
                part.family,
                part.symmetry,
                thickness=self.job.thickness.value,
            ).width.value
            for more in (-step, step)
        )
        return (thicker - thinner) / (2 * step)


def told_first(mend: str, slip: Case, predicted: Predicted) -> bool:
    """Whether the right slip is the first one asked.

    The second of two counts only where nothing contradicts the value that goes with the first.
    """
    asked, _, then = mend.partition("?")
    first, _, second = asked.lower().partition(", or ")
    right_first, right_second = (any(k.lower() in w for k in slip.kinds) for w in (first, second))
    if right_first or not right_second:
        return right_first
    value = float(then.split(" mm")[0].rsplit(" ", 1)[-1])
    return not predicted.contradicts(value, tool_u95(slip.what, value, slip.tool))


def jobs(arguments: argparse.Namespace) -> Iterator[tuple[str, dict[str, Any], dict[str, float]]]:
    """Name, job and true sizes of what was asked for; all shared cases where nothing was."""
    for name in arguments.cases or (() if arguments.made else CASES):
        yield name, tomllib.loads(rendered.job_text(name)), rendered.truth_of(name)["true_size"]
    if arguments.made:
        from slip_parts import made_job

        seed, *numbers = arguments.made
        for number in numbers:
            made = made_job(seed, number)
            yield made.name, made.record, made.truth


@dataclass(frozen=True)
class Row:
    against: bool
    named: bool
    first: bool
    verdict: str
    took: float


def tried(right: Right, slip: Case, predicted: Predicted) -> tuple[Row, str]:
    """What the program says to a slip."""
    against = predicted.contradicts(
        parse_length(slip.typed), tool_u95(slip.what, parse_length(slip.typed), slip.tool)
    )
    whole = right.fitting + (right.tracing if slip.what == "thickness" else 0.0)
    start = time.process_time()
    told: Any = None
    try:
        typed = job_of(changed(right.record, slip))
        seen: Measured = measure_job(typed) if slip.what == "thickness" else right.measured
        found = [photo.contour for photo in seen.photos]
        notices = fit_job(typed, found, seen.joined).fitted.notices
        state = job_state(typed, notices, found, seen.joined)
        told, verdict = state.notices[0] if state.notices else None, str(state.state)
    except SnuglineError as error:
        told, verdict = error, "refused"
    took = (time.process_time() - start) / whole
    text = "" if told is None else f"{getattr(told, 'text', told)} | {told.mend}"
    named = verdict in TOLD and slip.what in text
    first = named and told_first(str(told.mend), slip, predicted)
    return Row(against, named, first, verdict, took), text


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("cases", nargs="*")
    parser.add_argument("--of", choices=("length", "width", "thickness"), action="append")
    parser.add_argument("--made", nargs="+", type=int, metavar=("SEED", "NUMBER"))
    arguments = parser.parse_args()
    rows: list[Row] = []
    for name, record, truth in jobs(arguments):
        if not rows:
            measure_job(job_of(record))  # what is read from the disk but once is not timed
        right = Right(record)
        predicted = {
            **{what: right.predicted(what) for what in ("length", "width")},
            "thickness": right.thickness(),
        }
        shown = ", ".join(
            f"{of} {p.low:.2f} to {p.high:.2f} +- {p.u95:.2f}" for of, p in predicted.items()
        )
        print(f"{name}: without its own reading {shown} mm; "
              f"{right.tracing:.1f} s and {right.fitting:.2f} s", flush=True)  # fmt: skip
        for slip in slips_of(truth, record["part"]["thickness"]):
            if arguments.of and slip.what not in arguments.of:
                continue
            row, text = tried(right, slip, predicted[slip.what])
            rows.append(row)
            right_one = "first" if row.first else "named" if row.named else "MISSED"
            mark = right_one if row.against else f"({right_one})"
            print(f"  {slip.what:9} {slip.typed:>12} {mark:8} {row.verdict:13} {row.took:4.1f} x "
                  f"{text[:180]}", flush=True)  # fmt: skip
    return judged(rows)


def judged(rows: list[Row]) -> int:
    """Prints the table; slips that nothing contradicts count in the first row only."""
    against = [row for row in rows if row.against]
    named, first = sum(row.named for row in against), sum(row.first for row in against)
    cut = sum(row.verdict not in TOLD for row in against)
    slowest = max((row.took for row in against if row.named), default=0.0)
    table = [
        ("slips, of them contradicted", "60", f"{len(rows)}, {len(against)}", True),
        ("contradicted and named", "all", f"{named} of {len(against)}", named == len(against)),
        ("right slip first", "9 of 10", f"{first} of {len(against)}",
         first >= LIMIT_FIRST * len(against)),
        ("good, or a drawing", "none", str(cut), cut == 0),
        ("processor time to the right job's", f"{LIMIT_TIME:.0f} x", f"{slowest:.1f} x",
         slowest <= LIMIT_TIME),
    ]  # fmt: skip
    for what, bound, figure, held in table:
        print(f"{what:36} {bound:8} {figure:16} {'pass' if held else 'FAIL'}")
    return int(not all(row[3] for row in table))


if __name__ == "__main__":
    with threadpool_limits(1, "blas"):  # as a job is run; waiting threads would count as work
        raise SystemExit(main())
