"""An estimate of cutting time for several step-downs; the CAM program's own figure rules."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from snugline.errors import InputError


@dataclass(frozen=True)
class Feeds:
    """How a machine is run: feeds in mm per minute, steps in mm.

    Attributes
    ----------
    feed, plunge : in the cut and into the wood.
    step_over : between neighbouring passes.
    step_down : depth of one pass.
    """

    feed: float = 1500.0
    plunge: float = 500.0
    step_over: float = 2.4
    step_down: float = 2.0


@dataclass(frozen=True)
class TimeRow:
    """One line of the table: step-down in mm, passes, minutes."""

    step_down: float
    passes: int
    minutes: float


def time_table(
    area: float,
    perimeter: float,
    depth: float,
    feeds: Feeds,
    factors: Sequence[float] = (0.5, 0.75, 1.0, 1.5, 2.0),
) -> tuple[TimeRow, ...]:
    """Estimates for step-downs about the chosen one: each pass clears the area, then the wall.

    Parameters
    ----------
    area, perimeter : of the pocket, mm2 and mm.
    depth : mm.
    factors : the step-downs tried, as multiples of the chosen one.
    """
    return tuple(_row(area, perimeter, depth, feeds, feeds.step_down * f) for f in factors)


def _row(area: float, perimeter: float, depth: float, feeds: Feeds, step_down: float) -> TimeRow:
    for name in ("feed", "plunge", "step_over", "step_down"):
        if not getattr(feeds, name) > 0:
            raise InputError(
                f"a {name.replace('_', '-')} of {getattr(feeds, name):g} is not above 0",
                "cutting time",
                "give feeds and steps above 0",
            )
    passes = max(1, math.ceil(depth / step_down - 1e-9))
    each = (area / feeds.step_over + perimeter) / feeds.feed
    # The plunges add up: each goes down from the pass before.
    return TimeRow(step_down, passes, passes * each + depth / feeds.plunge)
