"""What the next step depends on, gathered from an open job."""

from collections.abc import Mapping, Sequence
from typing import Any

from snugline.desk.page.jobs.job_states import Wanted
from snugline.desk.page.jobs.lead import WORKING, Cause, Facts, PhotoState, ShownPhoto
from snugline.desk.page.jobs.open_job import JobAtWork
from snugline.desk.page.jobs.page_answers import first_cause
from snugline.desk.page.jobs.remark_keys import is_of_pocket, key_of, key_of_error
from snugline.desk.page.jobs.sheet_offers import sheet_offer
from snugline.desk.wording import sentence
from snugline.place import about_from_json
from snugline.sentence import pair_from_json

_STEP_OF = {
    "frame": "frame",
    "photo": "photos",
    "reading": "readings",
    "part": "readings",
    "leave_out": "outline",
    "pocket": "pocket",
    "output": "files",
}
_PHOTO: dict[str, PhotoState] = {"fine": "good", "usable": "usable", "retake": "retake"}


def facts_of(work_of: JobAtWork, want: Wanted, shown: Sequence[Mapping[str, Any]]) -> Facts:
    """The facts of a job with these photos, as they are sent to the page."""
    frames = _tables(want.record, "frame")
    result = work_of.result()
    read = {r.get("what") for r in _tables(want.record, "reading")}
    part, pocket = want.record.get("part"), want.record.get("pocket")
    codes = {remark.code for remark in want.remarks}
    plan, files = work_of.plan, work_of.files
    looking = any(photo["sheets"] is None and photo["key"] is not None for photo in shown)
    return Facts(
        sheet=bool(frames),
        offer=sheet_offer(want.record.get("frame"), [photo["sheets"] for photo in shown]),
        bars=all({"bar_x", "bar_y"} <= set(frame) for frame in frames),
        own_frame=any(str(f.get("description", "")).endswith(".json") for f in frames),
        fault=_fault(want),
        photos=tuple(_photo(photo, looking) for photo in shown),
        ends_missing=tuple(
            remark.text.split()[-2]
            for remark in want.remarks
            if remark.code == "end-not-shown" and remark.severity == "usable"
        ),
        thickness="thickness" in read or (isinstance(part, dict) and "thickness" in part),
        length="no-length" not in codes,
        outline=work_of.outline.state,
        result=str(result.get("state", "")) if work_of.outline.state == "ready" else "",
        cause=_cause(work_of, want, result, shown),
        clearance=isinstance(pocket, dict) and bool(pocket.get("clearance")),
        plan=plan.state,
        pocket_cause=_of_error("pocket", plan.error) if plan.state == "refused" else None,
        blocked=plan.state == "ready" and work_of.blocked is not None,
        files=str(files.get("state") or "missing"),
        stale=bool(files.get("stale")),
        fit_recorded=recorded(want),
    )


def recorded(want: Wanted) -> bool:
    """Whether a cut of this part is on record."""
    from snugline.pocket.records import Records

    part = want.record.get("part", {})
    name = part.get("name") if isinstance(part, dict) else None
    return any(cut.part == name for cut in Records().cuts())


def _photo(photo: Mapping[str, Any], looking: bool) -> ShownPhoto:
    """A photo as the next step sees it.

    Parameters
    ----------
    looking : it is not known yet which sheets all the photos show, so that a photo may have been
        refused for a sheet that the job only has to name.
    """
    refused = photo["state"] == "refused" and photo["key"] is not None
    if photo["state"] in WORKING or (refused and looking):
        return ShownPhoto(photo["shows"], "working")
    grave = [n for n in photo["notices"] if n["severity"] == "retake"]
    cause = _of_error("photos", photo["error"])
    if cause is None and grave:
        cause = _of_remark("photos", grave[0])
    says = "" if cause is None else cause.whole
    return ShownPhoto(photo["shows"], _PHOTO[photo["verdict"] or "fine"], says)


def _fault(want: Wanted) -> Cause | None:
    """The first value that cannot be right; what is only missing leads by other rules."""
    for fault in want.faults:
        key = key_of_error(fault, want.record)
        if len(key) < 2 or key[0] == "photo" or fault.what == "no thickness is given":
            continue
        step = "pocket" if is_of_pocket(key) else _STEP_OF.get(str(key[0]), "outline")
        return Cause(step, sentence(fault.what), sentence(fault.mend))
    return None


def _cause(
    work_of: JobAtWork,
    want: Wanted,
    result: Mapping[str, Any],
    shown: Sequence[Mapping[str, Any]],
) -> Cause | None:
    if work_of.outline.error is not None:
        return _of_error("outline", work_of.outline.error)
    notice = first_cause(result, shown)
    if notice is None:
        return None
    about = about_from_json(notice["about"]) if "about" in notice else None
    key = key_of(about, want.record, notice["code"])
    step = _STEP_OF.get(str(key[0]), "outline") if key else "outline"
    return _of_remark(step, notice)


def _of_remark(step: str, notice: Mapping[str, Any]) -> Cause:
    return Cause(step, *map(sentence, pair_from_json(notice["text"], notice["mend"], notice)))


def _of_error(step: str, error: Mapping[str, Any] | None) -> Cause | None:
    if error is None:
        return None
    return Cause(step, *map(sentence, pair_from_json(error["what"], error["mend"], error)))


def _tables(record: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    tables = record.get(name, [])
    tables = [tables] if isinstance(tables, dict) else tables
    return [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
