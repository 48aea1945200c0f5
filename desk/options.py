"""Options that several commands share, and lengths as option values."""

from pathlib import Path
from typing import Annotated

import typer

from snugline.errors import FileError, InputError
from snugline.lengths import parse_angle, parse_length


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


def require_folder(path: Path | None) -> None:
    """Refuse an output file whose folder is missing, before any long work."""
    if path is not None and not path.parent.is_dir():
        raise FileError("its folder does not exist", str(path), "make the folder first")


def result_folder(job: Path) -> Path:
    """Where a job's results go unless `--out` says: beside the job."""
    return job.parent / f"{job.stem}-result"


AsJson = Annotated[
    bool, typer.Option("--json", help="Print the result as JSON on standard output.")
]
