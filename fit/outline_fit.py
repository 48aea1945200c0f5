"""The whole outline: all photos' contours and all hand readings in one weighted least squares."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from snugline.errors import FitError
from snugline.fit.adjustment.dimension_summary import summarise
from snugline.fit.adjustment.edge_choice import with_likelier_edges
from snugline.fit.adjustment.observation_equations import CentredSection, ReadRow
from snugline.fit.adjustment.outlier_handling import Adjusted, resolve
from snugline.fit.adjustment.photo_sizes import BEYOND_WHEN_MOVED, PhotoSizes, photo_sizes
from snugline.fit.adjustment.reading_weighing import weigh
from snugline.fit.adjustment.start_values import view_of
from snugline.fit.adjustment.thickness_by_wall import contradicted_by_walls
from snugline.fit.adjustment.thickness_weighing import (
    EVENLY_MM,
    THICKEST,
    OtherThickness,
    SizesIf,
    by_photos,
    shows_sides,
    weigh_thickness,
)
from snugline.fit.adjustment.unlikely_thickness import (
    photos_say_otherwise,
    untraced,
    unusual_thickness,
)
from snugline.fit.adjustment.what_is_open import edge_remarks, on_readings_alone
from snugline.fit.edge_order import in_order
from snugline.fit.family_fit import fit_family
from snugline.fit.free_part import expected_by_hand, fit_free_part
from snugline.fit.outline_doubts import (
    lonely_readings,
    rejected_by_points,
    sharp_by_default,
    unseen_radius,
)
from snugline.fit.readings.part_unknowns import part_uncertainties
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.reading_remarks import CONTRADICTED
from snugline.fit.readings.slips import Expected, Slip
from snugline.fit.readings.thickness import Thickness, thickness_of, thickness_remarks
from snugline.fit.result import FittedOutline
from snugline.fit.section import Section, moved_by_thickness
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.notice import Notice
from snugline.sentence import Sentence, length

LEAST_POINTS = 30
# A family whose residuals are this large (mm, robust; share of points far off) does not fit.
MISFIT_MM, MISFIT_SHARE = 0.3, 0.15
# Views that show the width between both its sides.
ENDS = ("left end", "right end", "whole")
SAME = 1e-6  # of a thickness: what a mean of equal readings loses by rounding is far less
# mm: for all radii below, a cutter of 4 mm makes the same pocket (common practice, no source).
_SHARP_MM = 2.0
BLOCKS = 2  # gravity of a remark that keeps a result from being cut


def fit_outline(
    sections: Sequence[Section],
    readings: Sequence[Reading] = (),
    family: str = "auto",
    symmetry: Symmetry = "both",
    listed: tuple[float, float] | None = None,
    thickness: float | None = None,
    traced: float | None = None,
) -> FittedOutline:
    """Fit one closed outline to contours and readings.

    Parameters
    ----------
    sections : partial contours in the frame's coordinate system, at least one, each of at least 30
        points.
    readings : of length, width, corner radius; those of the thickness only pass through.
    family : `auto` or a word of the job's contract.
    symmetry : which mirror lines the part has; corners that no photo shows are mirrored along them.
    listed : length and width stated by the seller, mm; compared, never used.
    thickness : mm, where the job gives it and no reading does.
    traced : mm, the thickness that the contours were traced with; None for the one that was read.

    Raises
    ------
    FitError : too few points, nothing that determines the length or the width, or no shape that
        fits the contours.

    Notes
    -----
    Minimised is the sum of squares of whitened signed distances (robustly weighted), of the
    readings' errors, and of the shared errors in units of their standard uncertainties.
    """
    if not sections:
        raise FitError("there is no contour", "photos", "give at least one photo of the part")
    fitted = _fitted(sections, readings, family, symmetry, listed, thickness, traced)
    changed, told = with_likelier_edges(sections, fitted)
    if not told:
        return fitted
    fitted = _fitted(changed, readings, family, symmetry, listed, thickness, traced)
    return replace(fitted, notices=(*fitted.notices, *told))


def _fitted(
    sections: Sequence[Section],
    readings: Sequence[Reading],
    family: str,
    symmetry: Symmetry,
    listed: tuple[float, float] | None,
    thickness: float | None,
    traced: float | None,
) -> FittedOutline:
    sections = [in_order(section) for section in sections]
    stated = thickness_of(readings, thickness)
    part_u = part_uncertainties(stated)
    measured = tuple(_measured(section, part_u) for section in sections)
    sizes = photo_sizes(measured, [view_of(m) for m in measured])
    told = [*thickness_remarks(readings, thickness)]

    def sizes_if(thicker: float) -> Mapping[str, PhotoSizes]:
        moved = [_measured(moved_by_thickness(section, thicker), part_u) for section in sections]
        return photo_sizes(moved, [view_of(m) for m in moved], BEYOND_WHEN_MOVED)

    traced_mm = traced if traced is not None else 0.0 if stated is None else stated.value

    def weighed_slips(slips: Sequence[Slip]) -> list[Slip]:
        return by_photos(slips, traced_mm, readings, sizes_if)

    other = _other_thickness(stated, traced_mm, sizes, sections, readings, sizes_if)
    thicker = 0.0
    if other is not None:
        # Not to be cut; but what is said of everything else should not suffer from it.
        thicker = other.meant - traced_mm
        told.append(other.notice)
        sections = [moved_by_thickness(section, thicker) for section in sections]
        measured = tuple(_measured(section, part_u) for section in sections)
    weighed = weigh(
        readings, sizes, None if stated is None else stated.value, listed, thicker, _seen(sections)
    )
    told += weighed.notices
    try:
        fitted = _fit_believed(
            sections, measured, weighed.readings, family, symmetry, listed, stated
        )
    except FitError as error:
        if other is None and (unusual := unusual_thickness(stated, False, weighed_slips)):
            told.append(unusual)
        told += [notice for _, notice in weighed.to_explain]
        raise _by_its_cause(error, told) from error
    if weighed.to_explain:
        typed: dict[str, float] = {reading.what: reading.value for reading in readings}
        sizes_mm = {"length": fitted.length.value, "width": fitted.width.value}
        told += weighed.explained(sizes_mm, _expected(fitted), typed)
    # What a wrong thickness does to the photos is said once, by its cause.
    if other is None and all(n.code != CONTRADICTED for n in told):
        found = all(notice.gravity < BLOCKS for notice in fitted.notices)
        if unusual := unusual_thickness(stated, found, weighed_slips):
            told.append(unusual)
        if unusual and not found:
            return replace(fitted, notices=tuple(told))
    if other is not None:
        return replace(fitted, notices=tuple(told))
    named = {notice.about for notice in told if notice.about is not None}
    new = [n for n in fitted.notices if n.code != CONTRADICTED or n.about not in named]
    return replace(fitted, notices=(*told, *new))


def _other_thickness(
    stated: Thickness | None,
    traced_mm: float,
    sizes: Mapping[str, PhotoSizes],
    sections: Sequence[Section],
    readings: Sequence[Reading],
    sizes_if: SizesIf,
) -> OtherThickness | None:
    """The thickness that was probably meant, where the one that was read cannot be right.

    Raises
    ------
    FitError : the contours were traced with one so wrong that no outline is worth a search.
    """
    if stated is None:
        return None
    ends = sum(section.shows in ENDS for section in sections)
    if not math.isclose(traced_mm, stated.value, rel_tol=SAME):
        other = contradicted_by_walls(stated, sections)
        # Of several slips the walls may tell another than the one that was traced with.
        if other is None or abs(other.meant - traced_mm) <= EVENLY_MM:
            other = untraced(stated, traced_mm, readings, sizes_if)
    else:
        other = weigh_thickness(stated, sizes, readings, ends, sizes_if)

    def weighed(slips: Sequence[Slip]) -> list[Slip]:
        return by_photos(slips, traced_mm, readings, sizes_if)

    if other is None:
        other = photos_say_otherwise(stated, weighed)
    if other is None:
        other = contradicted_by_walls(stated, sections)
    if other is not None:
        if abs(other.meant - traced_mm) > EVENLY_MM:
            raise _told_as_error(other.notice)
        return other
    if stated.value > THICKEST or (ends and not shows_sides(sizes)):
        wrong = unusual_thickness(stated, False, weighed)
        if wrong is not None:
            raise _told_as_error(wrong)
    return None


def _seen(sections: Sequence[Section]) -> frozenset[str]:
    """Dimensions that the photos show between both their sides."""
    if any(section.shows == "whole" for section in sections) or (
        len(sections) == 1 and sections[0].shows == "section"
    ):
        return frozenset(("length", "width"))
    ends = any(section.shows in ENDS for section in sections)
    return frozenset(("width",) if ends else ())


def _expected(fitted: FittedOutline) -> dict[str, Expected]:
    """Length and width as an outline gives them."""
    if fitted.family == "free":
        return {of: expected_by_hand(fitted.outline, of) for of in ("length", "width")}
    return {
        of: Expected(size.value, size.u95 / 2)
        for of, size in (("length", fitted.length), ("width", fitted.width))
    }


def _by_its_cause(error: FitError, told: Sequence[Notice]) -> FitError:
    """The failure of a fit by the reading that cannot be right, where there is one."""
    wrong = next((notice for notice in told if notice.code == CONTRADICTED), None)
    return error if wrong is None else _told_as_error(wrong)


def _told_as_error(wrong: Notice) -> FitError:
    return FitError(wrong.text, wrong.about if wrong.about is not None else "readings", wrong.mend)


def _fit_believed(
    sections: Sequence[Section],
    measured: tuple[CentredSection, ...],
    readings: Sequence[Reading],
    family: str,
    symmetry: Symmetry,
    listed: tuple[float, float] | None,
    thickness: Thickness | None,
) -> FittedOutline:
    """The outline that contours and the readings that pass determine."""
    if family == "free":
        return fit_free_part(sections, readings, symmetry, thickness)
    rows = tuple(ReadRow.of(r) for r in readings if r.what != "thickness")
    adjusted, setting, choice, notices = fit_family(measured, rows, family, symmetry)
    misfit, mend = _misfit(adjusted), 'let the photos find the shape: family = "auto"'
    if misfit and family == "auto":
        try:
            return fit_free_part(sections, readings, symmetry, thickness)
        except FitError as error:
            # The nearest family is better than nothing, with the remark that it does not fit.
            misfit += f"; nor could it be fitted with lines and arcs: {error.what}"
            family, mend = adjusted.equations.shape.family, error.mend
    if misfit:
        notices.append(_not_fitted(family, misfit, mend))
    else:
        resolved, told = resolve(adjusted, thickness)
        notices += told
        if _fewer(resolved, adjusted):
            # An outlier that was left out may have bent the shape, or led to another family.
            kept = resolved.equations
            adjusted, setting, choice, others = fit_family(
                kept.sections, kept.rows, family, symmetry
            )
            notices = [*others, *told]
            resolved, _ = resolve(adjusted, thickness)
        adjusted = resolved
    fitted = summarise(
        adjusted.equations,
        adjusted.fit,
        adjusted.noise,
        choice.corner_rankings,
        setting.groups,
        setting.form,
        tuple(notices + _compared(adjusted, listed)),
        thickness,
    )
    if misfit:
        # Points off an outline that does not fit have no cause of their own.
        said = tuple(notice for notice in fitted.notices if notice.code != "points-left-out")
        return replace(fitted, notices=said)
    if family == "auto" and _as_good_as_sharp(fitted):
        return _fit_believed(sections, measured, readings, "rectangle", symmetry, listed, thickness)
    alone = on_readings_alone(adjusted)
    doubts = (
        *rejected_by_points(
            fitted.sections, [s.section.as_given(s.noise) for s in adjusted.equations.sections]
        ),
        *lonely_readings(readings, alone),
        *edge_remarks(adjusted, fitted),
        *_sharp(fitted),
    )
    return replace(fitted, notices=(*fitted.notices, *doubts))


def _as_good_as_sharp(fitted: FittedOutline) -> bool:
    """Whether this outline differs from one with sharp corners by small, unseen radii alone."""
    corners = fitted.corners
    if len(corners) != 4 or any(c.family != "arc" or c.params for c in corners):
        return False
    size = np.array([fitted.length.value, fitted.width.value])
    tips = size / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return unseen_radius(fitted.sections, tips)[1] < _SHARP_MM


def _sharp(fitted: FittedOutline) -> tuple[Notice, ...]:
    if any(corner.family != "square" for corner in fitted.corners) or not fitted.corners:
        return ()
    tips = np.array([segment.start for segment in fitted.outline.segments])
    return sharp_by_default(fitted.sections, tips)


def _not_fitted(family: str, misfit: str, mend: str) -> Notice:
    return Notice(
        "outline-not-fitted",
        f"The outline does not fit the family {family!r}: {misfit}.",
        f"{mend[0].upper()}{mend[1:]}.",
        "retake",
    )


def _fewer(resolved: Adjusted, adjusted: Adjusted) -> bool:
    return len(resolved.equations.sections) < len(adjusted.equations.sections)


def _measured(section: Section, part_u: Mapping[str, float]) -> CentredSection:
    finite = np.isfinite(section.points).all(axis=1) & (section.noise > 0)
    if int(finite.sum()) < LEAST_POINTS or not finite.all():
        raise FitError(
            f"the contour has {int(finite.sum())} usable points of {len(finite)}",
            section.name,
            f"give a contour of at least {LEAST_POINTS} points, all with a noise above zero",
        )
    return CentredSection.of(section, part_u)


def _misfit(adjusted: Adjusted) -> str:
    """How badly the shape misses most of the contours, in words; empty where it fits."""
    equations, missed = adjusted.equations, []
    for k, measured in enumerate(equations.sections):
        distance = equations.points_block(adjusted.fit.x, k).residual * measured.noise
        typical = float(np.sqrt(np.mean(np.minimum(np.abs(distance), 3.0) ** 2)))
        limit = max(MISFIT_MM, 6 * float(np.median(measured.noise)))
        far = float(np.mean(np.abs(distance) > limit))
        if typical > MISFIT_MM and far > MISFIT_SHARE:
            missed.append(f"{100 * far:.0f} % of the points of {measured.section.name}")
    # One contour of several is a photo that disagrees.
    return (
        f"{' and '.join(missed)} lie far from it"
        if 2 * len(missed) >= len(equations.sections)
        else ""
    )


def _compared(adjusted: Adjusted, listed: tuple[float, float] | None) -> list[Notice]:
    """The seller's size compared with the measured one, where they are far apart."""
    if listed is None:
        return []
    notices = []
    for what, stated in zip(("length", "width"), listed, strict=True):
        value, _ = adjusted.equations.dimension(adjusted.fit.x, what)
        if abs(value - stated) > max(5.0, 0.03 * stated):
            notices.append(
                Notice(
                    "listed-size-differs",
                    Sentence(
                        f"The {what} is {{}}, but listed as {{}}.",
                        length(value, 1),
                        length(stated, 1),
                    ),
                    "Check that the listing is of this part, and the units of the readings.",
                    "fine",
                    what,
                )
            )
    return notices
