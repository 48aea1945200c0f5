"""A part of no family: its free outline, and what its readings say to that."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.outline_doubts import (
    apart_from_readings,
    lonely_readings,
    loosely_tied,
    rejected_by_points,
)
from snugline.fit.readings.part_unknowns import part_uncertainties
from snugline.fit.readings.reading import Reading, combined
from snugline.fit.readings.reading_remarks import contradicted
from snugline.fit.readings.slips import Expected, likely_slips
from snugline.fit.readings.thickness import Thickness
from snugline.fit.result import FittedOutline, SectionResult
from snugline.fit.section import Section
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.notice import Notice
from snugline.sentence import length

Array = NDArray[np.float64]

# What a free outline's extent is good to where slips are sought that meet it.
CONTOUR_U_MM = 0.5


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
    believed = [r for r in readings if r.what not in free.contradicted]
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
            *_contradicted(readings, free.contradicted, read),
            *rejected_by_points(results, [s.as_given(s.noise) for s in sections]),
            *(apart or lonely_readings(readings, _placing(sections, readings))),
        ),
    )


def _by_one_u(section: Section, part_u: Mapping[str, float]) -> Section:
    moved = {of: by * part_u.get(of, 0.0) for of, by in section.sensitivity.items()}
    return replace(section, sensitivity=moved)


def _contradicted(
    readings: Sequence[Reading],
    found: Mapping[str, tuple[float, float]],
    read: Mapping[str, tuple[float, float]],
) -> list[Notice]:
    """Readings that the contours of a free outline contradict."""
    typed = {of: value for of, (value, _) in read.items()}
    return [
        contradicted(
            reading,
            reading.value,
            "the photos show {}",
            [length(found[reading.what][0])],
            likely_slips(
                reading,
                Expected(found[reading.what][0], math.hypot(CONTOUR_U_MM, found[reading.what][1])),
                typed=typed,
            ),
        )
        for reading in readings
        if reading.what in found
    ]


def _placing(sections: Sequence[Section], readings: Sequence[Reading]) -> list[str]:
    """The length where it alone says how far apart several photos lie."""
    return ["length"] if len(sections) > 1 and any(r.what == "length" for r in readings) else []
