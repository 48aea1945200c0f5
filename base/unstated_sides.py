"""What is assumed of a part's top edge and of the lean of its sides where nobody stated them.

A rounding or chamfer of 0 to 2 mm and a lean of 0 to 3 degrees, the smaller the likelier: the
density falls evenly from its greatest at zero to nothing at the limit. Such a triangle has its mean
at limit/3 and the standard uncertainty limit/sqrt(18). Most bought-in parts have their edges broken
by some tenths and sides near upright: common practice, no source.
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


def _falling(limit: float) -> Prior:
    return Prior(limit / 3, limit / math.sqrt(18), limit)


# mm of rounding; degrees of lean; and mm by which the edge is rather a chamfer than a rounding: as
# often as not, so that zero and a chamfer's size have about the same spread.
UNSTATED: dict[str, Prior] = {
    "edge": _falling(2.0),
    "lean": _falling(3.0),
    "chamfer": Prior(0.0, 0.5, 2.0),
}
