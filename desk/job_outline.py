"""From a job's contours and readings to its outline and its likely nominal sizes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from snugline.counting import counted
from snugline.desk.job import Job
from snugline.desk.unseen_ends import mirrored_unasked
from snugline.fit.adjustment.unlikely_thickness import traced_with
from snugline.fit.contour_section import section_of, without
from snugline.fit.drawn_sizes import listed_size, nominal_sizes, snapped
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.nominal_size import NominalSet
from snugline.fit.result import FittedOutline
from snugline.fit.result_state import PhotoVerdict, ResultState, result_state
from snugline.fit.section import Section
from snugline.notice import Notice
from snugline.place import OfPhoto
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
    sections = sections_of(job, contours, joined)
    part = job.part
    fitted = fit_outline(
        sections,
        job.readings,
        part.family,
        part.symmetry,
        listed=listed_size(part.listed),
        thickness=part.thickness,
        traced=traced_thickness(job),
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


def traced_thickness(job: Job) -> float:
    """The thickness, mm, that the job's photos are traced with."""
    return traced_with(job.thickness, job.part.edge_radius or job.part.edge_chamfer or 0.0)


def sections_of(
    job: Job, contours: Sequence[Contour], joined: Contour | None = None
) -> list[Section]:
    """The job's contours as the fit takes them, less the points that the job leaves out."""
    if joined is not None:
        shows = "whole" if joined.outer.closed else "section"
        whole = replace(section_of(joined, shows), name="all photos")
        return [without(whole, job.leave_out)]
    return [
        without(
            section_of(contour, table.shows),
            [one for one in job.leave_out if one.photo == str(table.file)],
        )
        for contour, table in zip(contours, job.photo, strict=True)
    ]


def job_state(
    job: Job,
    of_fit: Sequence[Notice],
    contours: Sequence[Contour],
    joined: Contour | None = None,
    notices: Sequence[Notice] = (),
) -> ResultState:
    """Whether the job's result can be cut from, and all remarks in the order of telling.

    Parameters
    ----------
    of_fit : remarks on the outline and the readings.
    notices : those on all photos together.
    """
    photos = [
        PhotoVerdict(table.shows, contour.notices)
        for contour, table in zip(contours, job.photo, strict=True)
    ]
    assumed = mirrored_unasked(job) if joined is None else []
    every = [*of_fit, *notices, *_other_curves(contours), *assumed]
    return result_state(every, photos, joined is not None)


def _other_curves(contours: Sequence[Contour]) -> list[Notice]:
    return [
        Notice(
            "second-contour",
            f"{counted(len(contour.others), 'more contour')} "
            f"{'was' if len(contour.others) == 1 else 'were'} found in the window (a hole, or "
            f"another part); the outline is that of the largest.",
            "Remove whatever does not belong to the part.",
            "usable",
            OfPhoto(contour.photo.file),
        )
        for contour in contours
        # A second part was remarked on where it was found.
        if contour.others and all(n.code != "second-part" for n in contour.notices)
    ]
