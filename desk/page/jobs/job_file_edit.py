"""Changes to a job file: one key each, under a lock; comments and hand edits are preserved.

A change gives the old value (`was`) and the new one (`now`). It is applied where the file still
holds `was`, so that two windows, or an editor, do not lose each other's changes.
"""

import codecs
import itertools
import json
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from filelock import FileLock, Timeout
from tomlkit.items import Item, Table

from snugline.desk.page.jobs.key_changes import LISTS, Change, Keys
from snugline.desk.page.jobs.measured_store import Store
from snugline.errors import FileError, InputError
from snugline.files import is_link, read_within, why, write_whole
from snugline.limits import JOB_BYTES
from snugline.untrusted import parsed_toml

_LOCK_SECONDS = 10.0


@dataclass(frozen=True)
class Conflict:
    """A change that found something else than it expected."""

    change: Change
    current: Any

    def as_json(self) -> dict[str, Any]:
        return {
            "path": list(self.change.path),
            "was": self.change.was,
            "now": self.change.now,
            "current": self.current,
        }


class Changed(Exception):  # noqa: N818 - not an error of anyone: the file is newer than the window
    """The file does not hold what the changes expected; nothing was written."""

    def __init__(self, conflicts: list[Conflict], record: dict[str, Any]) -> None:
        super().__init__("the job was changed meanwhile")
        self.conflicts = conflicts
        self.record = record


def lock_of(path: Path) -> FileLock:
    """The lock that every writer of this job holds, also in other processes."""
    lock = Store(path.parent).place(".", "lock")
    if is_link(lock):
        raise FileError("is a link to another place", lock.name, "take the link away")
    return FileLock(lock, timeout=_LOCK_SECONDS, poll_interval=0.005)


def change_file(path: Path, changes: Sequence[Change]) -> dict[str, Any]:
    """Apply all changes to a job file, or none; returns what it then holds.

    Raises
    ------
    Changed : the file holds something else than the changes expected.
    FileError : it cannot be read, locked or written, or is not TOML.
    """
    try:
        with lock_of(path):
            return change_locked(path, changes)
    except Timeout as error:
        raise FileError("another program holds the job", str(path), "try again") from error


def change_locked(path: Path, changes: Sequence[Change]) -> dict[str, Any]:
    """The same for a caller that holds the lock."""
    old = job_bytes(path)
    new, record = changed_bytes(old, changes, str(path))
    if new != old:
        write_whole(path, new)
    return record


def job_bytes(path: Path) -> bytes:
    """A job file as it lies there.

    Raises
    ------
    FileError : it is a link, too large, or cannot be read.
    """
    try:
        return read_within(path.parent, path.name, JOB_BYTES)
    except FileError as error:
        raise FileError(error.what, str(path), error.mend) from error
    except OSError as error:
        raise FileError(
            f"cannot read the job ({why(error)})", path.parent.name, "look whether it is there"
        ) from error


def changed_bytes(
    old: bytes, changes: Sequence[Change], where: str = "job.toml"
) -> tuple[bytes, dict[str, Any]]:
    """The changed file, with the line ends and the byte-order mark that its editor gave it."""
    record = parsed_toml(old, where)
    text = old.decode("utf-8-sig")
    new, record = changed_text(text.replace("\r\n", "\n"), changes, where, record)
    if "\r\n" in text:
        new = new.replace("\n", "\r\n")
    return (codecs.BOM_UTF8 if old.startswith(codecs.BOM_UTF8) else b"") + new.encode(), record


def changed_text(
    text: str, changes: Sequence[Change], where: str = "job.toml", record: Any = None
) -> tuple[str, dict[str, Any]]:
    """The file's text with the changes, comments kept, and what it holds."""
    try:
        record = tomllib.loads(text) if record is None else record
        document = tomlkit.parse(text)
    except ValueError as error:  # both libraries' parse errors
        raise FileError(f"is not TOML ({error})", where, "correct that line by hand") from error
    conflicts = []
    for change in changes:
        found = _located(record, change)
        if isinstance(found, Conflict):
            conflicts.append(found)
            continue
        _set(record, found, change.now)
        _set_in_document(document, found, change.now)
    if conflicts:
        raise Changed(conflicts, tomllib.loads(text))
    new = tomlkit.dumps(document)
    # A layout that cannot be edited in place is rewritten: values matter more than comments.
    for form in (_spaced(new, text), new, tomlkit.dumps(record)):
        if tomllib.loads(form) == record:
            return form, record
    raise RuntimeError("the changed job cannot be written as TOML")


def _spaced(new: str, old: str) -> str:
    """A blank line before each table that was not there before."""
    before = set(itertools.pairwise(old.split("\n")))
    lines = new.split("\n")
    spaced = lines[:1]
    for above, line in itertools.pairwise(lines):
        if line.startswith("[") and above.strip() and (above, line) not in before:
            spaced.append("")
        spaced.append(line)
    return "\n".join(spaced)


