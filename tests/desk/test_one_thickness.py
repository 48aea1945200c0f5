"""Two readings of the thickness are one figure wherever it is used or shown, to the last digit."""

from pathlib import Path

import made_contours
import numpy as np

from snugline.desk.job import inspect_record, read_toml
from snugline.desk.job_run import sides_of
from snugline.desk.pocketing import plan_of
from snugline.desk.report import ReportInput, report_html
from snugline.desk.wording import measure
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.lengths import format_length
from snugline.pocket.shop_sheet import _part_lines

SAMPLE = Path(__file__).parents[2] / "samples" / "basalt-plate-in-ash-board" / "job.toml"


def job_with(*tables):
    record = read_toml(SAMPLE)
    record["reading"] = record["reading"] + [
        {"what": "thickness", "values": list(values), "tool": tool} for values, tool in tables
    ]
    job, faults = inspect_record(record, SAMPLE)
    assert not faults
    return job


def everywhere(job):
    """The thickness as trace, fit, plan, report and shop sheet have it."""
    rng = np.random.default_rng(3)
    plate = rounded_rectangle(418, 118.5, 27.4)
    section = made_contours.section(plate, "whole", rng)
    fitted = fit_outline([section], job.readings, "rounded rectangle", thickness=job.part.thickness)
    plan = plan_of(job, fitted, job.choices)
    record = {
        "state": "good", "because": [], "outline": fitted.as_json(), "nominal": [], "budget": [],
        "photos": [], "warnings": [], "cut_plan": {"layers": []},
    }  # fmt: skip
    report = report_html(ReportInput("part", record, fitted.outline, [], {}, {}, "mm"))
    return sides_of(job), fitted, plan, report


def check(job):
    sides, fitted, plan, report = everywhere(job)
    thickness = job.thickness
    assert sides.thickness == fitted.thickness.value == plan.thickness.value == thickness.value
    assert sides.thickness_u == fitted.thickness.u == plan.thickness.u == thickness.u
    assert plan.depth.u95 == fitted.thickness.u95 == thickness.u95
    assert fitted.as_json()["thickness"]["u95"] == round(thickness.u95, 4)
    row = report.split("<td>thickness")[1].split("</tr>")[0]
    for value in (thickness.value, thickness.u95):
        assert f">{measure('thickness', value)}</td>" in row
    stated = f"thickness {format_length(thickness.value, 'mm')}"
    assert f"{stated} (U95 {format_length(thickness.u95, 'mm')})" in " ".join(_part_lines(plan))


def test_two_values_in_one_table():
    check(job_with((("9.40 mm", "9.60 mm"), "caliper")))


def test_two_tables_of_two_tools():
    check(job_with((("9.40 mm",), "caliper"), (("9.60 mm",), "0.1 mm")))


def test_a_plain_value():
    check(job_with())
