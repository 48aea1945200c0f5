"""Photos of a part on its sheet to contours, with lengths as people write them."""

from collections.abc import Sequence
from pathlib import Path

from snugline.api.lengths_given import LengthGiven, mm_of, radians_of
from snugline.api.part_sides import part_sides
from snugline.errors import InputError
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import Thickness, thickness_of
from snugline.trace.contour import Contour
from snugline.trace.known_cameras import lens_finder
from snugline.trace.measure import measure_photos
from snugline.trace.sheet.frame_description import AnyFrame, read_frame, with_print_scale

FrameGiven = str | Path | AnyFrame


def measure(
    photos: Sequence[str | Path],
    frame: FrameGiven | Sequence[AnyFrame],
    thickness: LengthGiven | Sequence[Reading],
    *,
    edge_radius: LengthGiven | None = None,
    edge_chamfer: LengthGiven | None = None,
    draft: str | float | None = None,
    bar_x: LengthGiven | None = None,
    bar_y: LengthGiven | None = None,
    camera: str | None = None,
) -> tuple[Contour, ...]:
    """Measure the plan outline that photos show of a part.

    Parameters
    ----------
    photos : files, one or more.
    frame : the calibration sheet: the name of a built-in one, the path of a description, what
        `read_frame` gave, or several such under one part that was not moved between the photos.
    thickness : of the part: mm, text with its unit (one caliper reading), or readings of it.
    edge_radius, edge_chamfer : of the top edge, 0 for a sharp one; left out, a rounding of 0 to
        2 mm is assumed, with its uncertainty.
    draft : how far the sides lean inwards towards the top: degrees, or text with its unit; left
        out, 0 to 3 degrees are assumed, with their uncertainty.
    bar_x, bar_y : the printed bars as measured; left out, the print counts as exact.
    camera : a name that `snugline camera` calibrated.

    Returns
    -------
    One contour for each photo, in true millimetres of the sheet's axes; of several sheets one
    joined contour.

    Raises
    ------
    FileError, PhotoError : a photo that cannot be read or measured; it names the photo.
    InputError : a length or a frame that cannot be used.

    Examples
    --------
    >>> folder = "samples/basalt-plate-in-ash-board/"  # its photos are rendered
    >>> (contour,) = measure([folder + "left-end.jpg"], folder + "frame.json", "5.27 mm",
    ...                      edge_radius="0.8 mm", draft=0.5)
    >>> contour.outer.points.shape[1], contour.state
    (2, 'usable')
    """
    if edge_radius is not None and edge_chamfer is not None:
        raise InputError("both edge_radius and edge_chamfer are given", "measure", "leave one out")
    frames = [frame] if isinstance(frame, FrameGiven) else list(frame)
    if not frames:
        raise InputError("no frame is given", "measure", "give the sheet that lies in the photos")
    if len(frames) > 1 and (bar_x is not None or bar_y is not None):
        raise InputError(
            "bars are given, and several frames", "measure", "give each frame its own print scale"
        )
    x, y = (None if bar is None else mm_of(bar, "printed bar") for bar in (bar_x, bar_y))
    read = [read_frame(one) if isinstance(one, str | Path) else one for one in frames]
    printed = [with_print_scale(one, x, y) for one in read]
    sides = part_sides(
        _thickness(thickness),
        None if edge_radius is None else mm_of(edge_radius, "edge_radius"),
        None if edge_chamfer is None else mm_of(edge_chamfer, "edge_chamfer"),
        None if draft is None else radians_of(draft, "draft"),
    )
    measured = measure_photos(photos, printed, sides, lens_finder(camera))
    if measured.joined is not None:
        return (measured.joined,)
    return tuple(photo.contour for photo in measured.photos)


def _thickness(given: LengthGiven | Sequence[Reading]) -> Thickness:
    if isinstance(given, str | float | int):
        found = thickness_of((), mm_of(given, "thickness"))
    else:
        found = thickness_of(given)
    if found is None:
        raise InputError("no reading is one of the thickness", "measure", "read the thickness, too")
    return found
