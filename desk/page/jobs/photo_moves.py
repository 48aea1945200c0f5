"""Moving photos and changing the job as one step: all of it happens, or none.

What is going to happen is written down first, in the job's dot-folder. A server that is killed in
between does the rest at its next start, before anything else, so that no photo lies where neither
the job nor the removed ones show it.
"""

import hashlib
import json
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from snugline.desk.page.jobs.job_file_edit import change_locked, changed_bytes, job_bytes, lock_of
from snugline.desk.page.jobs.key_changes import Change
from snugline.desk.page.jobs.measured_store import Store
from snugline.errors import FileError, SnuglineError
from snugline.files import inside, is_link, patiently, why, write_whole
from snugline.untrusted import parsed_toml

REMOVED = "removed"
_JOURNAL = "moving.json"

Move = tuple[str, str]  # from and to, relative to the job's folder


@dataclass(frozen=True)
class Intent:
    """What is going to happen, in this order: photos in, the job changed, photos out.

    Attributes
    ----------
    before : SHA-256 of the job file that is changed.
    job : the file as it will be.
    shows : what the photos that come in show, should a hand have changed the job meanwhile.
    """

    come: tuple[Move, ...]
    go: tuple[Move, ...]
    before: str
    job: str
    shows: str


def move_photos(
    job: Path, come: Sequence[Move], changes: Sequence[Change], go: Sequence[Move], shows: str
) -> None:
    """Move photos in, change the job, move photos out; for a holder of the job's lock.

    Raises
    ------
    Changed : the job does not hold what the changes expect; nothing was moved.
    FileError : a photo cannot be moved or the job not be written; all is as it was.
    """
    old = job_bytes(job)
    new, _ = changed_bytes(old, changes, str(job))
    intent = Intent(tuple(come), tuple(go), _digest(old), new.decode(), shows)
    journal = Store(job.parent).place(".", _JOURNAL)
    write_whole(journal, json.dumps(asdict(intent)))
    try:
        _carry_out(job, intent)
    except OSError as error:
        _undo(job, intent, old)
        raise FileError(
            f"cannot move the photo ({why(error)})", "photo", "close it in other programs"
        ) from error
    finally:
        journal.unlink(missing_ok=True)


def complete_moves(job: Path) -> None:
    """Do the rest of what a killed server had begun, if it had.

    Raises
    ------
    SnuglineError : the job is locked or was broken by hand meanwhile; the journal stays.
    """
    journal = job.parent / ".snugline" / _JOURNAL
    if not journal.is_file() or is_link(journal) or is_link(journal.parent):
        return
    with lock_of(job):
        complete_locked(job)


def complete_locked(job: Path) -> None:
    """The same for a holder of the job's lock."""
    store = Store(job.parent)
    try:
        intent = _intent(job.parent, store.read(".", _JOURNAL))
    except FileNotFoundError:
        return
    except (FileError, ValueError, KeyError, TypeError):
        intent = None  # nothing that this program wrote
    if intent is not None:
        _carry_out(job, intent)
    store.place(".", _JOURNAL).unlink(missing_ok=True)


def _carry_out(job: Path, intent: Intent) -> None:
    """All steps that are still to do; done twice it is as done once."""
    folder = job.parent
    for source, target in intent.come:
        _move(folder, source, target)
    now = job_bytes(job)
    kept: set[str] = set()
    if _digest(now) == intent.before:
        write_whole(job, intent.job)
    elif now != intent.job.encode():
        kept = _reconciled(job, intent)
    for source, target in intent.go:
        if source not in kept:
            _move(folder, source, target)


def _reconciled(job: Path, intent: Intent) -> set[str]:
    """A hand changed the job after the kill: its word holds, and every photo is in it or removed.

    Gives the photos that the job now names.
    """
    record = parsed_toml(job_bytes(job), str(job))
    tables = record.get("photo", [])
    named = {str(t.get("file")) for t in tables if isinstance(t, dict)}
    for _, file in intent.come:
        if file not in named and (job.parent / file).is_file():
            new = {"file": file, "shows": intent.shows}
            change_locked(job, [Change(("photo", len(tables)), None, new)])
            tables = [*tables, new]
    return named


def _undo(job: Path, intent: Intent, old: bytes) -> None:
    for source, target in [*intent.go, *intent.come]:
        _move(job.parent, target, source)
    with suppress(SnuglineError):
        if job_bytes(job) != old:
            write_whole(job, old)


def _move(folder: Path, source: str, target: str) -> None:
    if os.path.lexists(folder / source) and not os.path.lexists(folder / target):
        (folder / target).parent.mkdir(exist_ok=True)
        patiently(os.replace, folder / source, folder / target)


def _intent(folder: Path, content: bytes) -> Intent:
    """What was written down; a journal of a received folder may contain anything.

    Raises
    ------
    ValueError, KeyError, TypeError : it is not such a record, or leads out of the job's folder.
    """
    record: dict[str, Any] = json.loads(content)
    come, go = (tuple((str(a), str(b)) for a, b in record[key]) for key in ("come", "go"))
    if not all(
        isinstance(one, str) for key in ("come", "go") for move in record[key] for one in move
    ):
        raise ValueError("a move is not a pair of names")
    for path in [one for move in (*come, *go) for one in move]:
        parts = PurePosixPath(path).parts
        hidden = parts[:1] == (".snugline",) and parts[1:2] != ("incoming",)
        if hidden or path.endswith(".toml") or not inside(folder, path):
            raise ValueError(f"{path!r} cannot be the place of a photo")
    return Intent(come, go, *(str(record[key]) for key in ("before", "job", "shows")))


def movable(folder: Path, file: str) -> bool:
    """Whether a photo is the job's own to move: a plain file in its folder, reached by no link."""
    path = folder / file
    return inside(folder, file) and path.is_file() and not is_link(path)


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
