"""The strip of steps: what is done, and in words what is missing."""

from typing import Any

from snugline.desk.page.http.lead_facts import recorded
from snugline.desk.page.jobs.job_states import Wanted
from snugline.desk.page.jobs.open_job import JobAtWork
from snugline.desk.page.jobs.page_answers import worst
from snugline.desk.page.jobs.remark_keys import is_of_pocket, key_of_error


def steps(work_of: JobAtWork, want: Wanted, shown: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The strip: what is done, and in words what is missing."""
    faults: dict[str, list[str]] = {}
    for fault in want.faults:
        key = key_of_error(fault, want.record)
        table = "pocket" if is_of_pocket(key) else str(([*key, ""])[0])
        faults.setdefault(table, []).append(fault.what)
    remarks = {remark.code: remark.text for remark in want.remarks}
    frames = want.record.get("frame", [])
    frames = [frames] if isinstance(frames, dict) else frames
    frames = frames if isinstance(frames, list) else []
    bars = [f for f in frames if isinstance(f, dict) and not {"bar_x", "bar_y"} <= set(f)]

    frame_missing = faults.get("frame", []) or ([] if frames else ["no frame is chosen"])
    unread = ["measure the two bars on your print"] if bars else []
    if not shown:  # nothing rests on them yet
        frame_missing, unread = frame_missing + unread, []
    steps = [_step("frame", frame_missing, unread)]

    states = {photo["state"] for photo in shown}
    missing = faults.get("photo", []) if shown else ["no photo yet"]
    verdict = worst(photo["verdict"] or "fine" for photo in shown)
    look = ["a photo could be better"] if verdict == "usable" else []
    look = ["a photo has to be taken again"] if verdict == "retake" else look
    steps.append(_step("photos", missing, look, bool(states & {"waiting", "tracing"})))

    read = faults.get("reading", []) + faults.get("part", [])
    wants = [str(remarks[code]) for code in ("no-length", "no-width") if code in remarks]
    if not read and _no_thickness(want.record):
        read = ["no thickness"]
    steps.append(_step("readings", read, wants))

    barred = work_of.barred()
    for name, stage in (("outline", work_of.outline), ("pocket", work_of.plan)):
        working = stage.state in ("waiting", "tracing", "fitting", "planning")
        if name == "pocket" and stage.state == "waiting" and work_of.outline.state == "missing":
            working = False
        error = stage.error["what"] if stage.error else "not there yet"
        missing = [error] if stage.state == "missing" else []
        look = [error] if stage.state == "refused" else []
        if name == "outline" and barred is not None:
            look = ["not to be cut"]
        elif name == "outline" and work_of.result().get("state") == "usable":
            look = ["usable, with a doubt"]
        steps.append(_step(name, missing, look, working))
    files = work_of.files
    state = files.get("state")
    unmade = ["not made yet"] if state in ("missing", None) else []
    steps.append(
        _step(
            "files",
            [barred["what"]] if barred is not None else unmade,
            ["made before the last change"] if files.get("stale") else [],
            state == "writing",
        )
    )
    steps.append(_step("fit", [] if recorded(want) else ["no fit recorded"], []))
    return steps


def _step(name: str, missing: list[str], look: list[str], working: bool = False) -> dict[str, Any]:
    if missing:
        return {"step": name, "state": "missing", "missing": missing}
    if working:
        return {"step": name, "state": "working", "missing": []}
    return {"step": name, "state": "look" if look else "done", "missing": look}


def _no_thickness(record: dict[str, Any]) -> bool:
    part, readings = record.get("part", {}), record.get("reading", [])
    stated = isinstance(part, dict) and "thickness" in part
    read = isinstance(readings, list) and any(
        isinstance(r, dict) and r.get("what") == "thickness" for r in readings
    )
    return not stated and not read
