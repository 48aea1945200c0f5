"""What a command prints: results on standard output, remarks and progress on standard error."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from snugline.desk.wording import remark
from snugline.notice import Notice, Severity
from snugline.units import LengthUnit

Step = Callable[[str], None]

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
    """A function that names the step now running; it shows only on a terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as status:
        yield lambda step: status.update(step)
