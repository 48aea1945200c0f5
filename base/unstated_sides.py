"""What is assumed of a part's top edge and of the lean of its sides where nobody stated them.

A rounding or chamfer of 0 to 2 mm and a lean of 0 to 3 degrees. Most bought-in parts have their
edges broken by some tenths and sides near upright (common practice, no source), so the mean is that
of a density which falls evenly to nothing at the limit: limit/3. But no density is known, only its
limits: the standard uncertainty is that of an even one, limit/sqrt(12) (JCGM 100, 4.3.7). A part
that is sharp and upright at once, as cut sheet is, lies within U95 then.
"""

import math
from dataclasses import dataclass
from typing import Literal

Unstated = Literal["edge", "lean"]


@dataclass(frozen=True)
class Prior:
    """Mean and standard uncertainty of what was not stated, and the greatest value assumed."""

    mean: float
    u: float
    limit: float


def _within(limit: float) -> Prior:
    return Prior(limit / 3, limit / math.sqrt(12), limit)


# mm of rounding; degrees of lean; and mm by which the edge is rather a chamfer than a rounding: as
# often as not, so that zero and a chamfer's size have about the same spread.
UNSTATED: dict[str, Prior] = {
    "edge": _within(2.0),
    "lean": _within(3.0),
    "chamfer": Prior(0.0, 0.5, 2.0),
}
