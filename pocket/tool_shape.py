"""Cutters that are not plain cylinders: tapered ones, and those with a rounded corner.

Drawings are for the width at the floor. A tapered cutter is wider above it, so that the pocket is;
a rounded corner leaves a fillet round the floor that lifts a part with a sharp lower edge.
"""

import math
from dataclasses import dataclass

from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.clearance import Clearance
from snugline.sentence import Sentence, angle, length

_FELT = 0.1  # mm; a part that projects by less is not noticed (common practice, no source)


@dataclass(frozen=True)
class Cutter:
    """The cutter, mm and radians.

    Attributes
    ----------
    diameter : at its tip, measured where its corner's rounding ends.
    length : of its cutting edge; None where not known.
    taper : of its side, widening upwards.
    corner : radius of its lower corner; half the diameter for a ball nose.
    """

    diameter: float
    length: float | None = None
    taper: float = 0.0
    corner: float = 0.0

    def lifts(self, gap: float) -> float:
        """How far the fillet lifts a part with a sharp lower edge at that gap per side, mm."""
        if gap >= self.corner:
            return 0.0
        return self.corner - math.sqrt(self.corner**2 - (self.corner - max(gap, 0.0)) ** 2)


def tool_notices(cutter: Cutter, depth: float, clearance: Clearance) -> tuple[Notice, ...]:
    """What a tapered or rounded cutter does to the pocket and the part."""
    notices = []
    about = OfKey(("pocket", "cutter"))
    if cutter.taper > 0:
        wider = math.tan(cutter.taper) * depth
        notices.append(
            Notice(
                "tapered-walls",
                Sentence(
                    "the cutter's taper of {} leaves the pocket {} wider per side at the face than "
                    "at the floor, where it has the drawn width",
                    angle(math.degrees(cutter.taper), 1),
                    length(wider),
                ),
                Sentence(
                    "tell your CAM program a width of {}, which the cutter has at its tip",
                    length(cutter.diameter),
                ),
                "note",
                about,
            )
        )
    lift = cutter.lifts(clearance.least)
    if lift > _FELT:
        notices.append(
            Notice(
                "fillet-lifts-part",
                Sentence(
                    "the cutter's corner of {} leaves a fillet round the floor: a part with a "
                    "sharp lower edge stands {} higher",
                    length(cutter.corner),
                    length(lift),
                ),
                "use a cutter with a sharp corner for the last pass along the wall, or round the "
                "part's lower edge",
                "check",
                about,
            )
        )
    return tuple(notices)
