"""Contours and hand readings to one outline with its uncertainty."""

from collections.abc import Sequence

from snugline.api.lengths_given import LengthGiven, mm_of
from snugline.counting import counted
from snugline.errors import InputError
from snugline.fit.contour_section import section_of
from snugline.fit.outline_fit import fit_outline as fit_sections
from snugline.fit.readings.reading import Reading
from snugline.fit.result import FittedOutline
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.trace.contour import Contour


def fit_outline(
    contours: Sequence[Contour],
    shows: str | Sequence[str] = "whole",
    readings: Sequence[Reading] = (),
    *,
    family: str = "auto",
    symmetry: Symmetry = "both",
    thickness: LengthGiven | None = None,
) -> FittedOutline:
    """Fit the part's outline to its contours and hand readings.

    Minimised is the sum of squares of whitened signed distances of the points from the outline,
    robustly weighted, of the readings' errors, and of the errors that points or readings share.

    Parameters
    ----------
    contours : as `measure` or `Contour.from_json` gives them.
    shows : of each contour `left end`, `right end`, `front left corner`, ..., `whole` or `section`.
    readings : of length, width, thickness, corner radius.
    family : `auto`, or a word of the job file such as `rounded rectangle` or `free`.
    symmetry : `both`, `lengthwise`, `crosswise` or `none`: the part's mirror lines.
    thickness : of the part, where no reading is given of it.

    Returns
    -------
    Lengths in mm, each with its expanded uncertainty (95 %, JCGM 100), and the outline of true
    lines and arcs in the part's axes, centred, counter-clockwise.

    Raises
    ------
    FitError : contours and readings determine no outline.

    Examples
    --------
    >>> from snugline.fit.geometry.primitives import rounded_rectangle
    >>> from snugline.trace.contour import Contour
    >>> points = rounded_rectangle(150, 80, 12).sampled(0.5)
    >>> contour = Contour.of_points(points, sigma=0.02)
    >>> fitted = fit_outline([contour], "whole", [Reading.of("width", "80.02 mm", tool="caliper")])
    >>> fitted.family, round(fitted.length.value, 1)
    ('rounded rectangle', 150.0)
    """
    named = [shows] * len(contours) if isinstance(shows, str) else list(shows)
    if len(named) != len(contours):
        raise InputError(
            f"{counted(len(contours), 'contour')}, but {len(named)} words for what they show",
            "shows",
            "give one for each contour",
        )
    sections = [section_of(c, word) for c, word in zip(contours, named, strict=True)]
    stated = None if thickness is None else mm_of(thickness, "thickness")
    return fit_sections(sections, readings, family, symmetry, thickness=stated)
