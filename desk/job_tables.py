"""The tables of a job file: keys, units and words, each value checked as it is read."""

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    field_validator,
    model_validator,
)

from snugline.errors import InputError
from snugline.fit.readings.nominal_size import parse_listed
from snugline.fit.readings.reading import Reading, What, tool_of
from snugline.fit.shapes.family_words import OutlineFamily
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.lengths import parse_angle, parse_length
from snugline.limits import (
    FILE_NAME,
    LONGEST,
    NAME,
    READING_VALUES,
    SHORTEST,
)
from snugline.place import OfReading

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


def up_to(most: int) -> BeforeValidator:
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


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class DrawnTable(Table):
    """Nominal sizes that the user accepted for what was measured, mm."""

    length: Length | None = None
    width: Length | None = None
    corner_radius: Length | None = None

    def sizes(self) -> dict[str, float]:
        """The accepted sizes by the dimension's name."""
        found = {field.replace("_", " "): getattr(self, field) for field in type(self).model_fields}
        return {of: mm for of, mm in found.items() if mm is not None}


class PartTable(Table):
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


class FrameTable(Table):
    """One sheet: a built-in name or a description's path, and its bars as measured, in mm.

    A bar holds one reading or several.
    """

    description: str
    bar_x: Annotated[tuple[Length, ...], BeforeValidator(_one_or_many)] = ()
    bar_y: Annotated[tuple[Length, ...], BeforeValidator(_one_or_many)] = ()


class PhotoTable(Table):
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


class ReadingTable(Table):
    """One hand measurement: its values in mm, and the tool or the tool's own limit of error."""

    what: What
    value: Length | None = None
    values: Annotated[tuple[Length, ...], up_to(READING_VALUES)] = ()
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


class LeaveOutTable(Table):
    """Measured points that take no part in the fit: those of a photo round a position, in mm."""

    photo: str
    at: Annotated[tuple[float, float], BeforeValidator(_place_on_frame)]
    within: Length


class OutputTable(Table):
    """How the drawings are written; paper is what the 1:1 prints are tiled over."""

    units: Unit = "mm"
    paper: Literal["a4", "letter"] = "a4"
    dxf: Literal["R2010", "R12"] = "R2010"
