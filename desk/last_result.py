"""What the result of a job says of the part's uncertainty, wherever that result lies."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from snugline.desk.options import result_folder
from snugline.files import read_within
from snugline.limits import RESULT_JSON_BYTES
from snugline.untrusted import parsed_json

UNKNOWN_U = 0.1  # mm per side, where no result is found: little is then learnt from a fit


def sides_u(job: Path, part: str, folder: Path | None = None) -> dict[str, float] | None:
    """Standard uncertainty of the part per side, by `length` and `width`, mm; None if unknown.

    Parameters
    ----------
    job : the job file; its usual result folder is looked at first, then every folder beside it,
        the newest first, that holds a result of this part.
    part : its name.
    folder : where the result lies, if the user says.
    """
    for place in [folder] if folder is not None else _places(job):
        record = _read(place / "result.json")
        try:
            if folder is None and record.get("part", part) != part:
                continue
            outline = record["outline"]
            return {of: float(outline[of]["u95"]) / 2 / 1.96 for of in ("length", "width")}
        except (KeyError, TypeError, ValueError):
            continue
    return None


def _places(job: Path) -> Iterator[Path]:
    usual = result_folder(job)
    yield usual
    try:
        beside = [p.parent for p in job.absolute().parent.glob("*/result.json")]
        beside.sort(key=lambda p: (p / "result.json").stat().st_mtime, reverse=True)
    except OSError:
        return
    yield from (p for p in beside if p != usual.absolute())


def _read(path: Path) -> dict[str, Any]:
    try:
        record = parsed_json(read_within(path.parent, path.name, RESULT_JSON_BYTES), str(path))
    except (OSError, ValueError):
        return {}
    return record if isinstance(record, dict) else {}
