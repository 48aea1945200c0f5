"""Options that several commands share, and lengths as option values."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

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
        parser=length, metavar="LENGTH", help="Printed bar x as measured; in the frames' order."
    ),
]
BarY = Annotated[
    list[float] | None,
    typer.Option(parser=length, metavar="LENGTH", help="Printed bar y as measured."),
]


def require_folder(path: Path | None) -> None:
    """Refuse an output file whose folder is missing, before any long work."""
    if path is not None and not path.parent.is_dir():
        raise FileError("its folder does not exist", str(path), "make the folder first")


def printed_frames(
    names: Sequence[str], bar_x: Sequence[float] | None, bar_y: Sequence[float] | None
) -> "list[AnyFrame]":
    """The frames with their bars as measured, both in the order given."""
    from snugline.trace.sheet.frame_description import read_frame, with_print_scale

    def nth(bars: Sequence[float] | None, i: int) -> float | None:
        return bars[i] if bars and i < len(bars) else None

    return [
        with_print_scale(read_frame(name), nth(bar_x, i), nth(bar_y, i))
        for i, name in enumerate(names)
    ]


def result_folder(job: Path) -> Path:
    """Where a job's results go without `--out`: next to the job."""
    return job.parent / f"{job.stem}-result"


AsJson = Annotated[
    bool, typer.Option("--json", help="Print the result as JSON on standard output.")
]
