"""A reduced photo as tones over sheet: what is lit sheet has tone 1 in all channels.

A tone is the square root of light over the sheet's light: in it a photo's noise is nearly the same
from black to white, and neither the lamp's colour nor its falling off across the sheet is left.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from snugline.errors import PhotoError
from snugline.trace.illumination import QUIET_ZONE, fit_light, quiet_zone_points

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
Mask = NDArray[np.bool_]
Mapping = Callable[[Floats], Floats]

# A step in hue weighs this much more than one in brightness: a shadow's rim has none.
HUE_WEIGHT = 4.0
# A ridge of the gradient wider than this many pixels is the rim of a shadow, no edge.
EDGE_PX = 7
# Beside the window so much is looked at too, so that a border is followed right up to the window's.
BESIDE_MM = 4.0
# The least spread of lit sheet's tone: paper is never quite even.
LEAST_SPREAD = 0.005


@dataclass(frozen=True)
class SheetView:
    """What is known of the sheet in a reduced photo.

    Attributes
    ----------
    window : (K, 2) true mm, the polygon in which the part is judged.
    pixel_from_sheet, sheet_from_pixel : maps of points (N, 2), true mm to reduced pixels and back.
    markers : (M, 4, 2) reduced pixels, all described markers, found or not.
    found : (M,) whether the marker was found.
    window_dark : the window is printed dark.
    camera : (3,) true mm, the camera's place over the sheet, and `thickness` in mm of the part:
        with both, it is known where the part's wall is seen below its upper edge.
    bevel : mm, width of the rounding or chamfer of the part's upper edge.
    """

    window: Floats
    pixel_from_sheet: Mapping
    sheet_from_pixel: Mapping
    markers: Floats = field(default_factory=lambda: np.empty((0, 4, 2)))
    found: Mask = field(default_factory=lambda: np.empty(0, bool))
    window_dark: bool = False
    camera: Floats | None = None
    thickness: float = 0.0
    bevel: float = 0.0

    def window_px(self, inwards_mm: float = 0.0) -> Floats:
        """(K, 2) reduced pixels: the window made smaller all round, dense enough to be curved."""
        inner = Polygon(self.window).buffer(-inwards_mm, join_style="mitre").segmentize(5.0)
        return self.pixel_from_sheet(np.asarray(inner.exterior.coords)[:-1])

    def mm_per_px(self) -> float:
        """Size of a reduced pixel in the middle of the window."""
        arms = np.array([[-10, 0], [10, 0], [0, -10], [0, 10.0]])
        left, right, low, high = self.pixel_from_sheet(self.window.mean(axis=0) + arms)
        return 40 / float(np.linalg.norm(right - left) + np.linalg.norm(high - low))


@dataclass(frozen=True)
class Tones:
    """The judged rectangle of the picture; all arrays cover it.

    Attributes
    ----------
    left, top : its place in the reduced photo.
    tone : (h, w, 3).
    gradient : of the tone a pixel, with more weight on hue.
    sharp : the gradient's narrow ridges alone.
    texture : fine unevenness over that of the evener parts; lone edges do not count.
    noise : of the gradient where nothing is.
    spread : of lit sheet's tone.
    domain : where part and sheet are told apart: the window and what joins it to covered markers.
    window : mask of the window.
    surely_sheet, surely_part : found markers with their surround, and covered ones.
    """

    left: int
    top: int
    tone: Picture
    gradient: Picture
    sharp: Picture
    texture: Picture
    noise: float
    spread: float
    domain: Mask
    window: Mask
    surely_sheet: Mask
    surely_part: Mask
    window_dark: bool
    mm_per_px: float


def nothing_there() -> PhotoError:
    """The error of a window without a part."""
    return PhotoError(
        "nothing lies in the frame's window",
        "photo",
        "lay the part so that its end or corner shows within the markers; "
        "a pale part shows best on the dark window",
    )


def grey(picture: Picture) -> Picture:
    """Mean of the three channels."""
    return np.asarray(cv2.transform(picture, np.full((1, 3), 1 / 3, np.float32)))


def polygon_mask(shape: tuple[int, int], polygon: Floats) -> Mask:
    """Pixels within a polygon (K, 2)."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(polygon * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool)


