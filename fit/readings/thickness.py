"""The part's thickness: all readings of it combined once, for tracing, depth, page and paper."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import stdev
from typing import Any

from snugline.fit.readings.reading import Reading, combined
from snugline.fit.readings.reading_remarks import scatter_remarks
from snugline.fit.readings.scatter import Scatter, scatter_of
from snugline.fit.readings.uncertainty_budget import coverage_factor
from snugline.notice import Notice


@dataclass(frozen=True)
class Thickness:
    """A part's thickness, mm.

    Attributes
    ----------
    value, u : generalised mean of the readings and its standard uncertainty, in which what they
        share by their tool is not averaged away.
    dof : effective degrees of freedom of `u` (Welch-Satterthwaite, JCGM 100, G.2b).
    tools : kinds of the tools that it was read with; empty where it was only stated.
    values : every value that counts, as read.
    varies : whether the part itself is not of one thickness; `u` then holds for any one place.
    """

    value: float
    u: float
    dof: float = math.inf
    tools: tuple[str, ...] = ()
    values: tuple[float, ...] = ()
    varies: bool = False

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

    @property
    def thickest(self) -> float:
        """What a pocket is cut for: the greatest value where the part varies, else the mean."""
        return max(self.values) if self.varies else self.value

    def as_json(self, digits: int = 4) -> dict[str, Any]:
        """As a dimension of the result's file contract; `range` where the part varies."""
        record: dict[str, Any] = {
            "value": round(self.value, digits),
            "u95": round(self.u95, digits),
        }
        if self.tools:
            record["from"] = list(self.tools)
        if self.varies:
            record["range"] = [min(self.values), max(self.values)]
        return record


def thickness_of(readings: Sequence[Reading], stated: float | None = None) -> Thickness | None:
    """The thickness from all its readings; None where there are none.

    Values that are slips do not count (see `scatter`).

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
    scatter = _scatter(readings, stated)
    found = combined(scatter.readings, "thickness")
    if found is None:
        return None
    by_hand = any(reading.what == "thickness" for reading in readings)
    tools = found.tools if by_hand else ()
    values = tuple(value for reading in scatter.readings for value in reading.values_mm)
    if scatter.kind == "varies":
        # Any one place is as far from the mean as the places are from each other.
        u = math.hypot(found.u, stdev(values))
        return Thickness(found.value, u, len(values) - 1, tools, values, True)
    return Thickness(found.value, found.u, found.dof, tools, values)


def thickness_remarks(
    readings: Sequence[Reading], stated: float | None = None
) -> tuple[Notice, ...]:
    """Remarks on readings of the thickness that do not agree."""
    return scatter_remarks("thickness", _scatter(readings, stated))


def _scatter(readings: Sequence[Reading], stated: float | None) -> Scatter:
    if stated is not None and all(reading.what != "thickness" for reading in readings):
        readings = [Reading("thickness", (stated,), "caliper")]
    return scatter_of(readings, "thickness")
