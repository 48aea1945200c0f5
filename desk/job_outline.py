"""From a job's contours and readings to its outline and its likely nominal sizes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.desk.job import Job, LeaveOutTable
from snugline.desk.snapping import snapped
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.nominal_size import (
    Dimension,
    NominalSet,
    nominal_candidates,
    parse_listed,
)
from snugline.fit.result import FittedOutline
from snugline.fit.section import Section, Systematic
from snugline.trace.contour import Contour


@dataclass(frozen=True)
class Fitting:
    """A job's outline with its likely nominal sizes."""

    fitted: FittedOutline
    nominal: tuple[NominalSet, ...]


def fit_job(job: Job, contours: Sequence[Contour], joined: Contour | None = None) -> Fitting:
    """Fit the outline of a job.

    Parameters
    ----------
    contours : one for each of the job's photos.
    joined : the one contour of all photos, where several frames lie under the part.

    Raises
    ------
    FitError : contours and readings determine no outline.
    """
    if joined is not None:
        shows = "whole" if joined.outer.closed else "section"
        whole = replace(section_of(joined, shows), name="all photos")
        sections = [without(whole, job.leave_out)]
    else:
        sections = [
            without(
                section_of(contour, table.shows),
                [one for one in job.leave_out if one.photo == str(table.file)],
            )
            for contour, table in zip(contours, job.photo, strict=True)
        ]
    part = job.part
    fitted = fit_outline(
        sections,
        job.readings,
        part.family,
        part.symmetry,
        listed=_listed_size(part.listed),
        thickness=part.thickness,
    )
    nominal = nominal_sizes(fitted, part.listed)
    if part.snap or part.drawn.sizes():
        fitted = snapped(
            fitted,
            nominal if part.snap else (),
            sections,
            job.readings,
            part.symmetry,
            accepted=part.drawn.sizes(),
        )
    return Fitting(fitted, nominal)


def section_of(contour: Contour, shows: str) -> Section:
    """A contour as the fit takes it; sections with the same sheet's name share a print.

    What a contour's points have in common enters as such, and only the rest as their noise.
    """
    return Section(
        name=contour.photo.file,
        shows=shows,
        points=contour.outer.points,
        sigma=contour.outer.noise,
        closed=contour.outer.closed,
        breaks=contour.outer.breaks,
        systematic=Systematic(
            contour.common.offset,
            contour.common.scale_x,
            contour.common.scale_y,
            scale_group=contour.frame,
        ),
    )


def left_out(points: NDArray[np.float64], tables: Sequence[LeaveOutTable]) -> NDArray[np.bool_]:
    """(N,) which of (N, 2) measured points, mm in the frame's axes, the job leaves out."""
    out = np.zeros(len(points), dtype=bool)
    for table in tables:
        out |= np.hypot(*(points - np.array(table.at)).T) <= table.within
    return out


def kept_points(section: Section, tables: Sequence[LeaveOutTable]) -> NDArray[np.intp]:
    """Which points of a section stay, in their new order.

    A gap cannot be marked across the seam of a closed curve, so the seam moves away from it.
    """
    out = left_out(section.points, tables)
    order = np.arange(len(out))
    if section.closed and (out[:1].any() or out[-1:].any()):
        joined = np.flatnonzero(~out & ~np.roll(out, 1))
        order = np.roll(order, -int(joined[0])) if len(joined) else order
    return order[~out[order]]


def without(section: Section, tables: Sequence[LeaveOutTable]) -> Section:
    """The section less the points that the job leaves out; a gap stays where they were."""
    kept = kept_points(section, tables)
    if len(kept) == len(section.points):
        return section
    before = np.zeros(len(section.points), dtype=bool)
    before[list(section.breaks)] = True
    gaps = before[kept]
    gaps[1:] |= (np.diff(kept) != 1) & (np.diff(kept) != 1 - len(before))
    return replace(
        section,
        points=section.points[kept],
        sigma=section.sigma[kept],
        breaks=tuple(int(i) for i in np.flatnonzero(gaps) if i > 0),
    )


def nominal_sizes(fitted: FittedOutline, listed: str | None) -> tuple[NominalSet, ...]:
    """Likely nominal sizes of length, width and each distinct corner size."""
    dimensions = {"length": fitted.length, "width": fitted.width}
    for corner in fitted.corners:
        for name, quantity in corner.params.items():
            if name in ("radius", "leg") and quantity not in dimensions.values():
                known = f"corner {name}" in dimensions
                dimensions[f"{corner.at} {name}" if known else f"corner {name}"] = quantity
    given = [Dimension(of, q.value, q.u95) for of, q in dimensions.items()]
    return nominal_candidates(given, (listed,) if listed else ())


def _listed_size(listed: str | None) -> tuple[float, float] | None:
    """The seller's size in mm, the longer one as the length, whichever is named first."""
    if listed is None:
        return None
    first, second = (mm for mm, _ in parse_listed(listed))
    return max(first, second), min(first, second)
