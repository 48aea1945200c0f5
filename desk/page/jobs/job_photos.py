"""Photos into a job's folder and out of it; every name is the server's own."""

import hashlib
import os
import re
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AbstractAsyncContextManager, nullcontext
from pathlib import Path
from typing import Any, get_args

from anyio import to_thread
from filelock import Timeout

from snugline.counting import counted
from snugline.desk.job_tables import Shows
from snugline.desk.page.jobs.job_file_edit import change_locked, job_bytes, lock_of
from snugline.desk.page.jobs.job_states import photo_id
from snugline.desk.page.jobs.key_changes import Change
from snugline.desk.page.jobs.limits import PHOTOS, UPLOAD_BYTES
from snugline.desk.page.jobs.measured_store import Store, file_hash
from snugline.desk.page.jobs.photo_moves import REMOVED, complete_locked, movable, move_photos
from snugline.errors import FileError, InputError, SnuglineError
from snugline.files import inside, is_link, why
from snugline.untrusted import parsed_toml


class TooLargeError(FileError):
    """More bytes than the server takes."""


class NoPhotoError(FileError):
    """A body that is not a photo."""


class NoRoomError(InputError):
    """More uploads at once than the server takes."""


class SamePhotoError(InputError):
    """The job holds this very photo."""


def too_large(what: str, most: int) -> TooLargeError:
    return TooLargeError(
        f"it is larger than {most // 1_000_000} MB", what, "send a photo as the phone took it"
    )


async def received(
    folder: Path,
    pieces: AsyncIterator[bytes],
    name: str,
    syncing: AbstractAsyncContextManager[Any] | None = None,
) -> tuple[Path, str]:
    """A body on disk under a name of our own, and its hash; nothing is left of one that ends early.

    While it waits for the disk it holds `syncing`, if given.

    Raises
    ------
    TooLargeError : after the first byte over the limit.
    FileError : an empty body, or no room on the disk.
    """
    place = Store(folder).place("incoming", "photo")
    handle, temporary = tempfile.mkstemp(dir=place.parent, prefix="photo-")
    digest, size = hashlib.sha256(), 0
    whole = False
    try:
        with os.fdopen(handle, "wb") as stream:
            async for piece in pieces:
                size += len(piece)
                if size > UPLOAD_BYTES:
                    raise too_large(name, UPLOAD_BYTES)
                digest.update(piece)
                stream.write(piece)
            stream.flush()
            async with syncing or nullcontext():
                await to_thread.run_sync(os.fsync, stream.fileno())
        if size == 0:
            raise FileError("the file is empty", name, "choose the photo again")
        whole = True
    except OSError as error:
        if isinstance(error, SnuglineError):
            raise
        raise FileError(
            f"cannot keep the photo ({why(error)})", name, "make room on the disk"
        ) from error
    finally:
        if not whole:
            Path(temporary).unlink(missing_ok=True)
    return Path(temporary), digest.hexdigest()


async def take_in(
    job: Path,
    pieces: AsyncIterator[bytes],
    ending_of: Callable[[Path, str], Awaitable[str]],
    name: str,
    shows: str,
    instead_of: str | None = None,
    writing: AbstractAsyncContextManager[Any] | None = None,
    syncing: AbstractAsyncContextManager[Any] | None = None,
) -> tuple[str, str | None]:
    """Add a photo to a job, or put it in another's place.

    Parameters
    ----------
    ending_of : the file ending by content, or an error for anything other than a photo.
    name : what the user calls it, for messages only.
    instead_of : the id of the photo that it replaces.
    writing : held while the job is changed, so that of many uploads one waits for the file's lock.
    syncing : held while waiting for the disk, so that few threads do.

    Returns
    -------
    The new photo's file, and the id under which the replaced one can be had back.
    """
    if shows not in get_args(Shows):
        raise InputError(
            f"{shows!r} is not something that a photo can show",
            "shows",
            f"use {', '.join(get_args(Shows))}",
        )
    temporary, digest = await received(job.parent, pieces, name, syncing)
    try:
        ending = await ending_of(temporary, name)
        os.chmod(temporary, 0o644)
        async with writing or nullcontext():
            return await to_thread.run_sync(
                _enter, job, temporary, digest, ending, shows, instead_of
            )
    finally:
        temporary.unlink(missing_ok=True)


def _enter(
    job: Path, temporary: Path, digest: str, ending: str, shows: str, instead_of: str | None
) -> tuple[str, str | None]:
    try:
        with lock_of(job):
            record = _record(job)
            tables = _photo_tables(record)
            if len(tables) >= PHOTOS and instead_of is None:
                raise InputError(
                    f"the job has {counted(len(tables), 'photo')} already",
                    "photos",
                    "delete some first",
                )
            for table in tables:
                path = job.parent / str(table.get("file"))
                if inside(job.parent, path) and path.is_file() and file_hash(path) == digest:
                    raise SamePhotoError(
                        "you already added this photo",
                        path.name,
                        "it would be counted twice: choose another one",
                    )
            file = _free_name(job.parent, ending)
            source = temporary.relative_to(job.parent).as_posix()
            return file, _put_in(job, tables, (source, file), shows, instead_of)
    except Timeout as error:
        raise FileError("another program holds the job", "job.toml", "try again") from error


