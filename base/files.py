"""Files and folders as every package treats them, on any system.

A file is complete or absent, never in between. What other programs do to files meanwhile (hold
them open, follow links, die) is met here and nowhere else, so that tests can imitate it in one
place.
"""

import errno
import json
import os
import secrets
import stat
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from snugline.errors import FileError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

T = TypeVar("T")

# A scanner, an indexer or a cloud folder holds a file for a moment after it was written.
HELD_SECONDS = 1.0
_POLL_SECONDS = 0.02
# Where a file system has no locks, a temporary file of that age belongs to a dead program.
_FORGOTTEN_SECONDS = 3600.0
_TEMPORARY = ".snugline-"
_UNFINISHED = ".part"
# Windows keeps these for devices, with any ending and in any case (its file naming rules).
_DEVICES = {"con", "prn", "aux", "nul"} | {f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10)}
_REFUSED_LETTERS = set('<>:"/\\|?*')
_LONGEST_PATH = 260  # of older programs on Windows, drive and ending included


def write_whole(path: Path, content: bytes | str, mode: int = 0o644) -> None:
    """Write `content` to a neighbour file, then rename it over `path`.

    Raises
    ------
    FileError : the folder is missing or cannot be written, or another program holds the file.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        for attempt in range(3):
            try:
                return _write(path, data, mode)
            except FileNotFoundError:
                # Another program's start may have cleared the neighbour away, see below.
                if attempt == 2 or not path.parent.is_dir():
                    raise
    except OSError as error:
        mend = "choose a folder that exists, has room and may be written"
        if isinstance(error, PermissionError) and path.exists():
            mend = "close it in other programs and look at its rights, then try again"
        raise FileError(f"cannot write the file ({why(error, path)})", str(path), mend) from error


def _write(path: Path, data: bytes, mode: int) -> None:
    temporary = path.parent / f"{_TEMPORARY}{secrets.token_hex(6)}{_UNFINISHED}"
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o600)
    try:
        with os.fdopen(handle, "wb") as stream:
            _lock(handle)
            stream.write(data)
            stream.flush()
            os.fsync(handle)
        os.chmod(temporary, mode)
        patiently(os.replace, temporary, path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def write_json(path: Path, record: dict[str, Any]) -> None:
    """Write a record as JSON, with no NaN or infinity, which other readers refuse."""
    write_whole(path, json.dumps(record, indent=1, allow_nan=False, ensure_ascii=False) + "\n")


def remove_unfinished(folder: Path) -> None:
    """Take away the temporary files of dead programs in a folder, and of no live one.

    A live program holds a lock on the file it writes (on Windows, by having it open). The moment
    between closing and renaming is not covered: who loses its file then writes it again.
    """
    with suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith(_TEMPORARY) and entry.name.endswith(_UNFINISHED):
                _remove_dead(Path(entry.path))


def _remove_dead(temporary: Path) -> None:
    with suppress(OSError):
        handle = os.open(temporary, os.O_RDWR | _NO_LINK | _BINARY)
        try:
            dead = _lock(handle)
        except OSError:
            dead = time.time() - os.fstat(handle).st_mtime > _FORGOTTEN_SECONDS
        finally:
            os.close(handle)
        if dead:
            temporary.unlink()


def patiently(action: Callable[..., T], *arguments: Any) -> T:
    """Do what another program may forbid for a moment, again and again for a second."""
    end = time.monotonic() + HELD_SECONDS
    while True:
        try:
            return action(*arguments)
        except PermissionError:
            if time.monotonic() > end:
                raise
        time.sleep(_POLL_SECONDS)


@contextmanager
def locked(path: Path, seconds: float) -> Iterator[None]:
    """Hold a lock file against other programs; it is gone afterwards, and when its holder dies.

    Raises
    ------
    TimeoutError : another program holds it for longer than `seconds`.
    OSError : it cannot be made.
    """
    end = time.monotonic() + seconds
    while (handle := _held(path)) is None:
        if time.monotonic() > end:
            raise TimeoutError(errno.ETIMEDOUT, "another program holds it", str(path))
        time.sleep(_POLL_SECONDS)
    try:
        yield
    finally:
        # Unlinked under the lock where an open file can be, so that no later holder loses it.
        with suppress(OSError):
            path.unlink()
        os.close(handle)
        if sys.platform == "win32":
            with suppress(OSError):
                path.unlink()


def _held(path: Path) -> int | None:
    """A handle that holds the lock; None while another program has it."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | _NO_LINK, 0o600)
    except PermissionError:
        if not path.exists():
            raise
        return None
    try:
        # Its last holder may have unlinked it after it was opened here: then it guards nothing.
        if _lock(handle) and os.path.samestat(os.fstat(handle), os.stat(path)):
            return handle
    except FileNotFoundError:
        pass
    except BaseException:
        os.close(handle)
        raise
    os.close(handle)
    return None


