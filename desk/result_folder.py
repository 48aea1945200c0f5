"""A result folder is one thing: all files of one run, or all of the run before.

A run's files are written to a folder beside it and swapped in by two renames. A folder that cannot
be swapped (a shell is open in it, or it holds folders of the user) is emptied of the old result
first and filled with the new one then, so that files of two runs never lie side by side. What a
killed run left half done is finished or undone by the next one, and by the page's start.

`result.json` is the manifest: it goes first, comes last, and names every file with its SHA-256.
What it does not name is the user's own and stays.
"""

import hashlib
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from snugline.errors import FileError
from snugline.files import (
    inside,
    is_link,
    is_plain_name,
    locked,
    patiently,
    read_within,
    remove_unfinished,
    why,
)
from snugline.limits import RESULT_FILE_BYTES, RESULT_JSON_BYTES
from snugline.untrusted import parsed_json

INDEX = "result.json"
_NEW, _OLD, _LOCK = "-new", "-old", "-lock"
_PREFIX = ".snugline-result-"
_LOCK_SECONDS = 30.0  # another run writes for less than one


def manifest(files: Mapping[str, bytes]) -> dict[str, str]:
    """What `result.json` records about the other files under `sha256`."""
    return {name: hashlib.sha256(files[name]).hexdigest() for name in sorted(files)}


def publish(folder: Path, files: Mapping[str, bytes]) -> None:
    """Put `files` (name to content) into `folder`, making it where it does not exist.

    Killed at any moment, it leaves the old result or the new one once `settle` has run. Files that
    the old manifest does not name are left alone.

    Raises
    ------
    FileError : the folder or one of its files cannot be made or replaced; the old result is whole.
    """
    if is_link(folder):
        raise FileError(
            "the result folder is a link to another place",
            str(folder),
            "take the link away, or name the folder itself with --out",
        )
    if folder.is_file():
        raise FileError("is a file, no folder", str(folder), "name another folder with --out")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _held(folder, _LOCK_SECONDS):
            _settle(folder)
            new = _beside(folder, _NEW)
            try:
                _write_all(new, files)
                _move_in(folder, new, files)
            finally:
                shutil.rmtree(new, ignore_errors=True)
    except TimeoutError as error:
        raise FileError(
            "another run is writing its results there", str(folder), "wait until it is done"
        ) from error
    except OSError as error:
        if isinstance(error, FileError):
            raise
        raise FileError(
            f"cannot write the results ({why(error, folder)}); the old ones are as they were",
            str(error.filename2 or error.filename or folder),
            "close what has it open, make room, or choose another folder with --out",
        ) from error


def settle(folder: Path) -> None:
    """Finish or undo what a killed run left half done; nothing where a live one is at work.

    Raises
    ------
    OSError : the files cannot be moved.
    """
    if any(_beside(folder, part).exists() for part in (_NEW, _OLD)) and not is_link(folder):
        with suppress(TimeoutError), _held(folder, 0.0):
            _settle(folder)


def settle_all(parent: Path) -> None:
    """Settle every result folder in a folder; take away what dead programs left there."""
    remove_unfinished(parent)
    with suppress(OSError):
        for name in os.listdir(parent):
            stem, _, part = name.removeprefix(_PREFIX).rpartition("-")
            if name.startswith(_PREFIX) and f"-{part}" in (_NEW, _OLD):
                settle(parent / stem)
            elif name.startswith(_PREFIX) and f"-{part}" == _LOCK:
                with suppress(OSError), _held(parent / stem, 0.0):
                    pass  # whoever holds it takes it away when done


def named_files(folder: Path) -> dict[str, str]:
    """Names that the manifest of a result folder holds, each with its SHA-256; never a path.

    Raises
    ------
    FileError, OSError : there is no manifest that can be used.
    """
    hashes = _manifest_record(folder).get("sha256")
    if not isinstance(hashes, dict) or not all(
        isinstance(value, str) and is_plain_name(name) and name != INDEX
        for name, value in hashes.items()
    ):
        raise FileError("is not a list of result files", str(folder / INDEX), "run the job again")
    return hashes


def read_named(folder: Path, name: str, sha256: str) -> bytes:
    """One file of a result, as the run wrote it.

    Raises
    ------
    FileError : it is a link, or not what the run wrote.
    OSError : it is not there.
    """
    content = read_within(folder, name, RESULT_FILE_BYTES)
    if hashlib.sha256(content).hexdigest() != sha256:
        raise FileError("was changed since the job's files were made", name, "make the files again")
    return content


def _beside(folder: Path, part: str) -> Path:
    """A place of our own on the same disk: beside the folder, or in it where only that can be."""
    folder = Path(os.path.abspath(folder))
    root = os.path.ismount(folder) or not os.access(folder.parent, os.W_OK)
    return (folder if root else folder.parent) / f"{_PREFIX}{folder.name}{part}"


@contextmanager
def _held(folder: Path, seconds: float) -> Iterator[None]:
    with locked(_beside(folder, _LOCK), seconds):
        yield


