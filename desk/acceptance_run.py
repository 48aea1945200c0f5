"""The acceptance test from photos to size errors: each photo is measured and judged for itself."""

import math
from collections.abc import Callable, Iterator, Sequence
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
from snugline.trace.measure import MeasuredPhoto, measure_with_each
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
    limits = list(_at_limits(reference))
    forms = [reference, *(form for _, form in limits)]
    with threadpool_limits(1, "blas"):
        measured = measure_with_each(photos, [frame], [_sides(form) for form in forms], known)
        for of_photo in zip(*(one.photos for one in measured), strict=True):
            photo, name = of_photo[0], of_photo[0].file.name
            notices += photo.contour.notices
            fitted, *others = map(_outline, of_photo, forms)
            spread = _spread(fitted, [(of, o) for (of, _), o in zip(limits, others, strict=True)])
            found = size_errors(fitted, reference, name, mpe, spread)
            _check_object(photo.file, reference, found)
            notices += [n for n in fitted.notices if n.gravity == 2]
            errors += found
    told = (*notices, *measured[0].notices, *_remarks(len(photos), frame, reference, errors))
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
    # What light and print do to the edge is what is tested: nothing of it is explained away.
    plain = replace(section.systematic, directional=0.0)
    section = replace(section, systematic=plain)
    try:
        return fit_outline([section], _readings(reference), reference.family)
    except FitError as error:
        raise PhotoError(
            f"the edge seen gives no size of the {reference.words}",
            OfPhoto(str(photo.file)),
            "light it from the side, against a window of another tone, and photograph it again",
        ) from error


def _at_limits(reference: ReferenceObject) -> Iterator[tuple[str, ReferenceObject]]:
    """The object with one thing at a time at its lower and its upper limit, by a source's name."""
    thick, radius = reference.thickness, reference.edge_radius
    for sign in (-1, 1):
        limit = replace(thick, value=thick.value + sign * thick.tolerance)
        yield SOURCES["thickness"], replace(reference, thickness=limit)
        if rim := reference.edge_tolerance:
            yield RIM, replace(reference, edge_radius=max(radius + sign * rim, 0.0))


def _spread(
    middle: FittedOutline, limits: Sequence[tuple[str, FittedOutline]]
) -> dict[str, list[Contribution]]:
    """What each source makes of the sizes in one photo, from its limits to the middle."""
    at = [(source, _sizes(outline)) for source, outline in limits]

    def half(of: str, size: float, source: str) -> float:
        return max(abs(limit[of] - size) for name, limit in at if name == source)

    return {
        of: [
            Contribution(source, half(of, size, source) / math.sqrt(3))
            for source in dict.fromkeys(name for name, _ in at)
        ]
        for of, size in _sizes(middle).items()
    }


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