def _lock(handle: int) -> bool:
    """Take the lock of an open file until it is closed; False when another program has it."""
    try:
        if sys.platform == "win32":
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


_BINARY = getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)  # opening a pipe would wait for its other end


def read_within(folder: Path, name: str, most: int) -> bytes:
    """A plain file of a folder, with no link followed on the last two steps.

    Parameters
    ----------
    name : of the file itself; a path is refused.
    most : bytes that are read at most.

    Raises
    ------
    FileError : it is a link, not a plain file, or larger than `most`.
    OSError : it cannot be read.
    """
    if not is_plain_name(name) or is_link(folder):
        raise FileError("leads to another place", name, "take the link away")
    if os.open in os.supports_dir_fd:
        within = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | _NO_LINK)
        try:
            handle = os.open(name, os.O_RDONLY | _NO_LINK | _NO_WAIT, dir_fd=within)
        except OSError as error:
            if error.errno == errno.ELOOP:
                raise FileError("is a link", name, "put the file itself there") from error
            raise
        finally:
            os.close(within)
    else:
        if is_link(folder / name):
            raise FileError("is a link", name, "put the file itself there")
        handle = os.open(folder / name, os.O_RDONLY | _BINARY)
    with os.fdopen(handle, "rb") as stream:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise FileError("is not a plain file", name, "put a file there")
        content = stream.read(most + 1)
    if len(content) > most:
        raise FileError(f"is larger than {most / 1e6:g} MB", name, "give a smaller one")
    return content


def is_link(path: Path) -> bool:
    """Whether a path's last step leads elsewhere: a link, or a junction of Windows."""
    try:
        status = os.lstat(path)
    except OSError:
        return False
    reparse = getattr(status, "st_reparse_tag", 0)
    return stat.S_ISLNK(status.st_mode) or reparse == _JUNCTION


_JUNCTION = 0xA0000003  # IO_REPARSE_TAG_MOUNT_POINT, as `stat` names it on Windows alone


def inside(folder: Path, name: str | Path) -> bool:
    """Whether a name leads to a place in the folder, links followed."""
    try:
        return (folder / name).resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return False


def is_file(path: Path) -> bool:
    """Whether there is a plain file; no name, however odd, is an error."""
    try:
        return path.is_file()
    except OSError:
        return False


def is_plain_name(name: str) -> bool:
    """Whether a text can name a file on every system, and nothing but a file in its folder."""
    return (
        0 < len(name.encode("utf-8", "surrogateescape")) <= 200
        and name.isprintable()
        and not _REFUSED_LETTERS & set(name)
        and not name.endswith((".", " "))
        and name.partition(".")[0].rstrip().lower() not in _DEVICES
    )


def why(error: OSError, path: Path | None = None) -> str:
    """The message of a system's error, in words."""
    if isinstance(error, PermissionError):
        return f"{error.strerror or 'not allowed'}, or another program holds it open"
    if path is not None and len(str(path)) >= _LONGEST_PATH and not path.parent.exists():
        return f"its path has {len(str(path))} letters, more than some systems open"
    return error.strerror or str(error) or type(error).__name__
