"""From tight to loose: how likely the part goes in over a range of clearances.

For whoever turns a knob: no drawing is planned, only what decides the probability.
"""

import math
from dataclasses import dataclass
from typing import Any

from snugline.errors import PlanError
from snugline.pocket.clearance import Clearance
from snugline.pocket.fits import fit_of
from snugline.pocket.goes_in import Chance
from snugline.pocket.opening import Given, chance_of

MOST_RUNGS = 61
_BEYOND = 2.0  # times the greatest clearance suggested, so that loose is in the range, too
_LEAST_HIGH = 0.6  # mm


@dataclass(frozen=True)
class Rung:
    """One clearance; its chance is None where no pocket can be drawn."""

    clearance: Clearance
    chance: Chance | None

    def as_json(self) -> dict[str, Any]:
        found = self.chance.as_json() if self.chance is not None else {}
        return {
            "clearance": self.clearance.as_json(),
            "probability": found.get("probability"),
            "words": found.get("words", ""),
        }


def clearance_range(
    given: Given, chosen: Clearance, suggested_high: float, step: float
) -> tuple[Rung, ...]:
    """Chances on a grid of `step` mm, from nothing (or what a soft part gives way) to loose.

    Parameters
    ----------
    chosen : is within the range; where its axes differ, all rungs differ by as much.
    suggested_high : the greatest clearance that is suggested, mm per side.
    """
    low = -fit_of(given.choices.kind).squeeze
    high = max(_BEYOND * suggested_high, _LEAST_HIGH, chosen.least)
    first, last = math.floor(min(low, chosen.least) / step), math.ceil(high / step - 1e-9)
    last = min(last, first + MOST_RUNGS - 1)
    more = (chosen.length - chosen.least, chosen.width - chosen.least)
    rungs = []
    for count in range(first, last + 1):
        least = round(count * step, 4)
        clearance = Clearance(round(least + more[0], 4), round(least + more[1], 4))
        rungs.append(Rung(clearance, _chance(given, clearance)))
    return tuple(rungs)


def _chance(given: Given, clearance: Clearance) -> Chance | None:
    try:
        return chance_of(given, clearance)
    except PlanError:
        return None
