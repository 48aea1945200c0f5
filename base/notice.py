"""A remark that travels with a result: what was noticed, how bad it is and what to do."""

from dataclasses import dataclass
from typing import Any, Literal

Severity = Literal["fine", "usable", "retake", "note", "check", "cannot be cut"]
"""Of photos and readings the first three, of a plan the last three."""


@dataclass(frozen=True)
class Notice:
    """One remark of a measurement.

    Attributes
    ----------
    code : stable name in lower case with hyphens, for programs and tests.
    text : one sentence with the figure that caused it.
    mend : one sentence that says what to do.
    severity : `fine` is for information, `usable` lowers trust, `retake` means that the
        result cannot be relied on; of a plan, `note`, `check` and `cannot be cut` say the same.
    place : where it applies: a photo, a corner, a reading; empty for the whole job.
    region_px : (left, top, right, bottom) in the displayed photo's pixels, if it has a place there.
    """

    code: str
    text: str
    mend: str
    severity: Severity = "usable"
    place: str = ""
    region_px: tuple[float, float, float, float] | None = None

    def as_json(self) -> dict[str, Any]:
        """The form that stands under `warnings` in the file contracts."""
        record: dict[str, Any] = {"code": self.code, "text": self.text, "mend": self.mend}
        record["severity"] = self.severity
        if self.place:
            record["place"] = self.place
        if self.region_px is not None:
            record["region_px"] = [round(v, 1) for v in self.region_px]
        return record
