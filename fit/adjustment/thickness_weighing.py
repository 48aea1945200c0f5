"""A thickness that cannot be right: the photos' sizes agree with the readings under another one.

The relief displacement grows with the thickness, so that a wrong one makes each photo show another
size, all of them wrong. A slip that brings every photo to what was read with tape and caliper says
more than a slip of the readings, which leaves the photos apart from each other.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from snugline.fit.adjustment.photo_sizes import SPAN_U_MM, PhotoSizes
from snugline.fit.readings.reading import Reading, tool_of, uncertainty
from snugline.fit.readings.reading_remarks import contradicted
from snugline.fit.readings.scatter import USUAL_MM
from snugline.fit.readings.slips import FITS, HOOK_MM, Expected, Slip, how_common, likely_slips
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.place import OfPart

# Thicknesses of parts that are let into wood, mm. Common practice, no source.
THINNEST, THICKEST = 0.3, 120.0
RARE = 0.05  # slips less common than this are rarer than those of a thickness
LITTLE = 0.05  # of a size; common practice, no source
SPREAD_MM = FITS * math.sqrt(2) * SPAN_U_MM  # photos farther apart contradict each other
MOST = 12  # slips of a thickness that are tried
# Of views of an end, the share that must show both its sides for a thickness to be accepted.
MOST_ENDS = 0.5
EVENLY_MM = 10.0  # of thickness: then a view from 15 degrees aside moves an edge by 3 mm

# The photos' sizes, were the part thicker by some mm than they were traced with.
SizesIf = Callable[[float], Mapping[str, PhotoSizes]]


@dataclass(frozen=True)
class OtherThickness:
    """The thickness that was probably meant, and a remark on the one that was read."""

    meant: float
    notice: Notice


def weigh_thickness(
    thickness: Thickness | None,
    sizes: Mapping[str, PhotoSizes],
    readings: Sequence[Reading],
    ends: int = 0,
    sizes_if: SizesIf | None = None,
) -> OtherThickness | None:
    """The thickness that the photos support, where the one that was read cannot be right.

    Parameters
    ----------
    ends : views that should show the width between both its sides.
    sizes_if : the photos' sizes, were the part thicker by that many mm. A gross slip bends the
        contours so far that no two sides are found in them until it is undone.
    """
    if thickness is None:
        return None
    if ends and sizes_if is not None and not shows_sides(sizes):
        return _undone(thickness, readings, MOST_ENDS * ends, sizes_if)
    # One reading off while the photos agree with each other is a slip of that reading, if only a
    # slip explains it or it is off by little.
    photos_apart = any(size.spread() > SPREAD_MM for size in sizes.values())
    apart = _apart(sizes, 0.0, readings)
    if not apart or (len(apart) == 1 and not photos_apart and _by_itself(apart[0], sizes)):
        return None
    slips = []
    for slip in possible(thickness):
        trials = _undoing(slip.meant - thickness.value, sizes, sizes_if)
        agree = [_square(*trial, readings) for trial in trials if not _apart(*trial, readings)]
        if agree:
            slips.append((slip, min(agree)))
    return _likeliest(thickness, slips)


def _undoing(
    thicker: float, sizes: Mapping[str, PhotoSizes], sizes_if: SizesIf | None
) -> list[tuple[Mapping[str, PhotoSizes], float]]:
    """The photos' sizes once the part is thicker by this, with what is to be added to thickness.

    A slip moves the sides evenly; after a gross one they may have to be looked for again.
    """
    trials = [(sizes, thicker)]
    if sizes_if is not None and abs(thicker) > EVENLY_MM:
        trials.append((sizes_if(thicker), 0.0))
    return [trial for trial in trials if shows_sides(trial[0])]


def shows_sides(sizes: Mapping[str, PhotoSizes]) -> bool:
    """Whether any photo shows a dimension between both its sides."""
    return any(size.spans for size in sizes.values())


def _undone(
    thickness: Thickness,
    readings: Sequence[Reading],
    least: float,
    sizes_if: SizesIf,
) -> OtherThickness | None:
    """A slip that, once undone, lets the photos show sides, and these agree with what was read."""
    slips = []
    read = {reading.what for reading in readings if reading.what in ("length", "width")}
    found = sizes_if(0.0)
    for slip in possible(thickness):
        thicker = slip.meant - thickness.value
        sizes, more = sizes_if(thicker), 0.0
        if any(_brought_together(found[of], thicker) for of in read):
            sizes, more = found, thicker
        shown = max(len(sizes[of].spans) for of in read) if read else 0
        if shown >= least and shown and not _apart(sizes, more, readings):
            slips.append((slip, _square(sizes, more, readings)))
    return _likeliest(thickness, slips)


def _brought_together(size: PhotoSizes, thicker: float) -> bool:
    """Whether photos that are apart agree once the part is thicker: no tapered part does that."""
    return size.spread() > 2 * SPAN_U_MM and size.spread(thicker) < SPAN_U_MM


def _likeliest(thickness: Thickness, found: Sequence[tuple[Slip, float]]) -> OtherThickness | None:
    if not found:
        return None
    slips = _by_likelihood(found)
    shown = "with it photos and readings do not agree"
    told = contradicted(as_reading(thickness), thickness.value, shown, [], slips)
    return OtherThickness(slips[0].meant, told)


def as_reading(thickness: Thickness) -> Reading:
    """The thickness as one reading, for what is said of it."""
    return Reading("thickness", (thickness.value,), "caliper", OfPart("thickness"))


def possible(thickness: Thickness) -> tuple[Slip, ...]:
    """What may have been meant instead, before any photo is asked; the likeliest first."""
    expected = Expected(None, 0.0, THINNEST, THICKEST, typical=USUAL_MM["thickness"])
    return likely_slips(as_reading(thickness), expected, most=MOST)


def _by_itself(reading: Reading, sizes: Mapping[str, PhotoSizes]) -> bool:
    """Whether a common slip of the reading alone, or a tape's hook, explains that it is off."""
    expected = sizes[reading.what].expected()
    off = abs(reading.value - (expected.value or reading.value))
    found = likely_slips(reading, expected)
    little = max(LITTLE * reading.value, 2 * HOOK_MM)
    by_hook = tool_of(reading).kind in ("tape", "rule") and off < little
    return by_hook or how_common(found) > RARE


