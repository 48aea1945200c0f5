"""The job's files as they lie in its result folder."""

import json
from pathlib import Path
from typing import Any

from snugline.desk.options import result_folder
from snugline.desk.page.jobs.job_states import files_key
from snugline.desk.page.jobs.measured_store import Store
from snugline.errors import SnuglineError

_SHOWN = {
    "png": "image/png",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
}
_SAVED = {"json": "application/json", "dxf": "image/vnd.dxf", "zip": "application/zip"}


def media_type(name: str) -> str:
    """The type of one of the job's files, by its ending."""
    ending = name.rpartition(".")[2].lower()
    return (_SHOWN | _SAVED).get(ending, "application/octet-stream")


def files_made(path: Path, store: Store) -> dict[str, Any]:
    """The job's files as they lie there, and whether the job has changed since."""
    folder = result_folder(path)
    listed: list[dict[str, Any]] = []
    made = 0.0
    try:
        index = folder / "result.json"
        names = json.loads(index.read_text(encoding="utf-8"))["files"]
        made = index.stat().st_mtime
        listed = [
            {
                "name": name,
                "bytes": (folder / name).stat().st_size,
                "type": media_type(name),
                "preview": name.rpartition(".")[2].lower() in _SHOWN,
            }
            for name in names
            if isinstance(name, str) and Path(name).name == name and (folder / name).is_file()
        ]
    except (OSError, ValueError, KeyError, TypeError):
        listed = []
    try:
        note = store.load("finishing", "made") or {}
        stale = note.get("key") != files_key(path)
    except (SnuglineError, OSError, ValueError):
        stale = True
    return {
        "state": "ready" if listed else "missing",
        "stale": bool(listed) and stale,
        "step": None,
        "error": None,
        "made": made,
        "folder": folder.name,
        "list": listed,
    }
