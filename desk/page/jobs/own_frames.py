"""A frame of the shop's own: its description into the job's folder, and the job on it."""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from snugline.desk.page.jobs.job_file_edit import change_locked, job_bytes, lock_of
from snugline.desk.page.jobs.key_changes import Change
from snugline.errors import InputError
from snugline.files import inside, write_json
from snugline.limits import FRAME_BYTES
from snugline.trace.sheet.frame_description import PlainFrame, frame_from_record, read_frame
from snugline.untrusted import parsed_toml


def lay(
    job: Path,
    number: int,
    description: Mapping[str, Any],
    bars: Mapping[str, str] = MappingProxyType({}),
) -> str:
    """Put a new description under one of the job's sheets; gives its file, named by its content.

    Its bars go, since they were those of another print.

    Parameters
    ----------
    number : of the sheet in the job, from 0.
    bars : the new ones as read, by axis; of a plain frame, its opening.

    Raises
    ------
    InputError : no such sheet, or a description that cannot be used.
    """
    text = json.dumps(description, sort_keys=True)
    if len(text) > FRAME_BYTES:
        raise InputError("the description is too large", "frame", "choose another file")
    frame_from_record(dict(description), "frame description")
    name = f"frame-{hashlib.sha256(text.encode()).hexdigest()[:12]}.json"
    with lock_of(job):
        frames = parsed_toml(job_bytes(job), str(job)).get("frame")
        table = {"description": name} | {f"bar_{axis}": bars[axis] for axis in "xy" if axis in bars}
        if isinstance(frames, list):
            if not 0 <= number < len(frames):
                raise InputError("there is no such sheet in the job", "frame", "open it again")
            now: Any = [table if i == number else one for i, one in enumerate(frames)]
        else:
            now = table
        write_json(job.parent / name, dict(description))
        change_locked(job, [Change(("frame",), frames, now)])
    return name


def seen(job: Path, number: int) -> dict[str, Any]:
    """One of the job's own frames, as the page draws it and asks for its measures.

    Raises
    ------
    LookupError : that sheet of the job is none of its own.
    SnuglineError : its description cannot be read.
    """
    frames = parsed_toml(job_bytes(job), str(job)).get("frame")
    tables = frames if isinstance(frames, list) else [frames]
    table = tables[number] if number < len(tables) else None
    name = str(table.get("description", "")) if isinstance(table, dict) else ""
    if not name.lower().endswith(".json") or not inside(job.parent, name):
        raise LookupError(name)
    frame = read_frame(job.parent / name)
    if isinstance(frame, PlainFrame):
        bars = dict(zip("xy", frame.opening.tolist(), strict=True))
        return {"name": frame.name, "kind": "plain", "border": frame.border, "bars": bars}
    return {
        "name": frame.name,
        "kind": "markers",
        "sheet": frame.sheet.tolist(),
        "window": frame.window.tolist(),
        "bars": {axis: bar.nominal for axis, bar in frame.bars.items()},
    }