def _put_in(
    job: Path,
    tables: list[dict[str, Any]],
    come: tuple[str, str],
    shows: str,
    instead_of: str | None,
) -> str | None:
    """One photo into the job, at the end or in another's place; gives the id of the other."""
    file = come[1]
    if instead_of is None:
        new = {"file": file, "shows": shows}
        change = Change(("photo", len(tables)), None, new)
        move_photos(job, [come], [change], [], shows)
        return None
    old = _find(tables, instead_of)
    was = str(tables[old]["file"])
    change = Change(("photo", old, "file"), was, file, tables[old])
    go = _aside(job.parent, was)
    move_photos(job, [come], [change], go, shows)
    return _removed_id(go)


def take_out(job: Path, ident: str) -> str:
    """Take a photo out of the job; its file is kept aside. Gives the id to have it back.

    Raises
    ------
    LookupError : the job has no such photo.
    """
    with lock_of(job):
        tables = _photo_tables(_record(job))
        at = _find(tables, ident)
        go = _aside(job.parent, str(tables[at]["file"]), str(tables[at].get("shows", "")))
        move_photos(job, [], [Change(("photo", at), tables[at], None)], go, "section")
        return _removed_id(go)


def put_back(job: Path, removed: str, instead_of: str | None) -> str:
    """Put a removed photo back, at the end or in another's place; gives its file.

    Raises
    ------
    LookupError : nothing of that id was removed, or no such photo to replace.
    """
    with lock_of(job):
        record = _record(job)
        found = {photo_id(file): file for file in removed_files(job.parent)}
        if removed not in found:
            raise LookupError(removed)
        kept = found[removed]
        shows, _, name = kept.rpartition("--")
        if (job.parent / name).exists():
            name = _free_name(job.parent, name.rpartition(".")[2])
        words = shows.replace("-", " ")
        shown = words if words in get_args(Shows) else "section"
        _put_in(job, _photo_tables(record), (f"{REMOVED}/{kept}", name), shown, instead_of)
        return name


def turn(job: Path, ident: str, by: Any) -> None:
    """Turn what is shown of a photo clockwise.

    Raises
    ------
    LookupError : the job has no such photo.
    """
    if by not in (90, 180, 270):
        raise InputError(f"{by!r} is not a quarter turn", "by", "send 90, 180 or 270")
    with lock_of(job):
        tables = _photo_tables(_record(job))
        at = _find(tables, ident)
        was = tables[at].get("turn")
        now = ((was or 0) + by) % 360 or None
        change_locked(job, [Change(("photo", at, "turn"), was, now, tables[at])])


def removed_files(folder: Path) -> list[str]:
    """Names in the folder of removed photos."""
    try:
        if is_link(folder / REMOVED):
            return []
        names = [p.name for p in (folder / REMOVED).iterdir() if p.is_file() and not is_link(p)]
        return sorted(names)
    except OSError:
        return []


def _aside(folder: Path, file: str, shows: str = "") -> list[tuple[str, str]]:
    """The move of a photo to the removed ones; its new name begins with what it showed.

    None for a file that is not the job's own: it stays where a hand put it.
    """
    if not movable(folder, file):
        return []
    plain = shows.replace(" ", "-") if shows in get_args(Shows) else ""
    own = Path(file).name
    name = f"{plain}--{own}"
    count = 2
    while (folder / REMOVED / name).exists():
        name, count = f"{plain}--{count}-{own}", count + 1
    return [(file, f"{REMOVED}/{name}")]


def _removed_id(go: list[tuple[str, str]]) -> str:
    return photo_id(Path(go[0][1]).name) if go else ""


def _free_name(folder: Path, ending: str) -> str:
    """The next `photo-N`; a number is not given twice, not even after a photo was removed."""
    names = [p.name for p in folder.iterdir()] + removed_files(folder)
    numbers = [int(m[1]) for name in names if (m := re.search(r"photo-(\d+)\.\w+$", name))]
    return f"photo-{max(numbers, default=0) + 1}.{ending}"


def _record(job: Path) -> dict[str, Any]:
    """The job as it stands, after what a killed server had begun; for a holder of its lock."""
    complete_locked(job)
    return parsed_toml(job_bytes(job), "job.toml")


def _photo_tables(record: dict[str, Any]) -> list[dict[str, Any]]:
    tables = record.get("photo", [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise InputError(
            "[photo] is a single table", "job.toml", "write [[photo]], so that more can be added"
        )
    return tables


def _find(tables: list[dict[str, Any]], ident: str) -> int:
    for i, table in enumerate(tables):
        if photo_id(str(table.get("file"))) == ident:
            return i
    raise LookupError(ident)
