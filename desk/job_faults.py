"""What is wrong with a job, each fault with its key and its remedy."""

import difflib
from pathlib import Path
from typing import Any

from pydantic import (
    BaseModel,
)

from snugline.desk.job_record import NOT_IN_FILE, Job, no_thickness, place
from snugline.desk.job_tables import (
    DrawnTable,
    FrameTable,
    LeaveOutTable,
    OutputTable,
    PartTable,
    PhotoTable,
    ReadingTable,
)
from snugline.errors import FileError, InputError, SnuglineError
from snugline.files import inside, is_file
from snugline.place import About, OfKey


def missing(job: Job, boxed: bool) -> list[SnuglineError]:
    """What a job names and does not have: a thickness, a camera, files, photos.

    Parameters
    ----------
    boxed : whether files outside the job's folder are refused.
    """
    faults = [*_of_part(job), *_of_camera(job), *_of_files(job, boxed), *_of_photos(job)]
    for i in range(len(job.frame)):
        if any(_is_below(fault.about, ("frame", i)) for fault in faults):
            continue
        try:
            job.frame_of(i)
        except SnuglineError as error:
            faults.append(error)
    return faults


def _of_part(job: Job) -> list[SnuglineError]:
    if job.part.thickness is None and all(r.what != "thickness" for r in job.reading):
        return [no_thickness(job.path)]
    try:
        job.choices  # noqa: B018 - read for its errors
    except InputError as error:
        return [error]
    edge = job.part.edge_radius or job.part.edge_chamfer or 0.0
    if edge <= job.thickness.value:
        return []
    from snugline.fit.adjustment.unlikely_thickness import traced_with

    if traced_with(job.thickness, edge) != job.thickness.value:
        return []  # a slip explains it: the photos tell which
    return [
        InputError(
            f"the top edge of {edge:g} mm is larger than the thickness, {job.thickness.value:g} mm",
            place(("part",), job.path),
            "correct edge_radius, edge_chamfer or the thickness",
        )
    ]


def _of_camera(job: Job) -> list[SnuglineError]:
    if job.camera is None:
        return []
    from snugline.trace.known_cameras import lens_finder

    try:
        lens_finder(job.camera)
    except SnuglineError as error:
        return [InputError(error.what, place(("camera",), job.path), error.mend)]
    return []


def _of_files(job: Job, boxed: bool) -> list[SnuglineError]:
    faults: list[SnuglineError] = []
    named = [(place(("photo", i, "file"), job.path), p.file) for i, p in enumerate(job.photo)]
    named += [
        (place(("frame", i, "description"), job.path), Path(f.description))
        for i, f in enumerate(job.frame)
        if f.description.lower().endswith(".json")
    ]
    named += [(place(key, job.path), Path(name)) for key, name in _board_files(job)]
    for where, name in named:
        if boxed and not inside(job.path.parent, name):
            what, mend = "lies outside the job's folder", "copy the file into the job's folder"
        elif not is_file(job.beside(name)):
            what = "is not there"
            mend = "put it next to the job, or correct the name; paths are relative to the job file"
        else:
            continue
        faults.append(FileError(f"the file {str(name)!r} {what}", where, mend))
    return faults


def _board_files(job: Job) -> tuple[tuple[tuple[str | int, ...], str], ...]:
    """The outlines that the pocket's board names, where the pocket can be understood."""
    try:
        shared = job.choices.shared if job.choices is not None else None
    except InputError:
        return ()
    return shared.files if shared is not None else ()


def _of_photos(job: Job) -> list[SnuglineError]:
    """Tables that name no photo of the job, and photos that are listed twice."""
    photos = {str(photo.file) for photo in job.photo}
    faults: list[SnuglineError] = [
        InputError(
            f"there is no photo {table.photo!r} in the job",
            place(("leave_out", i, "photo"), job.path),
            "write it as under [[photo]], or remove this table",
        )
        for i, table in enumerate(job.leave_out)
        if table.photo not in photos
    ]
    seen: dict[Path, int] = {}
    for i, photo in enumerate(job.photo):
        if seen.setdefault(photo.file, i) != i:
            faults.append(
                InputError(
                    f"the photo {str(photo.file)!r} is listed twice",
                    place(("photo", i, "file"), job.path),
                    "remove one entry, since it would be counted twice",
                )
            )
    return faults


def _is_below(about: About | None, path: tuple[int | str, ...]) -> bool:
    return isinstance(about, OfKey) and about.path[: len(path)] == path


def _keys_at(loc: tuple[int | str, ...]) -> list[str]:
    tables: dict[str, type[BaseModel]] = {
        "part": PartTable,
        "frame": FrameTable,
        "photo": PhotoTable,
        "reading": ReadingTable,
        "leave_out": LeaveOutTable,
        "output": OutputTable,
    }
    model = tables.get(str(loc[0]), Job) if len(loc) > 1 else Job
    if loc[:2] == ("part", "drawn") and len(loc) > 2:
        model = DrawnTable
    return [key for key in model.model_fields if key not in NOT_IN_FILE]


def unknown_key(loc: tuple[int | str, ...], path: Path) -> InputError:
    key, keys = str(loc[-1]), _keys_at(loc)
    near = difflib.get_close_matches(key, keys, n=1)
    mend = f"did you mean {near[0]!r}?" if near else f"the keys here are {', '.join(keys)}"
    return InputError(f"unknown key {key!r}", place(loc, path), mend)


def fault_of(entry: Any, path: Path) -> SnuglineError:
    """One pydantic error in Snugline's three parts."""
    loc, kind, value = entry["loc"], entry["type"], entry["input"]
    where = place(loc, path)
    cause = entry.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return InputError(cause.what, where, cause.mend)
    if kind == "extra_forbidden":
        return unknown_key(loc, path)
    if kind == "missing":
        mend = _EXAMPLES.get(str(loc[-1]), "add it")
        return InputError(f"the key {loc[-1]!r} is missing", place(loc[:-1], path), mend)
    if kind == "literal_error":
        words = entry["ctx"]["expected"]
        return InputError(f"{value!r} is not one of the allowed values", where, f"write {words}")
    if kind == "too_short":
        return InputError("there is none", where, _EXAMPLES.get(str(loc[-1]), "add one"))
    example = _EXAMPLES.get(str(loc[-1]), "compare with the job that `snugline new` writes")
    return InputError(f"{value!r} has the wrong form", where, example)


_EXAMPLES = {
    "part": 'add a table [part] with thickness = "9.5 mm"',
    "frame": 'add a table [frame] with description = "border-a4"',
    "photo": 'add [[photo]] with file = "left-end.jpg" and shows = "left end"',
    "reading": 'write [[reading]] with what = "length", value = "418 mm", tool = "tape"',
    "description": 'add description = "border-a4", or the path of a frame description',
    "file": 'add file = "left-end.jpg"',
    "shows": 'add shows = "left end" (or "right end", "front left corner", "whole", "section")',
    "leave_out": 'write [[leave_out]] with photo = "left.jpg", at = [...], within = "4 mm"',
    "at": 'add at = ["120 mm", "35 mm"], in the frame\'s coordinates',
    "within": 'add within = "4 mm"',
    "what": 'add what = "length" (or "width", "thickness", "corner radius")',
    "tool": 'add tool = "tape" (or "rule", "caliper", or its limit of error such as "0.2 mm")',
    "camera": 'write a text in quotes, such as camera = "shop phone", above the first table',
    "snap": "write true or false, without quotes",
    "name": 'write a text in quotes, such as name = "slate tray"',
    "values": 'write values = ["418 mm", "417.5 mm"]',
}
