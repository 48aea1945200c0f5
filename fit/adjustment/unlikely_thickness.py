"""A thickness that hardly any part has: what photos are traced with then, and what is said of it.

A thickness far from the true one bends the contours out of shape, so that they no longer tell one
slip from another. So such a thickness is not traced with: the one that was probably meant is, and
then the photos decide which slip it was.
"""

import math
from collections.abc import Callable, Sequence

from snugline.fit.adjustment.thickness_weighing import (
    THICKEST,
    OtherThickness,
    SizesIf,
    as_reading,
    by_photos,
    possible,
    shows_sides,
)
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.reading_remarks import contradicted, remedy
from snugline.fit.readings.slips import FITS, Slip
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.sentence import Sentence, length

# Outside of these, mm, few parts that are let into wood are. Common practice, no source.
USUALLY = (0.5, 40.0)
UNUSUAL = "thickness-unusual"
# Of a slip against the value as read: as where that is `FITS` standard uncertainties off.
SURE_ODDS = math.exp(FITS**2 / 2)


def traced_with(thickness: Thickness, least: float = 0.0) -> float:
    """The thickness that photos are traced with, mm: as read, or as probably meant.

    A thickness that few parts have counts where it was read more than once.

    Parameters
    ----------
    least : mm that the stated top edge takes up.
    """
    twice = thickness.readings > 1 and thickness.value <= THICKEST
    if least <= thickness.value and (thickness.value <= USUALLY[1] or twice):
        return thickness.value
    slips = _usual(thickness, least)
    return slips[0].meant if slips else thickness.value


def beyond_belief(thickness: Thickness, least: float = 0.0) -> Notice | None:
    """What is said before any photo is looked at of a thickness that is not traced with."""
    traced = traced_with(thickness, least)
    if traced == thickness.value:
        return None
    return _told(thickness, traced, _usual(thickness, least))


def untraced(
    thickness: Thickness, traced: float, readings: Sequence[Reading], sizes_if: SizesIf
) -> OtherThickness:
    """What is said, with the photos at hand, of a thickness that they were not traced with.

    Parameters
    ----------
    traced : mm, what `traced_with` gave.
    sizes_if : the photos' sizes, were the part thicker by that many mm than `traced`.
    """
    slips = _usual(thickness)
    as_read = Slip("as-read", "", thickness.value, max(slip.weight for slip in slips))
    if USUALLY[1] < thickness.value <= THICKEST and shows_sides(sizes_if(0.0)):
        if by_photos([*slips, as_read], traced, readings, sizes_if)[0].kind == as_read.kind:
            return OtherThickness(thickness.value, _unusual(thickness, (), "retake"))
        slips = by_photos(slips, traced, readings, sizes_if)
        shown = "with it photos and readings do not agree"
        told = contradicted(as_reading(thickness), thickness.value, shown, [], slips)
        return OtherThickness(slips[0].meant, told)
    slips = by_photos(slips, traced, readings, sizes_if)
    return OtherThickness(slips[0].meant, _told(thickness, traced, slips))


def _told(thickness: Thickness, traced: float, slips: Sequence[Slip]) -> Notice:
    if USUALLY[1] < thickness.value <= THICKEST:
        return _unusual(thickness, slips, "retake")
    shown = (
        "the stated top edge alone is higher"
        if thickness.value < traced
        else "nothing so thick is let into wood"
    )
    return contradicted(as_reading(thickness), thickness.value, shown, [], slips)


def unusual_thickness(
    thickness: Thickness | None,
    outline_found: bool,
    weighed: Callable[[Sequence[Slip]], list[Slip]] = list,
) -> Notice | None:
    """A remark on a thickness that few parts have, where a slip leads to a usual one.

    Parameters
    ----------
    outline_found : whether the photos give an outline with it; if not, it cannot be right.
    weighed : slips as the photos weigh them.
    """
    if thickness is None or USUALLY[0] <= thickness.value <= USUALLY[1]:
        return None
    slips = weighed(_usual(thickness))
    if not slips:
        return None
    if not outline_found:
        shown = "with it the photos give no outline"
        return contradicted(as_reading(thickness), thickness.value, shown, [], slips)
    return _unusual(thickness, slips, "usable")


def photos_say_otherwise(
    thickness: Thickness, weighed: Callable[[Sequence[Slip]], list[Slip]]
) -> OtherThickness | None:
    """A slip that photos and readings agree with rather than with a thickness that few parts have.

    Where they agree far better, the thickness cannot be right. Where they only rather do, it counts
    once it was read twice.
    """
    slips = _usual(thickness)
    if USUALLY[0] <= thickness.value <= USUALLY[1] or not slips:
        return None
    as_read = Slip("as-read", "", thickness.value, slips[0].weight)
    slips = weighed([*slips, as_read])
    weight = next((slip.weight for slip in slips if slip.kind == as_read.kind), 0.0)
    others = [slip for slip in slips if slip.kind != as_read.kind]
    if others and others[0].weight > SURE_ODDS * weight:
        shown = "with it photos and readings do not agree"
        told = contradicted(as_reading(thickness), thickness.value, shown, [], others)
        return OtherThickness(others[0].meant, told)
    if thickness.readings == 1 and others and others[0].weight > weight:
        return OtherThickness(others[0].meant, _unusual(thickness, others, "retake"))
    return None


def _usual(thickness: Thickness, least: float = 0.0) -> list[Slip]:
    """Slips that lead to a thickness that parts usually have."""
    low = max(least, USUALLY[0])
    return [slip for slip in possible(thickness) if low <= slip.meant <= USUALLY[1]]


def _unusual(thickness: Thickness, slips: Sequence[Slip], severity: str) -> Notice:
    return Notice(
        UNUSUAL,
        Sentence(
            "A thickness of {} is unusual for a part that is let into wood.",
            length(thickness.value),
        ),
        remedy("thickness", thickness.value, slips),
        severity,  # type: ignore[arg-type]
        as_reading(thickness).where,
    )
