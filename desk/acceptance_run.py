"""The acceptance test from photos to size errors: each photo is measured and judged for itself."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from threadpoolctl import threadpool_limits

from snugline.api.part_sides import part_sides
from snugline.errors import FitError, InputError, PhotoError
from snugline.fit.acceptance import (
    DEFAULT_MPE,
    Decision,
    ReferenceObject,
    SizeError,
    decided_together,
    size_errors,
    too_coarse,
)
from snugline.fit.contour_section import section_of
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.part_unknowns import SOURCES
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import thickness_of
from snugline.fit.readings.uncertainty_budget import Contribution
from snugline.fit.result import FittedOutline
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length
from snugline.trace.camera.lens import LensPrior
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.photo_file import Photo
from snugline.trace.measure import MeasuredPhoto, measure_photos
from snugline.trace.sheet.frame_description import (
    LEAST_PRINT_SCALE,
    MOST_PRINT_SCALE,
    AnyFrame,
    Frame,
)

# As repeated as ISO 10360 asks each size to be measured: three times (from memory).
ENOUGH_PHOTOS = 3
RIM = "rim of the object"


@dataclass(frozen=True)
class AcceptanceTest:
    """What a test found.

    Attributes
    ----------
    errors : of every size in every photo.
    notices : remarks on the photos; one to be taken again leaves the test undecided.
    """

    reference: ReferenceObject
    mpe: float
    errors: tuple[SizeError, ...]
    notices: tuple[Notice, ...]

    @property
    def decision(self) -> Decision:
        together = decided_together(self.errors)
        spoilt = any(notice.gravity == 2 for notice in self.notices)
        return "not decided" if spoilt else together


def run_acceptance(
    photos: Sequence[Path],
    frame: AnyFrame,
    reference: ReferenceObject,
    mpe: float = DEFAULT_MPE,
    known: Callable[[Photo], LensPrior | Notice | None] = lambda photo: None,
) -> AcceptanceTest:
    """Measure the object in each photo, and compare.

    Parameters
    ----------
    frame : the sheet that the object lies on, with its bars as measured.
    known : as `measure_photos` takes it.

    Raises
    ------
    InputError : a frame without markers.
    PhotoError : a photo that cannot be measured, or that shows something of another size.
    """
    if not isinstance(frame, Frame):
        raise InputError(
            "a frame without markers cannot be tested so", "--frame", "use a sheet with markers"
        )
    errors: list[SizeError] = []
    notices: list[Notice] = []
    with threadpool_limits(1, "blas"):
        measured = measure_photos(photos, [frame], _sides(reference), known)
        at_limits = _at_limits(photos, frame, reference, known)
        for number, photo in enumerate(measured.photos):
            name = photo.file.name
            notices += photo.contour.notices
            fitted = _outline(photo, reference)
            spread = _spread(number, fitted, at_limits)
            found = size_errors(fitted, reference, name, mpe, spread)
            _check_object(photo.file, reference, found)
            notices += [n for n in fitted.notices if n.gravity == 2]
            errors += found
    told = (*notices, *measured.notices, *_remarks(len(photos), frame, reference, errors))
    return AcceptanceTest(reference, mpe, tuple(errors), tuple(dict.fromkeys(told)))


def _sides(reference: ReferenceObject) -> PartSides:
    thickness = thickness_of(_readings(reference))
    assert thickness is not None
    return part_sides(thickness, reference.edge_radius, None, 0.0)


def _readings(reference: ReferenceObject) -> list[Reading]:
    stated = reference.thickness
    return [Reading("thickness", (stated.value,), f"{stated.tolerance} mm")]


def _outline(photo: MeasuredPhoto, reference: ReferenceObject) -> FittedOutline:
    if not photo.contour.outer.closed:
        raise PhotoError(
            "the edge of the object is not seen all round",
            OfPhoto(str(photo.file)),
            "lay the whole object in the window, clear of the markers",
        )
    section = section_of(photo.contour, "whole")
    try:
        return fit_outline([section], _readings(reference), reference.family)
    except FitError as error:
        raise PhotoError(
            f"the edge seen gives no size of the {reference.words}",
            OfPhoto(str(photo.file)),
            "light it from the side, against a window of another tone, and photograph it again",
        ) from error


def _at_limits(
    photos: Sequence[Path],
    frame: Frame,
    reference: ReferenceObject,
    known: Callable[[Photo], LensPrior | Notice | None],
) -> dict[str, list[list[FittedOutline]]]:
    """By the name of a source, all photos measured with it at its lower and its upper limit."""
    thick, radius = reference.thickness, reference.edge_radius
    ways = {
        SOURCES["thickness"]: [
            replace(reference, thickness=replace(thick, value=thick.value + sign * thick.tolerance))
            for sign in (-1, 1)
        ]
    }
    if reference.edge_tolerance > 0:
        ways[RIM] = [
            replace(reference, edge_radius=max(radius + sign * reference.edge_tolerance, 0.0))
            for sign in (-1, 1)
        ]
    found: dict[str, list[list[FittedOutline]]] = {}
    for source, both in ways.items():
        for one in both:
            measured = measure_photos(photos, [frame], _sides(one), known)
            found.setdefault(source, []).append([_outline(p, one) for p in measured.photos])
    return found


def _spread(
    number: int, middle: FittedOutline, at_limits: Mapping[str, Sequence[Sequence[FittedOutline]]]
) -> dict[str, list[Contribution]]:
    """What each source makes of the sizes in one photo, from its limits to the middle."""
    sizes = _sizes(middle)
    spread: dict[str, list[Contribution]] = {of: [] for of in sizes}
    for source, both in at_limits.items():
        limits = [_sizes(outlines[number]) for outlines in both]
        for of, size in sizes.items():
            half = max(abs(limit[of] - size) for limit in limits)
            spread[of].append(Contribution(source, half / math.sqrt(3)))
    return spread


def _sizes(fitted: FittedOutline) -> dict[str, float]:
    longer, shorter = sorted((fitted.length.value, fitted.width.value), reverse=True)
    return {"length": longer, "width": shorter, "diameter": longer}


def _check_object(file: Path, reference: ReferenceObject, found: Sequence[SizeError]) -> None:
    """Refuse a thing that no print scale explains: it is another object."""
    sizes = [error for error in found if error.of != "corner radius"]
    if all(LEAST_PRINT_SCALE < e.measured / e.reference < MOST_PRINT_SCALE for e in sizes):
        return
    places = " by ".join("{}" for _ in sizes)
    raise PhotoError(
        Sentence(
            f"shows something of {places}, which is not the {{object}} of {places}",
            *(length(error.measured, 1) for error in sizes),
            *(length(error.reference) for error in sizes),
            object=reference.words,
        ),
        OfPhoto(str(file)),
        "name the object that lies there with --object",
    )


def _remarks(
    photos: int, frame: Frame, reference: ReferenceObject, errors: Sequence[SizeError]
) -> list[Notice]:
    """What would make the test tell more."""
    notices = []
    if photos < ENOUGH_PHOTOS:
        notices.append(
            Notice(
                "few-photos",
                "One photo tests one place in the window and one view."
                if photos == 1
                else "Two photos test two places in the window.",
                f"Take at least {ENOUGH_PHOTOS}, and move and turn the object between them.",
            )
        )
    if frame.bars and not frame.bar_readings:
        notices.append(
            Notice(
                "bars-not-measured",
                "The printed bars were not entered: an error of the print's scale counts in full.",
                "Measure the two bars with a caliper and give --bar-x and --bar-y.",
            )
        )
    if too_coarse(errors):
        notices.append(
            Notice(
                "object-too-coarse",
                f"The known size of the {reference.words} is not exact enough for this limit.",
                "Use one that is known more exactly, such as a card or a gauge block, or a larger "
                "--mpe.",
            )
        )
    return notices
