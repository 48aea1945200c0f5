"""The probability that a part goes into its pocket and stays free in it all year.

Along each axis the gap per side is the clearance, plus the width error of the cut, less what the
worst season takes, less what the part's size is off by; a corner that the cutter leaves rounder
than the part has a gap of its own. All of them are normal; the width error is common to all.
Where a hand reading contradicts the outline, both count by their weights (a linear pool).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.fit.part_uncertainty import PartUncertainty
from snugline.notice import Notice
from snugline.pocket.clearance import STEP, Clearance, contradicting
from snugline.pocket.season import SeasonalGap
from snugline.pocket.width_error import WidthError
from snugline.sentence import Sentence, length

DOUBTFUL, BLOCKED = 0.90, 0.50  # below the first a doubt, below the second it cannot be cut
COVERAGE = 1.96
_NODES = 61
_CORNER_SHARE = math.sqrt(2) - 1  # of a radius' error, along the corner's bisector


@dataclass(frozen=True)
class Place:
    """The gap at one place that can stop the part; mm per side.

    Attributes
    ----------
    name : `length`, `width` or `corner`.
    gap : in the worst season, without the width error of the cut.
    u : standard uncertainty, without that of the width error.
    closes : what the season takes of it.
    season : which season that is; empty where none takes anything.
    others : (shift, u, weight) of readings that contradict the outline.
    """

    name: str
    gap: float
    u: float
    closes: float = 0.0
    season: str = ""
    others: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Chance:
    """How likely the part goes in.

    Attributes
    ----------
    probability : 0 to 1.
    places : along the length, along the width, and at a corner that the cutter leaves.
    width_error : of the cut, as it was allowed for.
    squeeze : mm per side that the part may be squeezed by.
    """

    probability: float
    places: tuple[Place, ...]
    width_error: WidthError
    squeeze: float = 0.0

    @property
    def worst(self) -> Place:
        """The place that stops the part most often."""
        return min(self.places, key=lambda p: _probability((p,), self.width_error, self.squeeze))

    @property
    def per_cent(self) -> str:
        """In whole per cent, never 100 nor 0: nothing here is certain."""
        whole = min(max(round(100 * self.probability), 1), 99)
        sign = "over " if self.probability > 0.995 else "under " if self.probability < 0.005 else ""
        return f"{sign}{whole} %"

    @property
    def words(self) -> str:
        """In words: how likely it is."""
        for least, said in (
            (0.99, "almost certainly goes in"),
            (DOUBTFUL, "very likely goes in"),
            (BLOCKED, "may not go in"),
        ):
            if self.probability >= least:
                return said
        return "most likely does not go in"

    def as_json(self) -> dict[str, Any]:
        return {
            "probability": round(self.probability, 4),
            "words": f"{self.words} ({self.per_cent})",
            "places": [
                {"at": p.name, "gap": p.gap, "u95": COVERAGE * p.u, "season": p.season}
                for p in self.places
            ],
        }


def chance(
    clearance: Clearance,
    part: PartUncertainty,
    size: tuple[float, float],
    seasons: Sequence[SeasonalGap],
    width_error: WidthError,
    corner_gap: float | None = None,
    squeeze: float = 0.0,
) -> Chance:
    """How likely a part goes into a pocket, and stays free in it.

    Parameters
    ----------
    size : (length, width) of the part as drawn, mm.
    corner_gap : the least gap that the cutter leaves at the corners; None where it reaches all.
    squeeze : mm per side that the part may be squeezed by.
    """
    places = [
        _axis(direction, clearance, part, drawn, seasons)
        for direction, drawn in zip(("length", "width"), size, strict=True)
    ]
    if corner_gap is not None:
        worst = max(places, key=lambda p: p.closes)
        u = math.hypot(part.edge, _CORNER_SHARE * part.corner_radius) / COVERAGE
        places.append(Place("corner", corner_gap - worst.closes, u, worst.closes, worst.season))
    return Chance(_probability(places, width_error, squeeze), tuple(places), width_error, squeeze)


def _axis(
    direction: str,
    clearance: Clearance,
    part: PartUncertainty,
    drawn: float,
    seasons: Sequence[SeasonalGap],
) -> Place:
    u = part.per_side(direction) / COVERAGE
    own = [gap for gap in seasons if gap.direction == direction]
    worst = max(own, key=lambda gap: gap.closes + gap.u95, default=None)
    closes = max(worst.closes, 0.0) if worst is not None else 0.0
    spread = worst.u95 / COVERAGE if worst is not None and closes > 0 else 0.0
    others = tuple(
        ((read.value - drawn) / 2, read.u / 2, (u / (read.u / 2)) ** 2 if read.u > 0 else 1e6)
        for read in contradicting(part, direction, drawn)
    )
    season = worst.season if worst is not None and closes > 0 else ""
    return Place(
        direction,
        clearance.along(direction) - closes,
        math.hypot(u, spread),
        closes,
        season,
        others,
    )


def _probability(places: Sequence[Place], error: WidthError, squeeze: float) -> float:
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES if error.u > 0 else 1)
    shifts = error.value + error.u * nodes + squeeze
    free = np.prod([_free(place, shifts) for place in places], axis=0)
    return float(free @ weights / weights.sum())


def _free(place: Place, shifts: NDArray[np.float64]) -> NDArray[np.float64]:
    """Probability that the part is free at one place, for each width error."""
    whole, total = _above(place.gap + shifts, place.u), 1.0
    for off, u, weight in place.others:
        whole = whole + weight * _above(place.gap + shifts - off, u)
        total += weight
    return np.asarray(whole / total)


def _above(gap: NDArray[np.float64], u: float) -> NDArray[np.float64]:
    from scipy.special import ndtr

    return np.asarray(ndtr(gap / u) if u > 0 else np.where(gap >= 0, 1.0, 0.0))


def chance_notices(found: Chance, machine: str = "") -> tuple[Notice, ...]:
    """A remark below 90 %, and below 50 % that this cannot be cut."""
    if found.probability >= DOUBTFUL:
        return ()
    worst = found.worst
    blocked = found.probability < BLOCKED
    at = "at a corner" if worst.name == "corner" else f"along the {worst.name}"
    when = f" on the {worst.season} day" if worst.season else ""
    return (
        Notice(
            "does-not-go-in" if blocked else "may-not-go-in",
            Sentence(
                f"the part {found.words}: the chance is {found.per_cent}, with a gap of {{}} per "
                f"side {at}{when} (U95 {{}})",
                length(worst.gap + found.width_error.value),
                length(COVERAGE * math.hypot(worst.u, found.width_error.u)),
            ),
            _mend(found, machine),
            "cannot be cut" if blocked else "check",
        ),
    )


def _mend(found: Chance, machine: str) -> Sentence:
    """The remedy for the largest share of the uncertainty."""
    worst = found.worst
    short = 1.3 * math.hypot(worst.u, found.width_error.u) - worst.gap - found.width_error.value
    more = length(max(STEP, math.ceil(short / STEP) * STEP))
    enlarge = "add {} of clearance per side"
    if worst.name == "corner":
        return Sentence(f"relieve the corners or use a thinner cutter, or {enlarge}", more)
    if worst.others:
        return Sentence.of(f"read the {worst.name} again: readings and outline disagree")
    enlarge += f" along the {worst.name}"
    if worst.closes > max(worst.u, found.width_error.u):
        return Sentence(f"{enlarge}, for what the season takes", more)
    if found.width_error.u > worst.u:
        named = machine.replace("{", "{{").replace("}", "}}")
        record = f"record three cuts of {named}" if machine else "name the machine and record cuts"
        return Sentence(f"cut a coupon first, {record}, or {enlarge}", more)
    return Sentence(f"read the {worst.name} more exactly, or {enlarge}", more)