def tones(picture: Picture, view: SheetView) -> Tones:
    """Divide the photo by the sheet's light round the window.

    Raises
    ------
    PhotoError : the window does not show in the photo.
    """
    shape = picture.shape
    found = view.markers[view.found]
    covered = [q for q in view.markers[~view.found] if _is_covered(picture, q)]
    window = view.window_px()
    beside = BESIDE_MM if len(found) >= 3 else 0.0  # a plain frame's own material lies there
    hull = cv2.convexHull(np.vstack([view.window_px(-beside), *covered]).astype(np.float32))[
        :, 0
    ].astype(np.float64)
    corner = np.clip(np.floor(hull.min(axis=0)), 0, None)
    far = np.minimum(np.ceil(hull.max(axis=0)) + 1, [shape[1], shape[0]])
    if (far - corner).min() < 20:
        raise nothing_there()
    left, top = corner.astype(int).tolist()
    right, bottom = far.astype(int).tolist()
    size = (bottom - top, right - left)
    in_window = polygon_mask(size, window - corner)
    domain = polygon_mask(size, hull - corner)
    if not in_window.any():
        raise nothing_there()

    strip = np.concatenate([view.window_px(inwards) for inwards in (3.0, 6.0)])
    points = quiet_zone_points(found) if len(found) >= 3 else strip
    points = points[_inside(points, shape)]
    light = fit_light(points, _sample(picture, points), 2)
    sheet = light.over(left, top, size[1], size[0])
    if view.window_dark:
        strip = strip[_inside(strip, shape)]
        ratio = _sample(picture, strip) / light.at(strip)
        print_light = ratio[ratio.mean(axis=1) < 0.5]
        if len(print_light):
            sheet[in_window] *= np.median(print_light, axis=0).astype(np.float32)
    tone = np.sqrt(np.maximum(picture[top:bottom, left:right] / sheet, 0))

    marked = np.zeros((2, *size), np.uint8)
    for which, quads, scale in ((0, found, 1.3), (1, covered, 0.9)):
        for quad in quads:
            outline = quad.mean(axis=0) + scale * (quad - quad.mean(axis=0)) - corner
            cv2.fillConvexPoly(marked[which], np.round(outline).astype(np.int32), 1)

    smooth = cv2.GaussianBlur(tone, (0, 0), 0.7)
    brightness = grey(smooth)
    judged = in_window & domain
    of_hue = _gradient(smooth - brightness[..., None])
    of_hue -= np.float32(3 * np.percentile(of_hue[judged], 20))
    of_brightness = _gradient(brightness[..., None])
    gradient = np.sqrt(3 * of_brightness**2 + (HUE_WEIGHT * np.maximum(of_hue, 0)) ** 2)
    ridge = np.ones((EDGE_PX, EDGE_PX), np.uint8)
    fine = grey(np.abs(tone - cv2.GaussianBlur(tone, (0, 0), 1.2)))
    fine = _float32(cv2.erode(cv2.GaussianBlur(fine, (0, 0), 1.2), np.ones((9, 9), np.uint8)))
    even = max(float(np.percentile(fine[judged], 20)), 1e-4)
    return Tones(
        left=left,
        top=top,
        tone=tone,
        gradient=gradient,
        sharp=_float32(cv2.morphologyEx(gradient, cv2.MORPH_TOPHAT, ridge)),
        texture=fine / np.float32(even),
        noise=max(float(np.percentile(gradient[judged], 20)), 5e-4),
        spread=max(float(light.spread.mean()) / 2, 2 * LEAST_SPREAD),
        domain=domain,
        window=in_window,
        surely_sheet=marked[0] > 0,
        surely_part=marked[1] > 0,
        window_dark=view.window_dark,
        mm_per_px=view.mm_per_px(),
    )


def relit(scene: Tones, sheet: Mask) -> Tones:
    """The tones with the light fitted again, to all that was found to be sheet."""
    sheet = sheet & (scene.sharp < 4 * scene.noise)
    if scene.window_dark:
        sheet &= scene.window
    y, x = np.nonzero(sheet)
    every = max(len(x) // 3000, 1)
    y, x = y[::every], x[::every]
    if len(x) < 300:
        return scene
    samples = scene.tone[y, x].astype(np.float64) ** 2
    light = fit_light(np.column_stack([x, y]).astype(np.float64), samples, 3)
    height, width = scene.gradient.shape
    tone = _float32(scene.tone / np.sqrt(light.over(0, 0, width, height)))
    return replace(scene, tone=tone, spread=max(float(light.spread.mean()) / 2, LEAST_SPREAD))


def _float32(values: NDArray[Any]) -> Picture:
    return np.asarray(values, np.float32)


def _sample(picture: Picture, points: Floats) -> Floats:
    """Bilinear values (N, C) at points (N, 2) in the picture."""
    x, y = points.T.astype(np.float32)
    rows = max(len(x) // 30000 + 1, 1)  # remap takes no more than 32767 columns
    values = [
        cv2.remap(picture, a[None], b[None], cv2.INTER_LINEAR)[0]
        for a, b in zip(np.array_split(x, rows), np.array_split(y, rows), strict=True)
        if len(a)
    ]
    return np.concatenate(values or [np.empty((0, picture.shape[2]))]).astype(np.float64)


def _inside(points: Floats, shape: tuple[int, ...]) -> Mask:
    x, y = points.T
    return np.asarray((x >= 1) & (y >= 1) & (x <= shape[1] - 2) & (y <= shape[0] - 2))


def _gradient(tone: Picture) -> Picture:
    square = np.zeros(tone.shape[:2], np.float32)
    for channel in cv2.split(tone):
        across, down = np.zeros_like(square), np.zeros_like(square)
        across[:, 1:-1] = channel[:, 2:] - channel[:, :-2]
        down[1:-1] = channel[2:] - channel[:-2]
        square += across * across + down * down
    return np.asarray(np.sqrt(square) / 2)


def _is_covered(picture: Picture, quad: Floats) -> bool:
    """Whether a marker lies in the picture and nothing of its dark border is to be seen."""
    outside = quiet_zone_points(quad[None])
    if not _inside(outside, picture.shape).all():
        return False
    inside = quad.mean(axis=0) + 0.86 / QUIET_ZONE * (outside - quad.mean(axis=0))
    dark, light = (_sample(picture, points).mean(axis=1) for points in (inside, outside))
    return bool(np.mean(dark < 0.4 * light) < 0.08)
