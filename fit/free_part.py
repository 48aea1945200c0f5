"""A part of no family: its free outline, and what its readings say to that."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.thickness_weighing import RARE, as_reading, possible
from snugline.fit.geometry.outline import Outline
from snugline.fit.odd_direction import odd_directions
from snugline.fit.outline_doubts import (
    apart_from_readings,
    lonely_readings,
    loosely_tied,
    rejected_by_points,
)
from snugline.fit.readings.part_unknowns import part_uncertainties
from snugline.fit.readings.reading import Reading, combined, uncertainty
from snugline.fit.readings.reading_remarks import contradicted
from snugline.fit.readings.slips import FITS, Expected, how_common, likely_slips
from snugline.fit.readings.thickness import Thickness
from snugline.fit.result import FittedOutline, SectionResult
from snugline.fit.section import Section
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.notice import Notice
from snugline.sentence import length

if TYPE_CHECKING:
    from snugline.fit.free.free_result import FreeFit

Array = NDArray[np.float64]

# What a free outline's extent is good to where slips are sought that meet it.
CONTOUR_U_MM = 0.5
AT_THE_END_MM = 3.0  # points that an extent reaches to


def fit_free_part(
    sections: Sequence[Section],
    readings: Sequence[Reading],
    symmetry: Symmetry,
    thickness: Thickness | None,
) -> FittedOutline:
    """An outline of lines and arcs that belongs to no family."""
    from snugline.fit.free.free_outline import fit_free

    read = {}
    for what in ("length", "width"):
        found = combined(readings, what)
        if found is not None:
            read[what] = (found.value, found.u)
    part_u = part_uncertainties(thickness)
    free = fit_free([_by_one_u(section, part_u) for section in sections], read, symmetry)
    results = tuple(
        SectionResult(
            section.name,
            pose,
            section.as_given(points),
            section.as_given(residuals),
            section.as_given(kept),
        )
        for section, pose, points, residuals, kept in zip(
            sections, free.poses, free.points, free.residuals, free.kept, strict=True
        )
    )
    sizes = {"length": free.length, "width": free.width}
    wrong = _contradicted(readings, free.contradicted, free.outline, read)
    thick = _thickness_instead(sections, free, readings, thickness)
    if thick is not None:
        wrong = [thick]
    believed = [r for r in readings if r.what not in free.contradicted]
    placing = _placing(sections, readings)
    if not wrong:
        wrong += odd_directions(free.outline, believed, [of for of in sizes if of not in placing])
    apart = apart_from_readings(sizes, believed)
    apart += loosely_tied(sizes) if len(sections) > 1 else ()
    return FittedOutline(
        family="free",
        length=free.length,
        width=free.width,
        corners=(),
        outline=free.outline,
        residual_rms=free.residual_rms,
        residual_max=free.residual_max,
        sections=results,
        extras={},
        thickness=thickness,
        budgets=(),
        notices=(
            *free.notices,
            *wrong,
            *rejected_by_points(results, [s.as_given(s.noise) for s in sections]),
            *(apart or lonely_readings(readings, placing)),
        ),
    )


def expected_by_hand(outline: Outline, of: str) -> Expected:
    """An extent of a free outline in part axes, in any direction that a hand may have meant."""
    from snugline.fit.free.part_axes import reach_range

    low, high = reach_range(outline, math.pi / 2 if of == "width" else 0.0)
    return Expected((low + high) / 2, math.hypot(CONTOUR_U_MM, (high - low) / math.sqrt(12)))


def _by_one_u(section: Section, part_u: Mapping[str, float]) -> Section:
    moved = {of: by * part_u.get(of, 0.0) for of, by in section.sensitivity.items()}
    return replace(section, sensitivity=moved)


def _contradicted(
    readings: Sequence[Reading],
    found: Mapping[str, float],
    outline: Outline,
    read: Mapping[str, tuple[float, float]],
) -> list[Notice]:
    """Readings that the contours of a free outline contradict."""
    typed = {of: value for of, (value, _) in read.items()}
    return [
        contradicted(
            reading,
            reading.value,
            "the photos show {}",
            [length(found[reading.what])],
            likely_slips(
                reading,
                expected_by_hand(outline, reading.what),
                typed=typed,
            ),
        )
        for reading in readings
        if reading.what in found
    ]


def _thickness_instead(
    sections: Sequence[Section],
    free: "FreeFit",
    readings: Sequence[Reading],
    thickness: Thickness | None,
) -> Notice | None:
    """A slip of the thickness, where it explains the one reading that is contradicted better.

    A thickness moves the edges that lean towards the camera, and so the outline's extent.
    """
    if thickness is None or len(free.contradicted) != 1:
        return None
    ((of, value),) = free.contradicted.items()
    reading = next(reading for reading in readings if reading.what == of)
    slips = likely_slips(reading, expected_by_hand(free.outline, of))
    if how_common(slips) > RARE or any(slip.kind == "hook" for slip in slips):
        return None
    by_thickness = _extent_by_thickness(sections, free, of)
    u = math.hypot(CONTOUR_U_MM, uncertainty(reading).u)
    found = []
    for slip in possible(thickness):
        moved = value + (slip.meant - thickness.value) * by_thickness
        off = abs(moved - reading.value) / u
        if off <= FITS:
            found.append(replace(slip, weight=slip.weight * math.exp(-(off**2) / 2)))
    if not found:
        return None
    found.sort(key=lambda slip: -slip.weight)
    shown = "with it photos and readings do not agree"
    return contradicted(as_reading(thickness), thickness.value, shown, [], found)


def _extent_by_thickness(sections: Sequence[Section], free: "FreeFit", of: str) -> float:
    """What a millimetre of thickness adds to an extent of the outline, mm."""
    axis = ("length", "width").index(of)
    at = np.concatenate([points[:, axis] for points in free.points])
    none = np.zeros(0)
    by = np.concatenate([s.sensitivity.get("thickness", none) for s in sections])
    if len(by) != len(at):
        return 0.0
    ends = (at > at.max() - AT_THE_END_MM, at < at.min() + AT_THE_END_MM)
    return sum(float(np.median(by[end])) for end in ends)


def _placing(sections: Sequence[Section], readings: Sequence[Reading]) -> list[str]:
    """The length where it alone says how far apart several photos lie."""
    return ["length"] if len(sections) > 1 and any(r.what == "length" for r in readings) else []
