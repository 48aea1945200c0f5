"""Options that several commands share, and lengths as option values."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from snugline.counting import counted
from snugline.errors import FileError, InputError
from snugline.lengths import parse_angle, parse_length

if TYPE_CHECKING:
    from snugline.trace.sheet.frame_description import AnyFrame


def length(text: str) -> float:
    """Millimetres of an option's value; the command line names the option."""
    try:
        return parse_length(text)
    except InputError as error:
        raise typer.BadParameter(f"{error.what}; {error.mend}") from error


def angle(text: str) -> float:
    """Radians of an option's value."""
    try:
        return parse_angle(text)
    except InputError as error:
        raise typer.BadParameter(f"{error.what}; {error.mend}") from error


Frames = Annotated[
    list[str],
    typer.Option(
        "--frame", help="Built-in name or description file; once for each sheet in the photos."
    ),
]
BarX = Annotated[
    list[float] | None,
    typer.Option(
        parser=length,
        metavar="LENGTH",
        help="Printed bar x as measured; once for each reading, in the frames' order.",
    ),
]
BarY = Annotated[
    list[float] | None,
    typer.Option(
        parser=length, metavar="LENGTH", help="Printed bar y as measured; once for each reading."
    ),
]


def require_folder(path: Path | None) -> None:
    """Refuse an output file whose folder is missing, before any long work."""
    if path is not None and not path.parent.is_dir():
        raise FileError("its folder does not exist", str(path), "make the folder first")


def printed_frames(
    names: Sequence[str], bar_x: Sequence[float] | None, bar_y: Sequence[float] | None
) -> "list[AnyFrame]":
    """The frames with their bars as measured: of several frames each has as many readings.

    Raises
    ------
    InputError : more readings than frames, and not the same number for each.
    """
    from snugline.trace.sheet.frame_description import read_frame, with_print_scale

    def of_each(readings: Sequence[float] | None, option: str) -> list[Sequence[float]]:
        taken, frames = readings or (), len(names)
        if len(taken) > frames and len(taken) % frames:
            raise InputError(
                f"{counted(len(taken), 'reading')} cannot be shared evenly by {frames} frames",
                option,
                "give as many for each frame, in the frames' order",
            )
        each = max(1, len(taken) // frames)
        return [taken[i * each : (i + 1) * each] for i in range(frames)]

    return [
        with_print_scale(read_frame(name), x, y)
        for name, x, y in zip(
            names, of_each(bar_x, "--bar-x"), of_each(bar_y, "--bar-y"), strict=True
        )
    ]


def result_folder(job: Path) -> Path:
    """Where a job's results go without `--out`: next to the job."""
    return job.parent / f"{job.stem}-result"


AsJson = Annotated[
    bool, typer.Option("--json", help="Print the result as JSON on standard output.")
]
