"""The acceptance test from photos to size errors: each photo is measured and judged for itself."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
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
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import thickness_of
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length
from snugline.trace.camera.lens import LensPrior
from snugline.trace.image.photo_file import Photo
from snugline.trace.measure import measure_photos
from snugline.trace.sheet.frame_description import (
    LEAST_PRINT_SCALE,
    MOST_PRINT_SCALE,
    AnyFrame,
    Frame,
)

# As repeated as ISO 10360 asks each size to be measured: three times (from memory).
ENOUGH_PHOTOS = 3


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
    stated = reference.thickness
    readings = [Reading("thickness", (stated.value,), f"{stated.tolerance} mm")]
    thickness = thickness_of(readings)
    assert thickness is not None
    sides = part_sides(thickness, reference.edge_radius, None, 0.0)
    errors: list[SizeError] = []
    notices: list[Notice] = []
    with threadpool_limits(1, "blas"):
        measured = measure_photos(photos, [frame], sides, known)
        for photo in measured.photos:
            name = photo.file.name
            notices += photo.contour.notices
            if not photo.contour.outer.closed:
                raise PhotoError(
                    "the edge of the object is not seen all round",
                    OfPhoto(str(photo.file)),
                    "lay the whole object in the window, clear of the markers",
                )
            section = section_of(photo.contour, "whole")
            try:
                fitted = fit_outline([section], readings, reference.family)
            except FitError as error:
                raise PhotoError(
                    f"the edge seen gives no size of the {reference.words}",
                    OfPhoto(str(photo.file)),
                    "light it from the side, against a window of another tone, and photograph it "
                    "again",
                ) from error
            found = size_errors(fitted, reference, name, mpe)
            _check_object(photo.file, reference, found)
            notices += [n for n in fitted.notices if n.gravity == 2]
            errors += found
    told = (*notices, *measured.notices, *_remarks(len(photos), frame, reference, errors))
    return AcceptanceTest(reference, mpe, tuple(errors), tuple(dict.fromkeys(told)))


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
