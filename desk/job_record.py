"""A whole job as the rooms take it: frozen values in millimetres and radians."""

from functools import cached_property
from pathlib import Path
from typing import Annotated, Any

from pydantic import (
    Field,
)

from snugline.desk.job_tables import (
    FrameTable,
    LeaveOutTable,
    OutputTable,
    PartTable,
    PhotoTable,
    ReadingTable,
    Table,
    up_to,
)
from snugline.errors import InputError
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import Thickness, thickness_of
from snugline.limits import (
    FRAMES,
    LEAVE_OUT,
    PHOTOS,
    READINGS,
)
from snugline.place import OfKey
from snugline.pocket.choices import PocketChoices
from snugline.pocket.choices_record import from_record
from snugline.trace.sheet.frame_description import (
    AnyFrame,
    BarError,
    Frame,
    read_frame,
    with_print_scale,
)

NOT_IN_FILE = {"path", "reading_units", "readings_written"}


class Job(Table):
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
    frame: Annotated[tuple[FrameTable, ...], up_to(FRAMES)] = Field(min_length=1)
    photo: Annotated[tuple[PhotoTable, ...], up_to(PHOTOS)] = Field(min_length=1)
    reading: Annotated[tuple[ReadingTable, ...], up_to(READINGS)] = ()
    leave_out: Annotated[tuple[LeaveOutTable, ...], up_to(LEAVE_OUT)] = ()
    pocket: dict[str, Any] | None = None
    output: OutputTable = OutputTable()
    camera: str | None = None

    def beside(self, name: str | Path) -> Path:
        """A path of the job, relative to the job file's folder."""
        return self.path.parent / name

    def frames(self) -> tuple[AnyFrame, ...]:
        """The frames as printed: their descriptions with the bars as measured."""
        return tuple(self.frame_of(i) for i in range(len(self.frame)))

    def frame_of(self, i: int) -> AnyFrame:
        """The frame of one table."""
        table = self.frame[i]
        is_file = table.description.lower().endswith(".json")
        try:
            frame = read_frame(self.beside(table.description) if is_file else table.description)
            return with_print_scale(frame, table.bar_x, table.bar_y)
        except InputError as error:
            key = (f"bar_{error.axis}",) if isinstance(error, BarError) else ()
            where = place(("frame", i, *key), self.path)
            what = error.what if error.about else f"{error.where}: {error.what}"
            raise InputError(what, where, error.mend) from error

    def print_scales(self) -> tuple[float | None, ...]:
        """For each sheet how large it was printed, 1 at actual size; None without both bars."""
        scales: list[float | None] = []
        for i, table in enumerate(self.frame):
            read = bool(table.bar_x and table.bar_y)
            frame = self.frame_of(i) if read else None
            scales.append(sum(frame.scale) / 2 if isinstance(frame, Frame) else None)
        return tuple(scales)

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


def place(loc: tuple[int | str, ...], path: Path) -> OfKey:
    """Where in the job: `job.toml, [[photo]] 2, file`."""
    in_table = len(loc) > 1 or (bool(loc) and loc[0] in Job.model_fields and loc[0] != "camera")
    return OfKey(loc, str(path), in_table)


def no_thickness(path: Path) -> InputError:
    """What a job without any thickness is refused with."""
    return InputError(
        "no thickness is given",
        place(("part", "thickness"), path),
        "measure it with a caliper and add the reading",
    )