_ABSENT = object()


def same(a: Any, b: Any) -> bool:
    """Whether two values mean the same in a job file: 1 is 1.0, but true is not 1."""
    return json.dumps(_plain(a), sort_keys=True) == json.dumps(_plain(b), sort_keys=True)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value if isinstance(value, str | int | float | bool) else str(value)


def _located(record: dict[str, Any], change: Change) -> Keys | Conflict:
    """The path with the table's present number, if all is as expected."""
    path = change.path
    if len(path) > 1 and isinstance(path[1], int):
        tables = record.get(str(path[0]), [])
        if not isinstance(tables, list):
            return Conflict(change, tables)
        if len(path) == 2 and change.was is None:
            return (path[0], len(tables))
        seen = change.was if len(path) == 2 else change.element
        at = _index_of(tables, seen, path[1])
        if at is None and len(path) == 2 and change.now is not None:
            at = _index_of(tables, change.now, path[1])
        if at is None:
            current = tables[path[1]] if path[1] < len(tables) else None
            return Conflict(change, current)
        path = (path[0], at, *path[2:])
    current = _get(record, path)
    if current is _ABSENT:
        current = None
    if current is None and change.was is None:
        return path
    for value in (change.was, change.now):
        if value is not None and current is not None and same(current, value):
            return path
    if current is None and change.now is None:
        return path
    return Conflict(change, current)


def _index_of(tables: list[Any], seen: Any, hint: int) -> int | None:
    order = [hint, *range(len(tables))] if hint < len(tables) else range(len(tables))
    return next((i for i in order if same(tables[i], seen)), None)


def _get(record: Any, path: Sequence[str | int]) -> Any:
    for step in path:
        try:
            record = record[step]
        except (KeyError, IndexError, TypeError):
            return _ABSENT
    return record


def _set(record: Any, path: Keys, now: Any) -> None:
    parents = []
    for step, following in itertools.pairwise(path):
        if isinstance(record, dict) and step not in record:
            if now is None:
                return
            record[step] = [] if isinstance(following, int) else {}
        parents.append((record, step))
        record = record[step]
        if not isinstance(record, dict | list):
            raise InputError(f"{step!r} is not a table", str(path), "remove it first")
    last = path[-1]
    if now is None:
        if isinstance(record, dict):
            record.pop(last, None)
        elif isinstance(last, int) and last < len(record):
            del record[last]
        _drop_emptied(parents)
    elif isinstance(record, list) and last == len(record):
        record.append(deepcopy(now))
    else:
        record[last] = deepcopy(now)


def _drop_emptied(parents: Sequence[tuple[Any, str | int]]) -> None:
    """The tables on the way that a deletion has left without a key go, too."""
    for parent, step in reversed(parents):
        if isinstance(parent, list) or len(parent[step]) > 0:
            return
        del parent[step]


def _set_in_document(document: Any, path: Keys, now: Any) -> None:
    table, parents = document, []
    for depth, step in enumerate(path[:-1]):
        if isinstance(table, dict) and step not in table:
            if now is None:
                return
            many = isinstance(path[depth + 1], int)
            table[step] = tomlkit.aot() if many else tomlkit.table()
        parents.append((table, step))
        table = table[step]
    last = path[-1]
    if now is None:
        if isinstance(last, int) or last in table:
            del table[last]
        _drop_emptied(parents)
    elif isinstance(last, int):
        if last >= len(table):
            table.append(_table(now))
        else:
            _update(table[last], now)
    elif len(path) == 1 and isinstance(now, dict):
        if isinstance(table.get(last), Table):
            _update(table[last], now)
        else:
            table[last] = _table(now)
    elif len(path) == 1 and last in LISTS and isinstance(now, list):
        table.pop(last, None)
        tables = tomlkit.aot()
        for one in now:
            tables.append(_table(one))
        table[last] = tables
    else:
        table[last] = _value(now)


def _update(table: Any, now: Mapping[str, Any]) -> None:
    """Only what differs is written, so that comments next to the rest are kept."""
    for key in [key for key in table if key not in now]:
        del table[key]
    for key, value in now.items():
        if key not in table or not same(table[key], value):
            table[key] = _value(value)


def _table(record: Mapping[str, Any]) -> Table:
    table = tomlkit.table()
    for key, value in record.items():
        table[key] = _value(value)
    return table


def _value(value: Any) -> Item:
    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        for key, inner in value.items():
            inline[key] = _value(inner)
        return inline
    if isinstance(value, list):
        array = tomlkit.array()
        for inner in value:
            array.append(_value(inner))
        return array
    item: Item = tomlkit.item(value)
    return item
