"""The record of `result.json`, and the few lines of it that the terminal shows."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from snugline.desk.job import Job
from snugline.desk.job_outline import Fitting
from snugline.desk.wording import measure, remark
from snugline.fit.result_state import ResultState
from snugline.notice import Notice
from snugline.pocket.plan import CutPlan
from snugline.trace.contour import Contour

SCHEMA = "snugline/result/2"

_NO_SIZES = {"no-outline", "outline-not-fitted"}


def has_sizes(state: ResultState) -> bool:
    """Whether sizes are worth showing: an outline that cannot be the part's has none."""
    return not _NO_SIZES & set(state.because)


def result_record(
    job: Job,
    contours: Sequence[Contour],
    fitting: Fitting | None,
    plan: CutPlan | None,
    state: ResultState,
    notices: Sequence[Notice],
) -> dict[str, Any]:
    """The record, without the list of files; `outline` is None where there is none to show."""
    shown = fitting if has_sizes(state) else None
    fitted = None if shown is None else shown.fitted
    extras = {} if fitted is None else {of: size.as_json() for of, size in fitted.extras.items()}
    return {
        "schema": SCHEMA,
        "units": "mm",
        "part": job.part.name,
        "state": state.state,
        "because": list(state.because),
        "outline": None if fitted is None else fitted.as_json() | {"extras": extras},
        "nominal": [] if shown is None else [entry.as_json() for entry in shown.nominal],
        "budget": [] if fitted is None else [budget.as_json() for budget in fitted.budgets],
        "photos": [
            {**contour.photo.as_json(), "file": str(table.file)}
            for contour, table in zip(contours, job.photo, strict=True)
        ],
        "cut_plan": plan.as_json() if plan is not None else {"layers": []},
        "warnings": [notice.as_json() for notice in notices],
    }


def summary(record: Mapping[str, Any], folder: Path) -> tuple[str, ...]:
    """A few lines for the terminal: the state, the dimensions, and where the files are."""
    head = f"{record['part']}: {record['state']}"
    if record["state"] == "not to be cut":
        first = next(w for w in record["warnings"] if w["code"] == record["because"][0])
        head = " ".join([f"{head}.", *remark(Notice.from_json(first))])
    return (head, *_sizes(record["outline"]), f"  files: {folder}")


def _sizes(outline: Mapping[str, Any] | None) -> list[str]:
    if outline is None:
        return []
    sizes = {what: outline[what] for what in ("length", "width")}
    corners: dict[tuple[str, float, float], list[str]] = {}
    for corner in outline["corners"]:
        for name, size in corner.items():
            if isinstance(size, dict):
                alike = corners.setdefault((name, size["value"], size["u95"]), [])
                alike.append(corner["at"])
    for (name, value, u95), places in corners.items():
        where = "all corners" if len(places) == len(outline["corners"]) else ", ".join(places)
        sizes[f"{where}, {name}"] = {"value": value, "u95": u95}
    return [f"  {outline['family']}"] + [
        f"  {what}: {measure(what, size['value'])}, U95 {measure(what, size['u95'])}"
        for what, size in sizes.items()
    ]
