"""Whole-file writing: a file is complete or absent, never in between."""

import json
import os
import tempfile
from pathlib import Path
from typing import Any

from snugline.errors import FileError


def write_whole(path: Path, content: bytes | str) -> None:
    """Write `content` to a neighbour file, then rename it over `path`.

    Raises
    ------
    FileError : the folder is missing or cannot be written.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise FileError(
            f"cannot write the file ({error.strerror})",
            str(path),
            "choose a folder that exists, has room and may be written",
        ) from error


def write_json(path: Path, record: dict[str, Any]) -> None:
    """Write a record as JSON, with no NaN or infinity, which other readers refuse."""
    write_whole(path, json.dumps(record, indent=1, allow_nan=False, ensure_ascii=False) + "\n")
