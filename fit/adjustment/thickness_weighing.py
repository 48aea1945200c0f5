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
from snugline.fit.readings.reading_remarks import contradicted, remedy
from snugline.fit.readings.scatter import USUAL_MM
from snugline.fit.readings.slips import FITS, Expected, Slip, how_common, likely_slips
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.place import OfPart
from snugline.sentence import Sentence, length

# Thicknesses of parts that are let into wood, mm. Common practice, no source.
THINNEST, THICKEST = 0.3, 120.0
RARE = 0.05  # slips less common than this are rarer than those of a thickness
LITTLE = 0.05  # of a size; common practice, no source
SPREAD_MM = FITS * math.sqrt(2) * SPAN_U_MM  # photos farther apart contradict each other
MOST = 12  # slips of a thickness that are tried
# Outside of these, mm, few parts that are let into wood are. Common practice, no source.
USUALLY = (0.5, 40.0)
UNUSUAL = "thickness-unusual"
# Of views of an end, the share that must show both its sides for a thickness to be accepted.
MOST_ENDS = 0.5
EVENLY_MM = 10.0  # of thickness: then a view from 15 degrees aside moves an edge by 3 mm


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
    sizes_if: Callable[[float], Mapping[str, PhotoSizes]] | None = None,
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
    apart = _apart(sizes, readings, 0.0)
    if not apart or (len(apart) == 1 and not photos_apart and _by_itself(apart[0], sizes)):
        return None
    slips = []
    for slip in _possible(thickness):
        thicker = slip.meant - thickness.value
        # Small slips move the sides evenly; after gross ones the sides are looked for again.
        trial, more = sizes, thicker
        if sizes_if is not None and abs(thicker) > EVENLY_MM:
            trial, more = sizes_if(thicker), 0.0
        if shows_sides(trial) and not _apart(trial, readings, more):
            slips.append(_weighed(slip, _likelihood(trial, readings, more)))
    return _likeliest(thickness, slips)


def shows_sides(sizes: Mapping[str, PhotoSizes]) -> bool:
    """Whether any photo shows a dimension between both its sides."""
    return any(size.spans for size in sizes.values())


def _undone(
    thickness: Thickness,
    readings: Sequence[Reading],
    least: float,
    sizes_if: Callable[[float], Mapping[str, PhotoSizes]],
) -> OtherThickness | None:
    """A slip that, once undone, lets the photos show sides, and sides that agree with all else."""
    slips = []
    for slip in _possible(thickness):
        sizes = sizes_if(slip.meant - thickness.value)
        shown = max(len(size.spans) for size in sizes.values())
        if shown >= least and not _apart(sizes, readings, 0.0):
            slips.append(_weighed(slip, _likelihood(sizes, readings, 0.0)))
    return _likeliest(thickness, slips)


def _likeliest(thickness: Thickness, slips: list[Slip]) -> OtherThickness | None:
    if not slips:
        return None
    slips.sort(key=lambda slip: -slip.weight)
    shown = "with it photos and readings do not agree"
    told = contradicted(_read(thickness), thickness.value, shown, [], slips)
    return OtherThickness(slips[0].meant, told)


def _read(thickness: Thickness) -> Reading:
    return Reading("thickness", (thickness.value,), "caliper", OfPart("thickness"))


def _possible(thickness: Thickness) -> tuple[Slip, ...]:
    expected = Expected(None, 0.0, THINNEST, THICKEST, typical=USUAL_MM["thickness"])
    return likely_slips(_read(thickness), expected, most=MOST)


def meant_instead(thickness: Thickness, least: float) -> Slip | None:
    """The likeliest slip behind a thickness that must be at least `least` mm, if there is one."""
    least = max(least, USUALLY[0])
    return next((s for s in _possible(thickness) if least <= s.meant <= USUALLY[1]), None)


def unusual_thickness(thickness: Thickness | None, outline_found: bool) -> Notice | None:
    """A remark on a thickness that few parts have, where a slip leads to a usual one.

    Parameters
    ----------
    outline_found : whether the photos give an outline with it; if not, it cannot be right.
    """
    if thickness is None or USUALLY[0] <= thickness.value <= USUALLY[1]:
        return None
    slips = [slip for slip in _possible(thickness) if USUALLY[0] <= slip.meant <= USUALLY[1]]
    if not slips:
        return None
    reading = _read(thickness)
    if not outline_found:
        shown = "with it the photos give no outline"
        return contradicted(reading, thickness.value, shown, [], slips)
    return Notice(
        UNUSUAL,
        Sentence(
            "A thickness of {} is unusual for a part that is let into wood.",
            length(thickness.value),
        ),
        remedy("thickness", thickness.value, slips),
        "usable",
        reading.where,
    )


def _by_itself(reading: Reading, sizes: Mapping[str, PhotoSizes]) -> bool:
    """Whether a common slip of the reading alone, or a tape's hook, explains that it is off."""
    expected = sizes[reading.what].expected()
    off = abs(reading.value - (expected.value or reading.value))
    found = likely_slips(reading, expected)
    by_hook = tool_of(reading).kind in ("tape", "rule") and off < LITTLE * reading.value
    return by_hook or how_common(found) > RARE


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
