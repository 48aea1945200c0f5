"""The reduced photo relative to the sheet's light: its edges, its texture, and what is certain.

The sheet's light is fitted where sheet is certain, and the photo divided by it. Thresholds without
another reason were chosen on the scenes and shared photos of `benchmarks/segmentation.py`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.trace.image.robust_scale import ranked
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

# Side of the squares that become superpixels, px: 1 to 2 mm on the sheet.
CELL = 5
# A ridge of the gradient wider than this is not a sharp edge; that of a sharp one is its blur's.
EDGE_PX = 7
# A coloured part's edge has a step in hue, a shadow's outline hardly one: hue counts this many
# times.
HUE_WEIGHT = 4.0

# With fewer markers than this the light is fitted to the window's own rim instead.
_FEWEST_MARKERS = 3
_STRIPS_MM = (3.0, 6.0)  # inside the window's border, where its light is read
_STRIP_STEP_MM = 2.0  # between samples there
# A dark window reflects less than this share of the paper's light.
_DARK_WINDOW = 0.5
# Distance of points along a polygon that a lens may bend, mm.
OUTLINE_STEP_MM = 5.0
_SCALE_MM = 10.0  # half a length over which the scale is taken
_GRADIENT_BLUR_PX = 0.7  # before the gradient
_TEXTURE_BLUR_PX = 1.2  # finer unevenness than this is texture
_TEXTURE_RIM_PX = 9  # over which the least texture counts, so that a single edge is not texture
# The least noise of the gradient, and texture: about those of rounding to bytes.
_LEAST_NOISE = 5e-4
_LEAST_TEXTURE = 1e-4
_FLAT_SHARE = 0.2  # of the pixels that is flat sheet: a part may fill most of the window
_EVERY = 4  # pixels, of which one is used
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


@dataclass(frozen=True)
class JudgedScene:
    """The judged rectangle of the picture; all arrays cover it."""

    left: int
    top: int
    tone: Picture  # (h, w, 3) square root of light over sheet
    gradient: Picture
    sharp: Picture  # gradient less that of wide edges: the outlines of shadows are left out
    texture: Picture  # fine unevenness over that of flat sheet; single edges are left out
    noise: float  # of the gradient on flat sheet
    domain: Mask
    window: Mask
    mm_per_px: float
    light: LightField  # of the sheet's white, over the whole picture


def nothing_in_window() -> PhotoError:
    """The error where nothing can be separated from the sheet."""
    return PhotoError(
        "nothing lies in the frame's window",
        "photo",
        "lay the part so that its end or corner shows within the markers",
    )


def judged_scene(picture: Picture, view: SheetView) -> JudgedScene:
    """The window and the covered markers of a reduced photo, relative to the sheet's light.

    Raises
    ------
    PhotoError : the window is hardly in the photo.
    """
    shape = picture.shape
    window = view.pixel_from_sheet(along(view.window, OUTLINE_STEP_MM))
    # Markers that were not found may lie under the part, which is known by them.
    judged = np.vstack([window, view.markers[~view.found].reshape(-1, 2)])
    hull = cv2.convexHull(judged.astype(np.float32))[:, 0].astype(np.float64)
    left, top = np.clip(np.floor(hull.min(axis=0)), 0, None).astype(int)
    right, bottom = np.minimum(np.ceil(hull.max(axis=0)) + 1, [shape[1], shape[0]]).astype(int)
    if right - left < 4 * CELL or bottom - top < 4 * CELL:
        raise nothing_in_window()
    size = (int(bottom - top), int(right - left))

    found = view.markers[view.found]
    near, far = _STRIPS_MM
    strip = view.pixel_from_sheet(along(shrunk(view.window, near), _STRIP_STEP_MM))
    if len(found) >= _FEWEST_MARKERS:
        points = quiet_zone_points(found)
    else:
        inner = view.pixel_from_sheet(along(shrunk(view.window, far), _STRIP_STEP_MM))
        points = np.vstack([strip, inner])
    points = points[in_picture(points, shape, 1)]
    light = fit_light(points, light_at(picture, points), _LIGHT_DEGREE)

    crop = picture[top:bottom, left:right]
    sheet = light.over(left, top, size[1], size[0])
    in_window = polygon_mask(size, window, left, top)
    if view.window_dark:
        strip = strip[in_picture(strip, shape, 1)]
        ratio = light_at(picture, strip) / light.at(strip)
        dark = ratio[ratio.mean(axis=1) < _DARK_WINDOW]
        sheet[in_window] *= np.median(dark, axis=0).astype(np.float32)
    tone = np.sqrt(crop / sheet)

    domain = polygon_mask(size, hull, left, top)
    inside = in_window & domain
    gradient = _gradient(cv2.GaussianBlur(tone, (0, 0), _GRADIENT_BLUR_PX), inside)
    sharp = cv2.morphologyEx(gradient, cv2.MORPH_TOPHAT, np.ones((EDGE_PX, EDGE_PX), np.uint8))
    return JudgedScene(
        texture=_texture(tone, inside),
        left=int(left),
        top=int(top),
        tone=tone,
        gradient=gradient,
        sharp=sharp,  # type: ignore[arg-type]
        noise=max(_of_flat_sheet(gradient, inside), _LEAST_NOISE),
        domain=domain,
        window=in_window,
        mm_per_px=_mm_per_px(view),
        light=light,
    )


def _mm_per_px(view: SheetView) -> float:
    """The sheet's scale in the middle of the window."""
    middle, reach = view.window.mean(axis=0), _SCALE_MM
    steps = np.array([[-reach, 0], [reach, 0], [0, -reach], [0, reach]])
    ends = view.pixel_from_sheet(middle + steps)
    across = np.linalg.norm(ends[1] - ends[0]) + np.linalg.norm(ends[3] - ends[2])
    return 4 * reach / float(across)


