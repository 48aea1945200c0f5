"""One cut on record: what was drawn, in what, with what, and how the part fitted."""

import re
from dataclasses import dataclass

from snugline.pocket.fits import Verdict
from snugline.pocket.species import known_name


@dataclass(frozen=True)
class Cut:
    """One cut and what came of it; lengths in mm.

    Attributes
    ----------
    clearance : gap per side as drawn, along the length.
    verdict : `does not enter`, `tight`, `snug` or `loose`.
    wood, machine : as the shop calls them.
    cutter : diameter; 0 when not known.
    kind : of part: `soft`, `firm`, `brittle`, `metal`.
    part : the part tried; cuts for one part share what its outline is off by.
    part_u : standard uncertainty of that part's width, per side.
    opening_error : the opening as measured less as drawn, per side; None when not measured.
    on : the day, ISO 8601.
    clearance_width : the gap drawn along the width; None where it is the length's.
    length_u : standard uncertainty of the part's length, per side; None where it is the width's.
    """

    clearance: float
    verdict: Verdict
    wood: str
    machine: str
    cutter: float = 0.0
    kind: str = "firm"
    part: str = ""
    part_u: float = 0.0
    opening_error: float | None = None
    on: str = ""
    clearance_width: float | None = None
    length_u: float | None = None

    @property
    def along_length(self) -> tuple[float, float]:
        """Gap drawn and the part's standard uncertainty along the length, per side."""
        return self.clearance, self.part_u if self.length_u is None else self.length_u

    @property
    def along_width(self) -> tuple[float, float]:
        """The same along the width."""
        gap = self.clearance if self.clearance_width is None else self.clearance_width
        return gap, self.part_u


def same_name(name: str) -> str:
    """What names have alike that mean one thing: no case, no commas, no order of words.

    >>> same_name("Walnut, black") == same_name("black walnut") == same_name("walnut")
    True
    """
    known = known_name(name)
    return known or " ".join(sorted(re.findall(r"[\w.]+", name.casefold())))
