"""Changes as the page sends them: of one key each, and nothing that a job may not hold."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from snugline.desk.page.jobs.limits import TEXT_LENGTH
from snugline.errors import InputError

TABLES = ("camera", "part", "frame", "photo", "reading", "leave_out", "pocket", "output")
LISTS = ("frame", "photo", "reading", "leave_out")  # of tables, each found by what it holds
_KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")
_DEEPEST = 6

Keys = tuple[str | int, ...]


@dataclass(frozen=True)
class Change:
    """One key's change; None means a key that is not there.

    Attributes
    ----------
    path : keys from the top; a number goes into a list of tables.
    element : the table of that list as it was last seen, where the path goes on behind the number.
    """

    path: Keys
    was: Any
    now: Any
    element: Mapping[str, Any] | None = None


def changes_from(records: Any) -> list[Change]:
    """Changes as the page sends them.

    Raises
    ------
    InputError : not of the form, or a value that no job may hold.
    """
    if not isinstance(records, list) or not 1 <= len(records) <= 200:
        raise InputError("there are no changes", "changes", "send a list of them")
    changes = []
    for number, record in enumerate(records):
        where = f"change {number + 1}"
        good = isinstance(record, dict) and set(record) <= {"path", "was", "now", "element"}
        path = record.get("path") if good else None
        if not isinstance(path, list) or not 1 <= len(path) <= _DEEPEST:
            raise InputError("it has no path", where, 'send {"path": [...], "was": .., "now": ..}')
        for step in path:
            index = isinstance(step, int) and not isinstance(step, bool) and 0 <= step < 10_000
            if not index and not (isinstance(step, str) and _KEY.fullmatch(step)):
                raise InputError(f"{step!r} is not a key", where, "send the keys of the job file")
        if path[0] not in TABLES:
            raise InputError(
                f"unknown key {path[0]!r}", where, f"the keys here are {', '.join(TABLES)}"
            )
        for key in ("was", "now", "element"):
            _check_value(record.get(key), where)
        _check_index(path, record.get("element"), where)
        _check_files(path, record, where)
        element = record.get("element")
        changes.append(Change(tuple(path), record.get("was"), record.get("now"), element))
    return changes


def _check_value(value: Any, where: str, depth: int = 0) -> None:
    if depth > _DEEPEST:
        raise InputError("the value is nested too deeply", where, "send plain values")
    if isinstance(value, dict):
        for key, inner in value.items():
            if not _KEY.fullmatch(key) or inner is None:
                raise InputError(f"{key!r} is not a key with a value", where, "leave it out")
            _check_value(inner, where, depth + 1)
    elif isinstance(value, list):
        if len(value) > 200 or None in value:
            raise InputError("the list cannot be used", where, "send at most 200 values")
        for inner in value:
            _check_value(inner, where, depth + 1)
    elif isinstance(value, str):
        if len(value) > TEXT_LENGTH or not all(c.isprintable() for c in value):
            raise InputError(
                "the text is too long or not printable", where, f"write {TEXT_LENGTH} letters"
            )
    elif isinstance(value, float) and not math.isfinite(value):
        raise InputError(f"{value} is not a number", where, "send a finite number")
    elif isinstance(value, int) and abs(value) > 2**53:
        raise InputError(f"{value} is too large", where, "send a smaller number")


def _check_index(path: Sequence[str | int], element: Any, where: str) -> None:
    numbers = [i for i, step in enumerate(path) if isinstance(step, int)]
    if not numbers:
        return
    if numbers != [1] or path[0] not in LISTS:
        raise InputError("a list of values is one value", where, "send the whole list")
    if len(path) > 2 and not isinstance(element, dict):
        raise InputError("the table's content is missing", where, "send it as element")


def _check_files(path: Sequence[str | int], record: Mapping[str, Any], where: str) -> None:
    """No client names a file: photos come and go by their own requests."""
    if path[0] == "photo":
        was, now = record.get("was"), record.get("now")
        by_key = len(path) == 3 and path[2] in ("shows", "turn")
        whole = (
            len(path) == 2
            and isinstance(was, dict)
            and isinstance(now, dict)
            and was.get("file") == now.get("file")
        )
        if not by_key and not whole:
            raise InputError(
                "photos are not changed this way", where, "add or delete them by their requests"
            )
    if path[0] == "frame" and any(
        isinstance(d, str) and not re.fullmatch(r"[\w .-]{1,80}", d)
        for d in _descriptions(path, record.get("now"))
    ):
        raise InputError(
            "a frame is named, not given by a path", where, "use a built-in frame's name"
        )


def _descriptions(path: Sequence[str | int], now: Any) -> list[Any]:
    if path[-1] == "description":
        return [now]
    tables = now if isinstance(now, list) else [now]
    return [table.get("description") for table in tables if isinstance(table, dict)]
