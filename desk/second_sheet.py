"""What a second sheet under the part's other end would make of the length.

Where every photo shows one end only, the length is what tape and rule say. With two sheets in the
same photos it is measured as the width is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from snugline.fit.readings.uncertainty_budget import coverage_factor
from snugline.fit.result import FittedOutline
from snugline.trace.contour import Contour

_WORTH = 0.7  # of the U95 now: less is not worth printing another sheet


@dataclass(frozen=True)
class SecondSheet:
    """U95 of the length as it is, and as it would be, mm."""

    length: float
    u95: float
    then: float


def second_sheet(fitted: FittedOutline, contours: Sequence[Contour]) -> SecondSheet | None:
    """The gain for a job with one sheet; None where it is not worth it.

    Three things would remain: the print's scale over the whole length, where the two sheets lie to
    one another (each as well as the camera predicts markers that were kept out), and the place of
    the edge at both ends, which each photo has in common.

    Parameters
    ----------
    contours : one for each photo; a closed one shows the whole part, and no end is missing.
    """
    if not contours or any(contour.outer.closed for contour in contours):
        return None
    count = len(contours)
    along = math.fsum(contour.common.scale_x for contour in contours) / count
    held_out = [contour.photo.holdout_mm for contour in contours if contour.photo.holdout_mm]
    if not held_out:
        return None
    offset = math.sqrt(math.fsum(c.common.offset**2 for c in contours) / count)
    u = math.hypot(
        fitted.length.value * along,
        math.sqrt(2) * max(held_out),
        2 * offset / math.sqrt(count),
    )
    then = coverage_factor(math.inf) * u
    if then > _WORTH * fitted.length.u95:
        return None
    return SecondSheet(fitted.length.value, fitted.length.u95, then)
