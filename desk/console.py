"""What a command prints: results on standard output, remarks and progress on standard error."""

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Protocol

from snugline.desk.wording import remark
from snugline.notice import Notice, Severity
from snugline.units import LengthUnit


class Step(Protocol):
    """Told what is being done now, and how many of how many things are done."""

    def __call__(self, text: str, done: int = 0, of: int = 0, /) -> None: ...


def silent(text: str, done: int = 0, of: int = 0, /) -> None:
    """A step that nobody is told."""


# What a line begins with; only photos and readings are taken again.
_LABELS: dict[Severity, str] = {
    "fine": "note",
    "usable": "warning",
    "retake": "retake",
    "note": "note",
    "check": "warning",
    "cannot be cut": "error",
}


def print_json(record: Any) -> None:
    """One JSON value on standard output, with no NaN."""
    print(json.dumps(record, indent=1, allow_nan=False, ensure_ascii=False))


def print_notices(notices: Iterable[Notice], unit: LengthUnit = "mm") -> None:
    """One line a remark on standard error; those for information only stay in the result."""
    for notice in notices:
        if notice.gravity:
            print(f"{_LABELS[notice.severity]}: {' '.join(remark(notice, unit))}", file=sys.stderr)


def exit_status(notices: Iterable[Notice]) -> int:
    """1 when something has to be taken again, else 0."""
    return int(any(notice.gravity == 2 for notice in notices))


def result_status(record: Mapping[str, Any] | None, notices: Iterable[Notice]) -> int:
    """1 where a job's result is not to be cut from, or one of its pockets cannot be cut."""
    blocked = any(notice.severity == "cannot be cut" for notice in notices)
    return int(blocked or record is None or record["state"] == "not to be cut")


@contextmanager
def progress(quiet: bool = False) -> Iterator[Step]:
    """A function that names the step now running; it shows only on a terminal.

    Where a step counts, the count and about how long the rest takes are shown.
    """
    if quiet or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeRemainingColumn

    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}"),
        BarColumn(24),
        TimeRemainingColumn(elapsed_when_finished=True),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("starting", total=None)

        def step(text: str, done: int = 0, of: int = 0, /) -> None:
            shown.update(task, description=text, completed=done, total=of or None)

        yield step
