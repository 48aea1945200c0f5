"""Kinds of part, the gaps they are given, and how a fit feels at the bench.

All figures are common practice with no source, and are offered as such: they start a shop off
until its own records know better.
"""

from dataclasses import dataclass
from typing import Literal

from snugline.errors import InputError

Verdict = Literal["no-go", "tight", "snug", "loose"]
VERDICTS: tuple[Verdict, ...] = ("no-go", "tight", "snug", "loose")
COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Fit:
    """Gaps per side, in mm, between which a part of one kind is felt to fit.

    Attributes
    ----------
    enters : below it the part does not go in.
    low, high : between them it is snug; below tight, above loose. They are also the clearance
        offered to start with.
    rigid : whether the part cannot give way.
    """

    enters: float
    low: float
    high: float
    rigid: bool

    def limits(self, verdict: Verdict) -> tuple[float, float]:
        """Least and greatest gap per side behind a verdict."""
        edges = (float("-inf"), self.enters, self.low, self.high, float("inf"))
        place = VERDICTS.index(verdict)
        return edges[place], edges[place + 1]


FITS: dict[str, Fit] = {
    "soft": Fit(-0.25, 0.0, 0.25, rigid=False),  # silicone, cork, felt: gives way
    "firm": Fit(0.0, 0.25, 0.5, rigid=True),
    "brittle": Fit(0.0, 0.3, 0.6, rigid=True),  # stone, glass, tile: must never be pressed
    "metal": Fit(0.0, 0.15, 0.35, rigid=True),
}


def fit_of(kind: str, where: str = "kind") -> Fit:
    """The fit of a kind of part."""
    try:
        return FITS[kind]
    except KeyError:
        raise InputError(
            f"{kind!r} is no kind of part", where, f"use one of: {', '.join(FITS)}"
        ) from None


def verdict_of(word: str, where: str = "verdict") -> Verdict:
    """A verdict as written."""
    for verdict in VERDICTS:
        if word == verdict:
            return verdict
    raise InputError(f"{word!r} is no verdict", where, f"use one of: {', '.join(VERDICTS)}")
