"""The job file: what part, on which frame, which photos, which readings, which pocket.

TOML in, frozen values in millimetres and radians out. A fault names the file, the key and the
remedy in one line. Paths in a job are relative to the job file.
"""

import difflib
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from snugline.errors import FileError, InputError, SnuglineError
from snugline.files import inside, is_file, why
from snugline.fit.readings.nominal_size import parse_listed
from snugline.fit.readings.reading import Reading, What, tool_of
from snugline.fit.readings.thickness import Thickness, thickness_of
from snugline.fit.shapes.family_words import OutlineFamily
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.lengths import parse_angle, parse_length
from snugline.limits import (
    FILE_NAME,
    FRAMES,
    JOB_BYTES,
    LEAVE_OUT,
    LONGEST,
    NAME,
    PHOTOS,
    READING_VALUES,
    READINGS,
    SHORTEST,
)
from snugline.place import About, OfKey, OfReading
from snugline.pocket.choices import PocketChoices
from snugline.pocket.choices_record import from_record, units_in
from snugline.trace.sheet.frame_description import AnyFrame, read_frame, with_print_scale
from snugline.untrusted import parsed_toml

Shows = Literal[
    "left end",
    "right end",
    "front left corner",
    "front right corner",
    "back right corner",
    "back left corner",
    "whole",
    "section",
]
Unit = Literal["mm", "in"]


def _positive_length(value: Any) -> float:
    mm = parse_length(value)
    if not mm >= SHORTEST:
        raise InputError(f"{value!r} is not above zero", "", "write a length above zero")
    if not mm <= LONGEST:
        raise InputError(f"{value!r} is too long", "", f"write {LONGEST / 1000:g} m at most")
    return mm


def _name(value: Any) -> Any:
    """A name, which is used in titles and file names."""
    if isinstance(value, str) and not (0 < len(value) <= NAME and value.isprintable()):
        what = f"the name has {len(value)} letters, or some that do not print"
        raise InputError(what, "", f"write 1 to {NAME} letters in one line")
    return value


def _length_or_zero(value: Any) -> float:
    mm = parse_length(value)
    if mm < 0:
        raise InputError(f"{value!r} is below zero", "", 'write a length, "0 mm" for a sharp edge')
    return mm


def _draft(value: Any) -> float:
    angle = parse_angle(value)
    if not 0 <= angle < 0.8:
        raise InputError(f"{value!r} is not a draft angle", "", "write an angle from 0 to 45 deg")
    return angle


def _listed(value: Any) -> str:
    """A seller's size; the text stays, since its system of units is a clue to the drawing."""
    text = value if isinstance(value, str) else repr(value)
    if len(parse_listed(text)) != 2:
        raise InputError(
            f"{value!r} is not a size of two lengths",
            "",
            'write it as the seller does, such as "420 x 150 mm" or "4 in x 12 in"',
        )
    return text


def _tool(value: Any) -> str:
    """A tool as `snugline.fit.readings.reading` understands it, or its limit of error."""
    text = value if isinstance(value, str) else repr(value)
    tool_of(Reading("length", (1.0,), text))
    return text


def _one_or_many(value: Any) -> Any:
    """A single table or text where several are allowed."""
    if isinstance(value, dict | str):
        return (value,)
    return tuple(value) if isinstance(value, list) else value


def _up_to(most: int) -> BeforeValidator:
    """One or several, but not too many for the computer."""

    def read(value: Any) -> Any:
        several = _one_or_many(value)
        if isinstance(several, tuple) and len(several) > most:
            raise InputError(f"there are {len(several)} of them", "", f"give {most} at most")
        return several

    return BeforeValidator(read)


def _place_on_frame(value: Any) -> Any:
    """A position in the frame's coordinates: two lengths, which may be negative."""
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{value!r} is not a position", "", 'write it as ["120 mm", "35 mm"]')
    return tuple(parse_length(one) for one in value)


