"""From a fitted outline and the job's `[pocket]` to the cut plan and its files."""

import math
from collections.abc import Sequence

from snugline.desk.job import Job
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.result import FittedOutline
from snugline.pocket.choices import PocketChoices
from snugline.pocket.clearance import PartUncertainty, SizeRead
from snugline.pocket.depth import Thickness
from snugline.pocket.plan import CutPlan, make_plan
from snugline.pocket.records import Records
from snugline.pocket.width_error import WidthError, estimate

COVERAGE = 1.96  # standard to expanded uncertainty, 95 %, many degrees of freedom


def plan_of(job: Job, fitted: FittedOutline, choices: PocketChoices) -> CutPlan:
    """The cut plan of a job's part.

    Raises
    ------
    PlanError : a plan that cannot be cut.
    """
    return make_plan(
        fitted.outline,
        part_uncertainty(fitted, job.readings),
        _thickness(job),
        choices,
        part=job.part.name,
        unit=job.output.units,
        width_error=_width_error(choices),
        readings_in=job.reading_units,
    )


def part_uncertainty(fitted: FittedOutline, readings: Sequence[Reading] = ()) -> PartUncertainty:
    """What the fit knows of the outline, as the clearance needs it.

    Anywhere along the edge the part may be off by what its width is off on one side, and by what
    the outline leaves of the measured points: form that no line or arc describes.
    """
    radii = [corner.params["radius"].u95 for corner in fitted.corners if "radius" in corner.params]
    return PartUncertainty(
        edge=math.hypot(fitted.width.u95 / 2, COVERAGE * fitted.residual_rms),
        length=fitted.length.u95,
        width=fitted.width.u95,
        corner_radius=max(radii, default=0.0),
        gains={budget.of: budget.gains for budget in fitted.budgets},
        read=_sizes_read(readings),
    )


def _sizes_read(readings: Sequence[Reading]) -> dict[str, tuple[SizeRead, ...]]:
    """What the hand readings say of length and width."""
    found: dict[str, tuple[SizeRead, ...]] = {}
    for reading in readings:
        if reading.what in ("length", "width"):
            size = SizeRead(reading.value, uncertainty(reading).u, str(reading.tool))
            found[reading.what] = (*found.get(reading.what, ()), size)
    return found


def reading_lines(job: Job) -> tuple[str, ...]:
    """The hand readings, a line each, as they were written down."""
    return tuple(
        f"{reading.what}: {', '.join(written)} by {reading.tool}"
        for reading, written in zip(job.readings, job.readings_written, strict=True)
    )


def _thickness(job: Job) -> Thickness:
    value, u = job.thickness
    read = [v for r in job.readings if r.what == "thickness" for v in r.values_mm] or [value]
    return Thickness(value, COVERAGE * u, max(read) - min(read), len(read))


def _width_error(choices: PocketChoices) -> WidthError | None:
    """What the shop's own records say of the machine that the job names."""
    if not choices.machine:
        return None
    diameter = choices.cutter.diameter if choices.cutter is not None else 0.0
    return estimate(Records().cuts(), choices.machine, choices.wood, diameter)
