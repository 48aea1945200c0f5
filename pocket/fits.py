"""Kinds of part, the clearances they are given, and how a fit feels.

All figures are common practice with no source, and are offered as such: they start a shop off
until its own records know better.
"""

from dataclasses import dataclass
from typing import Literal

from snugline.errors import InputError

Verdict = Literal["does not enter", "tight", "snug", "loose"]
VERDICTS: tuple[Verdict, ...] = ("does not enter", "tight", "snug", "loose")
COMMON_PRACTICE = "common practice, no source"

_FORMER = {"no-go": "does not enter"}  # as written in records up to version 0.1


@dataclass(frozen=True)
class Fit:
    """Gaps per side, in mm, between which a part of one kind is felt to fit.

    Attributes
    ----------
    enters : below it the part does not go in.
    snug, loose : from here on it is snug, from here on loose.
    low, high : the clearance offered to start with.
    squeeze : by how much per side the part may be squeezed; 0 for a rigid one.
    """

    enters: float
    snug: float
    loose: float
    low: float
    high: float
    squeeze: float = 0.0

    @property
    def rigid(self) -> bool:
        return self.squeeze == 0.0

    @property
    def edges(self) -> tuple[float, float, float]:
        return self.enters, self.snug, self.loose


FITS: dict[str, Fit] = {
    "soft": Fit(-0.25, -0.1, 0.1, -0.1, 0.0, 0.1),  # silicone, cork, felt: gives way
    "firm": Fit(0.0, 0.1, 0.25, 0.1, 0.25),
    "brittle": Fit(0.0, 0.1, 0.25, 0.25, 0.5),  # stone, glass, tile: must never be pressed
    "metal": Fit(0.0, 0.1, 0.25, 0.1, 0.25),
}


def fit_of(kind: str, where: str = "kind") -> Fit:
    """The fit of a kind of part."""
    try:
        return FITS[kind]
    except KeyError:
        raise InputError(
            f"{kind!r} is not a kind of part", where, f"use one of: {', '.join(FITS)}"
        ) from None


def verdict_of(word: str, where: str = "verdict") -> Verdict:
    """A verdict as written, now or in older records."""
    for verdict in VERDICTS:
        if verdict == _FORMER.get(word, word):
            return verdict
    raise InputError(f"{word!r} is not a verdict", where, f"use one of: {', '.join(VERDICTS)}")