Length = Annotated[float, BeforeValidator(_positive_length)]
LengthOrZero = Annotated[float, BeforeValidator(_length_or_zero)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class DrawnTable(_Table):
    """Nominal sizes that the user accepted for what was measured, mm."""

    length: Length | None = None
    width: Length | None = None
    corner_radius: Length | None = None

    def sizes(self) -> dict[str, float]:
        """The accepted sizes by the dimension's name."""
        found = {field.replace("_", " "): getattr(self, field) for field in type(self).model_fields}
        return {of: mm for of, mm in found.items() if mm is not None}


class PartTable(_Table):
    """The bought-in part; lengths in mm, draft in radians."""

    name: Annotated[str, BeforeValidator(_name)] = "part"
    thickness: Length | None = None
    edge_radius: LengthOrZero | None = None
    edge_chamfer: LengthOrZero | None = None
    draft: Annotated[float, BeforeValidator(_draft)] | None = None
    wood: dict[str, Any] | None = None
    listed: Annotated[str, BeforeValidator(_listed)] | None = None
    family: OutlineFamily = "auto"
    symmetry: Symmetry = "both"
    snap: bool = False
    drawn: DrawnTable = DrawnTable()

    @model_validator(mode="after")
    def _one_edge(self) -> "PartTable":
        if self.edge_radius is not None and self.edge_chamfer is not None:
            raise InputError(
                "both edge_radius and edge_chamfer are given", "", "leave one of the two out"
            )
        return self


class FrameTable(_Table):
    """One sheet: a built-in name or a description's path, and its bars as measured, in mm.

    A bar holds one reading or several.
    """

    description: str
    bar_x: Annotated[tuple[Length, ...], BeforeValidator(_one_or_many)] = ()
    bar_y: Annotated[tuple[Length, ...], BeforeValidator(_one_or_many)] = ()


class PhotoTable(_Table):
    """One photo and what it shows; `turn` is clockwise, in degrees, and turns its pictures only."""

    file: Path
    shows: Shows
    turn: Literal[0, 90, 180, 270] = 0

    @field_validator("file", mode="before")
    @classmethod
    def _path(cls, value: Any) -> Any:
        if isinstance(value, str) and len(Path(value).name.encode()) > FILE_NAME:
            raise InputError(f"a name of {len(value)} letters", "", "rename the photo")
        return Path(value) if isinstance(value, str) and value else value


class ReadingTable(_Table):
    """One hand measurement: its values in mm, and the tool or the tool's own limit of error."""

    what: What
    value: Length | None = None
    values: Annotated[tuple[Length, ...], _up_to(READING_VALUES)] = ()
    tool: Annotated[str, BeforeValidator(_tool)]

    @model_validator(mode="after")
    def _one_form(self) -> "ReadingTable":
        if (self.value is None) == (not self.values):
            raise InputError(
                "needs either value or values",
                "",
                'write value = "418 mm", or values = ["418 mm", "417.5 mm"]',
            )
        return self

    def as_reading(self, number: int) -> Reading:
        """The reading as the fit takes it; `number` is its place in the job, from 1."""
        values = self.values or ((self.value,) if self.value is not None else ())
        return Reading(self.what, values, self.tool, OfReading(number, self.what, self.tool))


class LeaveOutTable(_Table):
    """Measured points that take no part in the fit: those of a photo round a position, in mm."""

    photo: str
    at: Annotated[tuple[float, float], BeforeValidator(_place_on_frame)]
    within: Length


class OutputTable(_Table):
    """How the drawings are written; paper is what the 1:1 prints are tiled over."""

    units: Unit = "mm"
    paper: Literal["a4", "letter"] = "a4"
    dxf: Literal["R2010", "R12"] = "R2010"


_NOT_IN_FILE = {"path", "reading_units", "readings_written"}


class Job(_Table):
    """A whole job.

    Attributes
    ----------
    path : the file it came from.
    reading_units : which of `mm` and `in` the readings were written in.
    readings_written : the values of each reading, as the file has them.
    camera : a camera's name, as calibrated with `snugline camera`.
    """

    path: Path
    reading_units: frozenset[str]
    readings_written: tuple[tuple[str, ...], ...] = ()
    part: PartTable
    frame: Annotated[tuple[FrameTable, ...], _up_to(FRAMES)] = Field(min_length=1)
    photo: Annotated[tuple[PhotoTable, ...], _up_to(PHOTOS)] = Field(min_length=1)
    reading: Annotated[tuple[ReadingTable, ...], _up_to(READINGS)] = ()
    leave_out: Annotated[tuple[LeaveOutTable, ...], _up_to(LEAVE_OUT)] = ()
    pocket: dict[str, Any] | None = None
    output: OutputTable = OutputTable()
    camera: str | None = None

    def beside(self, name: str | Path) -> Path:
        """A path of the job, relative to the job file's folder."""
        return self.path.parent / name

    def frames(self) -> tuple[AnyFrame, ...]:
        """The frames as printed: their descriptions with the bars as measured."""
        return tuple(self._frame(i) for i in range(len(self.frame)))

    def _frame(self, i: int) -> AnyFrame:
        table = self.frame[i]
        is_file = table.description.lower().endswith(".json")
        try:
            frame = read_frame(self.beside(table.description) if is_file else table.description)
            return with_print_scale(frame, table.bar_x, table.bar_y)
        except InputError as error:
            where = _place(("frame", i), self.path)
            what = error.what if error.about else f"{error.where}: {error.what}"
            raise InputError(what, where, error.mend) from error

    @cached_property
    def choices(self) -> PocketChoices | None:
        """What the shop chose for the pocket; None where the job ends with the outline."""
        if self.pocket is None:
            return None
        pocket, wood = (OfKey(path, str(self.path)) for path in (("pocket",), ("part", "wood")))
        return from_record(self.pocket, pocket, self.part.wood, wood)

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All hand readings."""
        return tuple(t.as_reading(i) for i, t in enumerate(self.reading, start=1))

    @property
    def thickness(self) -> Thickness:
        """The part's thickness: its readings, or the plain value where there are none.

        Raises
        ------
        InputError : neither is there.
        """
        found = thickness_of(self.readings, self.part.thickness)
        if found is None:
            raise no_thickness(self.path)
        return found


def read_job(path: Path) -> Job:
    """The job in a file, with every file that it names present.

    Raises
    ------
    FileError : the job, a photo or a frame description cannot be read.
    InputError : an unknown or missing key, a wrong unit or word. Nothing is written before.
    """
    job, faults = inspect_job(path)
    if job is None or faults:
        raise faults[0]
    return job


def inspect_job(path: Path) -> tuple[Job | None, list[SnuglineError]]:
    """The job, as far as it can be understood, and everything that is wrong with it."""
    try:
        record = read_toml(path)
    except SnuglineError as error:
        return None, [error]
    return inspect_record(record, path)


def inspect_record(
    record: dict[str, Any], path: Path, boxed: bool = False
) -> tuple[Job | None, list[SnuglineError]]:
    """The same as `inspect_job`, for a file with this content at this path.

    Parameters
    ----------
    boxed : a job that may come from anyone: files outside its folder are refused, not looked at.
    """
    for key in _NOT_IN_FILE & set(record):
        return None, [_unknown_key((key,), path)]
    units = frozenset(units_in(record.get("reading")))
    known = {"path": path, "reading_units": units, "readings_written": _as_written(record)}
    try:
        job = Job.model_validate({**record, **known})
    except ValidationError as error:
        # A mistyped key explains the missing one, so it comes first.
        entries = sorted(error.errors(), key=lambda entry: entry["type"] != "extra_forbidden")
        return None, [_fault(entry, path) for entry in entries]
    return job, _missing(job, boxed)


def _as_written(record: dict[str, Any]) -> tuple[tuple[str, ...], ...]:
    """The values of each reading before they become millimetres."""
    tables = record.get("reading", [])
    found = []
    for table in tables if isinstance(tables, list) else [tables]:
        values = table.get("values", table.get("value", [])) if isinstance(table, dict) else []
        found.append(tuple(map(str, values if isinstance(values, list) else [values])))
    return tuple(found)


def read_toml(path: Path) -> dict[str, Any]:
    """What a job file holds, unchecked but for its size and the bounds of its values.

    Raises
    ------
    FileError : it cannot be read, is too large, or is not TOML.
    InputError : a value that no job can hold.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(JOB_BYTES + 1)
    except OSError as error:
        raise FileError(
            f"cannot read the job ({why(error)})",
            str(path),
            "give the path of a job.toml; `snugline new` makes one",
        ) from error
    if len(content) > JOB_BYTES:
        raise FileError(
            f"is larger than {JOB_BYTES // 1000} kB, too large for a job file",
            str(path),
            "give a job.toml",
        )
    return parsed_toml(content, str(path))


def no_thickness(path: Path) -> InputError:
    """What a job without any thickness is refused with."""
    return InputError(
        "no thickness is given",
        _place(("part", "thickness"), path),
        'add thickness = "9.5 mm", or a [[reading]] of it',
    )


def _missing(job: Job, boxed: bool) -> list[SnuglineError]:
    """Files that the job names and that are not there; a thickness that is not given."""
    faults: list[SnuglineError] = []
    if job.part.thickness is None and all(r.what != "thickness" for r in job.reading):
        faults.append(no_thickness(job.path))
    try:
        job.choices  # noqa: B018 - read for its errors
    except InputError as error:
        faults.append(error)
    edge = job.part.edge_radius or job.part.edge_chamfer or 0.0
    if not faults and edge > job.thickness.value:
        faults.append(
            InputError(
                f"the top edge of {edge:g} mm is larger than the thickness",
                _place(("part",), job.path),
                "correct edge_radius, edge_chamfer or the thickness",
            )
        )
    if job.camera is not None:
        from snugline.trace.known_cameras import lens_finder

        try:
            lens_finder(job.camera)
        except SnuglineError as error:
            faults.append(InputError(error.what, _place(("camera",), job.path), error.mend))
    named = [(_place(("photo", i, "file"), job.path), p.file) for i, p in enumerate(job.photo)]
    named += [
        (_place(("frame", i, "description"), job.path), Path(f.description))
        for i, f in enumerate(job.frame)
        if f.description.lower().endswith(".json")
    ]
    for where, name in named:
        if boxed and not inside(job.path.parent, name):
            what, mend = "lies outside the job's folder", "copy the file into the job's folder"
        elif not is_file(job.beside(name)):
            what = "is not there"
            mend = "put it next to the job, or correct the name; paths are relative to the job file"
        else:
            continue
        faults.append(FileError(f"the file {str(name)!r} {what}", where, mend))
    photos = {str(photo.file) for photo in job.photo}
    faults += [
        InputError(
            f"there is no photo {table.photo!r} in the job",
            _place(("leave_out", i, "photo"), job.path),
            "write it as under [[photo]], or remove this table",
        )
        for i, table in enumerate(job.leave_out)
        if table.photo not in photos
    ]
    for i in range(len(job.frame)):
        if any(_is_below(fault.about, ("frame", i)) for fault in faults):
            continue
        try:
            job._frame(i)
        except SnuglineError as error:
            faults.append(error)
    seen: dict[Path, int] = {}
    for i, photo in enumerate(job.photo):
        first = seen.setdefault(photo.file, i)
        if first != i:
            faults.append(
                InputError(
                    f"the photo {str(photo.file)!r} is listed twice",
                    _place(("photo", i, "file"), job.path),
                    "remove one entry, since it would be counted twice",
                )
            )
    return faults


def _place(loc: tuple[int | str, ...], path: Path) -> OfKey:
    """Where in the job: `job.toml, [[photo]] 2, file`."""
    in_table = len(loc) > 1 or (bool(loc) and loc[0] in Job.model_fields and loc[0] != "camera")
    return OfKey(loc, str(path), in_table)


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
    return [key for key in model.model_fields if key not in _NOT_IN_FILE]


def _unknown_key(loc: tuple[int | str, ...], path: Path) -> InputError:
    key, keys = str(loc[-1]), _keys_at(loc)
    near = difflib.get_close_matches(key, keys, n=1)
    mend = f"did you mean {near[0]!r}?" if near else f"the keys here are {', '.join(keys)}"
    return InputError(f"unknown key {key!r}", _place(loc, path), mend)


def _fault(entry: Any, path: Path) -> SnuglineError:
    """One pydantic error in Snugline's three parts."""
    loc, kind, value = entry["loc"], entry["type"], entry["input"]
    where = _place(loc, path)
    cause = entry.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return InputError(cause.what, where, cause.mend)
    if kind == "extra_forbidden":
        return _unknown_key(loc, path)
    if kind == "missing":
        mend = _EXAMPLES.get(str(loc[-1]), "add it")
        return InputError(f"the key {loc[-1]!r} is missing", _place(loc[:-1], path), mend)
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
