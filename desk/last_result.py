"""The result of a job's last run, where it is next to the job."""

import json
from pathlib import Path

from snugline.desk.options import result_folder


def outline_u(job: Path) -> float:
    """Standard uncertainty of the outline per side, mm; zero where there is no result."""
    try:
        record = json.loads((result_folder(job) / "result.json").read_text(encoding="utf-8"))
        return float(record["outline"]["width"]["u95"]) / 2 / 1.96
    except (OSError, ValueError, KeyError, TypeError):
        return 0.0
