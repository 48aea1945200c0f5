"""What is known about the sheet in a reduced photo, and the light on it."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.trace.image.polyline import resample
from snugline.trace.part.paper_light import (
    LightField,
    fit_light,
    in_picture,
    light_at,
    quiet_zone_points,
)

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
Mask = NDArray[np.bool_]
Mapping = Callable[[Floats], Floats]

# With fewer markers than this the light is fitted to the window's own rim instead.
FEWEST_MARKERS = 3
# Inside the window's border, where its light is read; of a dark one outside, on the frame.
_STRIPS_MM = (3.0, 6.0)
_STRIP_STEP_MM = 2.0  # between samples there
_FEWEST_POINTS = 3  # of light: fewer show no sheet
# Degree of the light's field over the window before the part is known.
_LIGHT_DEGREE = 2


@dataclass(frozen=True)
class SheetView:
    """What is known about the sheet in a reduced photo.

    Attributes
    ----------
    window : (K, 2) true mm, the polygon in which the part is judged.
    pixel_from_sheet, sheet_from_pixel : maps of points (N, 2), true mm to reduced pixels and back.
    markers : (M, 4, 2) reduced pixels, all described markers, found or not.
    found : (M,) whether the marker was found.
    window_dark : the window is printed dark.
    camera : (3,) true mm, the camera's position over the sheet, and `thickness` in mm of the part:
        with both, it is known where the part's side is seen below its top edge.
    """

    window: Floats
    pixel_from_sheet: Mapping
    sheet_from_pixel: Mapping
    markers: Floats = field(default_factory=lambda: np.empty((0, 4, 2)))
    found: Mask = field(default_factory=lambda: np.empty(0, bool))
    window_dark: bool = False
    camera: Floats | None = None
    thickness: float = 0.0


def nothing_in_window() -> PhotoError:
    """The error where nothing can be separated from the sheet."""
    return PhotoError(
        "nothing lies in the frame's window",
        "photo",
        "lay the part so that its end or corner shows within the markers",
    )


def sheet_light(picture: Picture, view: SheetView) -> LightField:
    """The light on the sheet's white, by the markers' surrounds or else by the window's own rim."""
    found = view.markers[view.found]
    if len(found) >= FEWEST_MARKERS:
        points = quiet_zone_points(found)
    else:
        points = view.pixel_from_sheet(rims(view.window, view.window_dark))
    points = points[in_picture(points, picture.shape, 1)]
    if len(points) < _FEWEST_POINTS:
        raise nothing_in_window()
    return fit_light(points, light_at(picture, points), _LIGHT_DEGREE)


def rims(window: Floats, dark: bool) -> Floats:
    """(N, 2) mm, points along a window's border, where the light on the paper shows."""
    strips = [shrunk(window, -mm if dark else mm) for mm in _STRIPS_MM]
    return np.vstack([resample(strip, _STRIP_STEP_MM, True) for strip in strips])


def shrunk(polygon: Floats, by: float) -> Floats:
    """A polygon with its sides moved inwards."""
    from shapely.geometry import Polygon

    inner = Polygon(polygon).buffer(-by, join_style="mitre")
    return np.asarray(inner.exterior.coords)[:-1]
