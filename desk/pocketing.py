"""From a fitted outline and the job's `[pocket]` to the cut plan and its files."""

from typing import Any

from snugline.desk.board_files import board_outlines
from snugline.desk.job import Job
from snugline.errors import PlanError
from snugline.fit.part_uncertainty import part_uncertainty
from snugline.fit.result import FittedOutline
from snugline.pocket.choices import PocketChoices
from snugline.pocket.clearance_range import clearance_range
from snugline.pocket.opening import given_of, seasons_of
from snugline.pocket.plan import CutPlan, make_plan
from snugline.pocket.records import Records
from snugline.pocket.suggestion import suggest
from snugline.pocket.width_error import WidthError, estimate


def range_of(
    job: Job, fitted: FittedOutline, choices: PocketChoices, number: int, step: float
) -> dict[str, Any]:
    """How likely the part goes in about the job's clearance of that number, from tight to loose.

    Raises
    ------
    PlanError : no clearance of that number.
    """
    if not 0 <= number < len(choices.clearance):
        raise PlanError("no pocket has this clearance", f"clearance {number + 1}", "choose another")
    known, part = _width_error(choices), part_uncertainty(fitted, job.readings)
    given = given_of(fitted.outline, part, job.thickness, choices, known)
    chosen = choices.clearance[number]
    sides = {direction: part.per_side(direction) for direction in ("length", "width")}
    offered = suggest(choices.kind, sides, known, seasons_of(given, chosen))
    rungs = clearance_range(given, chosen, offered.high, step)
    return {
        "suggested": [offered.low, offered.high],
        "rungs": [rung.as_json() for rung in rungs],
    }


def plan_of(job: Job, fitted: FittedOutline, choices: PocketChoices) -> CutPlan:
    """The cut plan of a job's part.

    Raises
    ------
    PlanError : a plan that cannot be cut.
    """
    return make_plan(
        fitted.outline,
        part_uncertainty(fitted, job.readings),
        job.thickness,
        choices,
        part=job.part.name,
        unit=job.output.units,
        width_error=_width_error(choices),
        readings_in=job.reading_units,
        outlines=board_outlines(job, choices),
    )


def reading_lines(job: Job) -> tuple[str, ...]:
    """The hand readings, a line each, as they were written down."""
    return tuple(
        f"{reading.what}: {', '.join(written)} by {reading.tool}"
        for reading, written in zip(job.readings, job.readings_written, strict=True)
    )


def _width_error(choices: PocketChoices) -> WidthError | None:
    """What the shop's own records say of the machine that the job names."""
    if not choices.machine:
        return None
    diameter = choices.cutter.diameter if choices.cutter is not None else 0.0
    return estimate(Records().cuts(), choices.machine, choices.wood, diameter)
