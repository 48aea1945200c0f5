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
LITTLE = 0.05  # of a size; common practice, no source
SPREAD_MM = FITS * math.sqrt(2) * SPAN_U_MM  # photos farther apart contradict each other
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
    if thickness is None:
        return None
    # One reading off while the photos agree with each other is a slip of that reading, if only a
    # slip explains it or it is off by little.
    photos_apart = any(size.spread() > SPREAD_MM for size in sizes.values())
    apart = _apart(sizes, readings, 0.0)
    if not apart or (len(apart) == 1 and not photos_apart and _by_itself(apart[0], sizes)):
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


def _by_itself(reading: Reading, sizes: Mapping[str, PhotoSizes]) -> bool:
    """Whether a slip of the reading alone, or a little inattention, explains that it is off."""
    expected = sizes[reading.what].expected()
    off = abs(reading.value - (expected.value or reading.value))
    found = likely_slips(reading, expected)
    return off < LITTLE * reading.value or any(slip.kind != "hook" for slip in found)


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
        if expected.off(reading.value, own) > FITS or size.spread(thicker) > SPREAD_MM:
            apart.append(reading)
    return apart
