"""From a fitted outline and the job's `[pocket]` to the cut plan and its files."""

import math

from snugline.desk.job import Job
from snugline.fit.result import FittedOutline
from snugline.pocket.choices import PocketChoices
from snugline.pocket.clearance import PartUncertainty
from snugline.pocket.depth import Thickness
from snugline.pocket.overcut import Overcut, estimate
from snugline.pocket.plan import CutPlan, make_plan
from snugline.pocket.records import Records

COVERAGE = 1.96  # standard to expanded uncertainty, 95 %, many degrees of freedom


def plan_of(job: Job, fitted: FittedOutline, choices: PocketChoices) -> CutPlan:
    """The cut plan of a job's part.

    Raises
    ------
    PlanError : a plan that cannot be cut.
    """
    return make_plan(
        fitted.outline,
        part_uncertainty(fitted),
        _thickness(job),
        choices,
        part=job.part.name,
        unit=job.output.units,
        overcut=_overcut(choices),
        readings_in=job.reading_units,
    )


def part_uncertainty(fitted: FittedOutline) -> PartUncertainty:
    """The fit's uncertainty of the outline, as the clearance needs it.

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
    )


def reading_lines(job: Job) -> tuple[str, ...]:
    """The hand readings, a line each, for the shop sheet."""
    return tuple(
        f"{reading.what}: {', '.join(f'{value:.2f} mm' for value in reading.values_mm)} "
        f"by {reading.tool}"
        for reading in job.readings
    )


def _thickness(job: Job) -> Thickness:
    value, u = job.thickness
    read = [v for r in job.readings if r.what == "thickness" for v in r.values_mm] or [value]
    return Thickness(value, COVERAGE * u, max(read) - min(read), len(read))


def _overcut(choices: PocketChoices) -> Overcut | None:
    """What the shop's own records say of the machine that the job names."""
    if not choices.machine:
        return None
    diameter = choices.cutter.diameter if choices.cutter is not None else 0.0
    return estimate(Records().cuts(), choices.machine, choices.wood, diameter)
