"""A thickness that cannot be right: the photos' sizes agree with the readings under another one.

The relief displacement grows with the thickness, so that a wrong one makes each photo show another
size, all of them wrong. A slip that brings every photo to what was read with tape and caliper says
more than a slip of the readings, which leaves the photos apart from each other.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from snugline.fit.adjustment.photo_sizes import SPAN_U_MM, PhotoSizes
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.reading_remarks import contradicted
from snugline.fit.readings.slips import FITS, Expected, Slip, likely_slips
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.place import OfPart

# Thicknesses of parts that are let into wood, mm. Common practice, no source.
THINNEST, THICKEST = 0.3, 120.0
MOST = 12  # slips of a thickness that are tried


@dataclass(frozen=True)
class OtherThickness:
    """The thickness that was probably meant, and a remark on the one that was read."""

    meant: float
    notice: Notice


def weigh_thickness(
    thickness: Thickness | None, sizes: Mapping[str, PhotoSizes], readings: Sequence[Reading]
) -> OtherThickness | None:
    """The thickness that the photos support, where the one that was read cannot be right."""
    if thickness is None or not _apart(sizes, readings, 0.0):
        return None
    reading = Reading("thickness", (thickness.value,), "caliper", OfPart("thickness"))
    slips = [
        _weighed(slip, _likelihood(sizes, readings, slip.meant - thickness.value))
        for slip in likely_slips(reading, Expected(None, 0.0, THINNEST, THICKEST), most=MOST)
        if not _apart(sizes, readings, slip.meant - thickness.value)
    ]
    if not slips:
        return None
    slips.sort(key=lambda slip: -slip.weight)
    shown = "with it photos and readings do not agree"
    told = contradicted(reading, thickness.value, shown, [], slips)
    return OtherThickness(slips[0].meant, told)


def _weighed(slip: Slip, likelihood: float) -> Slip:
    return replace(slip, weight=slip.weight * likelihood)


def _likelihood(
    sizes: Mapping[str, PhotoSizes], readings: Sequence[Reading], thicker: float
) -> float:
    """How well the spans of all photos meet the readings if the part is thicker by this."""
    square = 0.0
    for reading in readings:
        for span in sizes.get(reading.what, PhotoSizes()).spans:
            off = span.mm + thicker * span.by_thickness - reading.value
            square += off**2 / (SPAN_U_MM**2 + uncertainty(reading).u ** 2)
    return math.exp(-square / 2)


def _apart(
    sizes: Mapping[str, PhotoSizes], readings: Sequence[Reading], thicker: float
) -> list[Reading]:
    """Readings that the photos contradict if the part is thicker by this, or photos apart."""
    apart = []
    for reading in readings:
        size = sizes.get(reading.what)
        if size is None or not size.spans:
            continue
        expected, own = size.expected(thicker), uncertainty(reading).u
        spread = FITS * math.sqrt(2) * SPAN_U_MM
        if expected.off(reading.value, own) > FITS or size.spread(thicker) > spread:
            apart.append(reading)
    return apart
