"""The result of a job's last run, where it is next to the job."""

from pathlib import Path

from snugline.desk.options import result_folder
from snugline.desk.result_folder import INDEX
from snugline.files import read_within
from snugline.limits import RESULT_JSON_BYTES
from snugline.untrusted import parsed_json


def outline_u(job: Path) -> float:
    """Standard uncertainty of the outline per side, mm; zero where there is no result."""
    folder = result_folder(job)
    try:
        record = parsed_json(read_within(folder, INDEX, RESULT_JSON_BYTES), str(folder / INDEX))
        return float(record["outline"]["width"]["u95"]) / 2 / 1.96
    except (OSError, ValueError, KeyError, TypeError):
        return 0.0