def by_photos(
    slips: Sequence[Slip], traced: float, readings: Sequence[Reading], sizes_if: SizesIf
) -> list[Slip]:
    """Slips weighed by how well photos and readings agree if each is undone; the likeliest first.

    Parameters
    ----------
    traced : mm, the thickness that the photos were traced with.
    """
    sizes = sizes_if(0.0)
    found = []
    for slip in slips:
        trials = _undoing(slip.meant - traced, sizes, sizes_if)
        if trials:
            found.append((slip, min(_square(*trial, readings) for trial in trials)))
    return _by_likelihood(found or [(slip, 0.0) for slip in slips])


def _by_likelihood(found: Sequence[tuple[Slip, float]]) -> list[Slip]:
    """Slips by prior and likelihood, from the sums of squares that go with them."""
    least = min((square for _, square in found), default=0.0)
    weighed = [
        replace(slip, weight=slip.weight * math.exp((least - square) / 2)) for slip, square in found
    ]
    return sorted(weighed, key=lambda slip: -slip.weight)


def _square(sizes: Mapping[str, PhotoSizes], thicker: float, readings: Sequence[Reading]) -> float:
    """How far the photos' spans are from the readings, or from each other where nothing was read.

    A sum of squares in units of their standard uncertainties, the part being thicker by this.
    """
    total = 0.0
    for of, size in sizes.items():
        mm = [span.mm + thicker * span.by_thickness for span in size.spans]
        read = [reading for reading in readings if reading.what == of]
        for reading in read:
            u = math.hypot(SPAN_U_MM, uncertainty(reading).u)
            total += sum(((one - reading.value) / u) ** 2 for one in mm)
        if mm and not read:
            total += sum(((one - sum(mm) / len(mm)) / SPAN_U_MM) ** 2 for one in mm)
    return total


def _apart(
    sizes: Mapping[str, PhotoSizes], thicker: float, readings: Sequence[Reading]
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
