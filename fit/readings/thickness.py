"""The part's thickness: all readings of it combined once, for tracing, depth, page and paper."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from snugline.fit.readings.reading import Reading, combined
from snugline.fit.readings.uncertainty_budget import coverage_factor


@dataclass(frozen=True)
class Thickness:
    """A part's thickness, mm.

    Attributes
    ----------
    value, u : generalised mean of the readings and its standard uncertainty, in which what they
        share by their tool is not averaged away.
    dof : effective degrees of freedom of `u` (Welch-Satterthwaite, JCGM 100, G.2b).
    tools : kinds of the tools that it was read with; empty where it was only stated.
    values : every value as read.
    """

    value: float
    u: float
    dof: float = math.inf
    tools: tuple[str, ...] = ()
    values: tuple[float, ...] = ()

    @property
    def u95(self) -> float:
        """Expanded uncertainty, 95 %."""
        return coverage_factor(self.dof) * self.u

    @property
    def spread(self) -> float:
        """Greatest value less least."""
        return max(self.values) - min(self.values) if self.values else 0.0

    @property
    def readings(self) -> int:
        """How many values were read."""
        return max(len(self.values), 1)

    def as_json(self, digits: int = 4) -> dict[str, Any]:
        """As a dimension of the result's file contract."""
        record: dict[str, Any] = {
            "value": round(self.value, digits),
            "u95": round(self.u95, digits),
        }
        if self.tools:
            record["from"] = list(self.tools)
        return record


def thickness_of(readings: Sequence[Reading], stated: float | None = None) -> Thickness | None:
    """The thickness from all its readings; None where there are none.

    Parameters
    ----------
    readings : those of other dimensions are passed over.
    stated : mm, counts as one caliper reading where nothing was read.

    Examples
    --------
    >>> ten = thickness_of([Reading("thickness", (9.5,) * 10, "caliper")])
    >>> round(ten.value, 3), round(ten.u95, 3)  # the caliper's own error stays
    (9.5, 0.116)
    """
    taken = [reading for reading in readings if reading.what == "thickness"]
    by_hand = bool(taken)
    if not taken and stated is not None:
        taken = [Reading("thickness", (stated,), "caliper")]
    found = combined(taken, "thickness")
    if found is None:
        return None
    values = tuple(value for reading in taken for value in reading.values_mm)
    return Thickness(found.value, found.u, found.dof, found.tools if by_hand else (), values)
