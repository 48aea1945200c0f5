"""How far a piece of a job's work is, and where work runs."""

from dataclasses import dataclass, field
from typing import Any

from snugline.desk.page.jobs.progress import Pace
from snugline.desk.page.jobs.worker_pool import Pool


@dataclass(frozen=True)
class Stage:
    """How far something is: `missing`, `waiting`, `tracing`, `fitting`, `ready`, `refused`, ...

    Attributes
    ----------
    key : the name of the last one that is ready.
    """

    state: str = "missing"
    key: str | None = None
    error: dict[str, str] | None = None

    def as_json(self) -> dict[str, Any]:
        return {"state": self.state, "key": self.key, "error": self.error}


@dataclass(frozen=True)
class Processes:
    """Where work runs: `heavy` for tracing and files, `light` for what a window waits for.

    Attributes
    ----------
    pace : how long each kind of work has taken lately.
    """

    heavy: Pool
    light: Pool
    pace: Pace = field(default_factory=Pace)
