"""Many files as one: a result folder is whole, or as it was before.

The files are written to a neighbour folder and moved in at the end; the list that `result.json`
carries under `files` names the files of an earlier run that have to go.
"""

import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from snugline.errors import FileError

INDEX = "result.json"


def publish(folder: Path, files: Mapping[str, bytes]) -> None:
    """Put `files` (name to content) into `folder`, making it where it does not exist.

    `result.json` leaves first and arrives last, so that a folder which has one is complete even
    when the machine stops in between. Files that are not Snugline's are left alone.

    Raises
    ------
    FileError : the folder cannot be made or written; nothing is left behind.
    """
    fresh = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
        for name, content in files.items():
            with (fresh / name).open("wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
        _move_in(fresh, folder, files)
    except OSError as error:
        raise FileError(
            f"cannot write the results ({error.strerror})",
            str(folder),
            "choose a folder with --out that may be written and has room",
        ) from error
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)


def _move_in(fresh: Path, folder: Path, files: Mapping[str, bytes]) -> None:
    if not folder.exists():
        fresh.chmod(0o755)
        fresh.rename(folder)
        return
    stale = _earlier_files(folder) - set(files)
    (folder / INDEX).unlink(missing_ok=True)
    for name in stale:
        (folder / name).unlink(missing_ok=True)
    for name in sorted(files, key=lambda name: name == INDEX):
        os.replace(fresh / name, folder / name)


def _earlier_files(folder: Path) -> set[str]:
    """Names that the result in the folder lists; never a path out of it."""
    try:
        names = json.loads((folder / INDEX).read_text(encoding="utf-8"))["files"]
        return {name for name in names if Path(name).name == name}
    except (OSError, ValueError, KeyError, TypeError):
        return set()