def _write_all(new: Path, files: Mapping[str, bytes]) -> None:
    """The manifest comes last: a folder that has it is whole."""
    new.mkdir(mode=0o755)
    for name in sorted(files, key=lambda name: (name == INDEX, name)):
        with (new / name).open("xb") as stream:
            stream.write(files[name])
            stream.flush()
            os.fsync(stream.fileno())


def _move_in(folder: Path, new: Path, files: Mapping[str, bytes]) -> None:
    if not folder.exists():
        patiently(os.rename, new, folder)
    elif not _swapped(folder, new, set(files)):
        _replaced(folder, new, set(files))


# By two renames


def _swapped(folder: Path, new: Path, files: set[str]) -> bool:
    """Whether the new folder has replaced the old one; if not, all is as it was."""
    old = _beside(folder, _OLD)
    own = _own_files(folder, files)
    if own is None or _stands_in(folder):
        return False
    try:
        for name in own:
            _link(folder / name, new / name)
        patiently(os.rename, folder, old)
    except OSError:
        # A folder in use, a share's root: its files can still be replaced.
        for name in own:
            (new / name).unlink(missing_ok=True)
        return False
    try:
        patiently(os.rename, new, folder)
    except OSError:
        os.rename(old, folder)
        raise
    _clear_old(folder, old)
    return True


def _own_files(folder: Path, files: set[str]) -> list[str] | None:
    """The user's own files in a result folder; None where it holds more than plain files.

    None also for a name that a folder blind to capitals would take for one of ours.
    """
    ours = _listed(folder) | files
    with os.scandir(folder) as entries:
        own = [entry for entry in entries if entry.name not in ours]
    alike = {name.casefold() for name in ours} & {entry.name.casefold() for entry in own}
    if alike or not all(entry.is_file(follow_symlinks=False) for entry in own):
        return None
    return [entry.name for entry in own]


def _stands_in(folder: Path) -> bool:
    """Whether this program was started in the folder: a shell would stay in the old one."""
    try:
        return inside(folder, Path.cwd())
    except OSError:
        return False


def _link(source: Path, target: Path) -> None:
    """The user's file in the new folder, too: the very same one where the system can."""
    try:
        os.link(source, target, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(source, target, follow_symlinks=False)


def _clear_old(folder: Path, old: Path) -> None:
    """What the user put into the old folder at the last moment moves over; the rest goes."""
    ours = _listed(old)
    for name in os.listdir(old):
        if name not in ours and not os.path.lexists(folder / name):
            os.rename(old / name, folder / name)
    _discard(old)


def _discard(old: Path) -> None:
    """Take the old files away, the manifest last: killed meanwhile, the rest is still known."""
    with suppress(OSError):
        for name in reversed(_manifest_first(set(os.listdir(old)))):
            (old / name).unlink()
        old.rmdir()


# File by file: the old ones out, then the new ones in


def _replaced(folder: Path, new: Path, names: set[str]) -> None:
    old = _beside(folder, _OLD)
    old.mkdir()
    gone: list[str] = []
    come: list[str] = []
    try:
        for name in _manifest_first(_listed(folder) | names):
            if os.path.lexists(folder / name):
                patiently(os.rename, folder / name, old / name)
                gone.append(name)
        for name in reversed(_manifest_first(names)):
            patiently(os.rename, new / name, folder / name)
            come.append(name)
    except OSError:
        for name in come:
            os.rename(folder / name, new / name)
        for name in reversed(gone):
            os.rename(old / name, folder / name)
        old.rmdir()
        raise
    _discard(old)


def _manifest_first(names: set[str]) -> list[str]:
    return sorted(names, key=lambda name: (name != INDEX, name))


# After a kill


def _settle(folder: Path) -> None:
    """Finish or undo what a dead run left; for the holder of the lock."""
    new, old = _beside(folder, _NEW), _beside(folder, _OLD)
    whole = (new / INDEX).is_file()
    if old.is_dir():
        if not folder.exists():
            # Between the two renames.
            os.rename(new if whole else old, folder)
        elif whole:
            _move_back(folder, new, old)
        if old.is_dir():
            _clear_old(folder, old)
    shutil.rmtree(new, ignore_errors=True)


def _move_back(folder: Path, new: Path, old: Path) -> None:
    """The new files that had come go back, then the old ones; done twice it is as done once."""
    for name in _listed(new):
        if not os.path.lexists(new / name) and os.path.lexists(folder / name):
            os.rename(folder / name, new / name)
    for name in reversed(_manifest_first(set(os.listdir(old)))):
        os.replace(old / name, folder / name)


def _listed(folder: Path) -> set[str]:
    """What is a run's in a folder, by its manifest: also by one of an earlier version."""
    names: set[str] = {INDEX}
    with suppress(OSError, ValueError):
        record = _manifest_record(folder)
        for key in ("files", "sha256"):
            names |= {str(name) for name in record.get(key) or () if is_plain_name(str(name))}
    return names


def _manifest_record(folder: Path) -> dict[str, Any]:
    record = parsed_json(read_within(folder, INDEX, RESULT_JSON_BYTES), str(folder / INDEX))
    return record if isinstance(record, dict) else {}