def _texture(tone: Picture, inside: Mask) -> Picture:
    """Fine unevenness over that of flat sheet."""
    blur = _TEXTURE_BLUR_PX
    rough = grey_of(cv2.absdiff(tone, cv2.GaussianBlur(tone, (0, 0), blur)))
    even = cv2.GaussianBlur(rough, (0, 0), blur)
    rim = np.ones((_TEXTURE_RIM_PX, _TEXTURE_RIM_PX), np.uint8)
    even = np.asarray(cv2.erode(even, rim), np.float32)
    return np.asarray(even / max(_of_flat_sheet(even, inside), _LEAST_TEXTURE), np.float32)


def _gradient(tone: Picture, inside: Mask) -> Picture:
    """Size of the tone's gradient.

    A shadow's outline has no step in hue, a coloured part's edge has: hue counts for more.
    """
    x = cv2.Sobel(tone, cv2.CV_32F, 1, 0, ksize=1, scale=0.5)
    y = cv2.Sobel(tone, cv2.CV_32F, 0, 1, ksize=1, scale=0.5)
    grey = cv2.magnitude(grey_of(x), grey_of(y))
    of_hue = np.sqrt(3 * np.maximum(grey_of(x * x + y * y) - grey * grey, 0))
    of_hue -= 3 * _of_flat_sheet(of_hue, inside)
    return np.asarray(cv2.magnitude(3**0.5 * grey, HUE_WEIGHT * np.maximum(of_hue, 0)))


def _of_flat_sheet(values: NDArray[Any], where: Mask) -> float:
    """The value on flat sheet: a low one of all."""
    return ranked(values[where][::_EVERY], _FLAT_SHARE)


def grey_of(picture: NDArray[Any]) -> Picture:
    """Mean of three channels."""
    return np.asarray(cv2.transform(picture, np.full((1, 3), 1 / 3, np.float32)))


def polygon_mask(shape: tuple[int, int], polygon: Floats, left: int, top: int) -> Mask:
    """The pixels of a polygon (K, 2)."""
    mask = np.zeros(shape, np.uint8)
    # OpenCV's fixed point: sixteenths of a pixel.
    corners = np.round((polygon - [left, top]) * 16).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1, shift=4)
    return mask.astype(bool)


def along(polygon: Floats, spacing: float) -> Floats:
    """Points along a closed polygon."""
    closed = np.vstack([polygon, polygon[:1]])
    run = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    at = np.arange(0, run[-1], spacing)
    return np.column_stack([np.interp(at, run, closed[:, k]) for k in (0, 1)])


def shrunk(polygon: Floats, by: float) -> Floats:
    """A polygon with its sides moved inwards."""
    from shapely.geometry import Polygon

    inner = Polygon(polygon).buffer(-by, join_style="mitre")
    return np.asarray(inner.exterior.coords)[:-1]
