"""The part separated from the sheet in a reduced photo: its silhouette to a reduced pixel.

The sheet's light is fitted where sheet is certain, the photo divided by it, and every small
region of it judged by what colour sheet, shadow on sheet and part have; where the part has
covered markers its colours are known beforehand. The cheapest cut along the picture's edges then
separates the two, the part's colours are learned from it, and it is cut again. At last the border
is followed along the sharpest edge in its neighbourhood.

Pixel (i, j) of a photo reduced by area averaging with factor `step` has its centre at
x_full = step * x_reduced + (step - 1) / 2 in the full photo, pixel centres at whole numbers.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.errors import PhotoError
from snugline.notice import Notice
from snugline.trace.part.coarse_border import CoarseEdge, Ground, follow
from snugline.trace.part.paper_light import (
    fit_light,
    in_picture,
    is_covered,
    light_at,
    quiet_zone_points,
)
from snugline.trace.part.superpixels import cut, split, total

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
Mask = NDArray[np.bool_]
Mapping = Callable[[Floats], Floats]

CELL = 5
UNARY = 0.15
PLAIN = 20.0
SHADE = 0.4
HUE_WEIGHT = 4.0
# A ridge of the gradient wider than this is not a sharp edge.
EDGE_PX = 7
MARGIN_MM = 1.0
SMALLEST_PART_MM2 = 60.0
SMALLEST_HOLE_MM2 = 12.0

# Tones are square roots of light over sheet: there a photo's noise is nearly the same everywhere.
_TONES, _TONE_STEP = 96, 1.0 / 64
# Hues are differences of tone, bent so that near grey, where it matters, the table is fine.
_HUES, _HUE_BEND = 41, 0.1
_GRAINS = 32


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


@dataclass(frozen=True)
class Region:
    """One connected piece of the part as the window shows it.

    Attributes
    ----------
    outer : its border; several pieces where it leaves the window and comes back.
    holes : closed borders of holes.
    area_mm2 : in the window.
    """

    outer: tuple[CoarseEdge, ...]
    holes: tuple[CoarseEdge, ...]
    area_mm2: float


@dataclass(frozen=True)
class PartRegions:
    """The part's regions, largest first, and what was noticed."""

    regions: tuple[Region, ...]
    notices: tuple[Notice, ...]


def find_part(picture: Picture, view: SheetView) -> PartRegions:
    """Separate part from sheet.

    Parameters
    ----------
    picture : (h, w, 3) linear light of the reduced photo, displayed orientation.

    Raises
    ------
    PhotoError : nothing lies in the window.
    """
    scene = _scene(picture, view)
    scene, part, favour = _separate(scene)
    return _describe(scene, part, favour, view)


@dataclass(frozen=True)
class _Scene:
    """The judged rectangle of the picture; all arrays cover it."""

    left: int
    top: int
    tone: Picture  # (h, w, 3) square root of light over sheet
    gradient: Picture
    sharp: Picture  # gradient less that of wide rims: shadows' borders are left out
    texture: Picture  # fine unevenness over that of flat sheet; edges standing alone left out
    noise: float  # of the gradient on flat sheet
    spread: float  # of lit sheet's tone
    domain: Mask
    window: Mask
    surely_sheet: Mask
    surely_part: Mask
    dark_window: bool
    mm_per_px: float


def _polygon(shape: tuple[int, int], polygon: Floats, left: int, top: int) -> Mask:
    mask = np.zeros(shape, np.uint8)
    corners = np.round((polygon - [left, top]) * 16).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1, shift=4)
    return mask.astype(bool)


def _along(polygon: Floats, spacing: float) -> Floats:
    """Points along a closed polygon."""
    closed = np.vstack([polygon, polygon[:1]])
    run = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    at = np.arange(0, run[-1], spacing)
    return np.column_stack([np.interp(at, run, closed[:, k]) for k in (0, 1)])


def _shrunk(polygon: Floats, by: float) -> Floats:
    from shapely.geometry import Polygon

    inner = Polygon(polygon).buffer(-by, join_style="mitre")
    return np.asarray(inner.exterior.coords)[:-1]


def _scene(picture: Picture, view: SheetView) -> _Scene:
    shape = picture.shape
    window = view.pixel_from_sheet(_along(view.window, 5.0))
    # Markers that were not found may lie under the part, which is known by them.
    judged = np.vstack([window, view.markers[~view.found].reshape(-1, 2)])
    hull = cv2.convexHull(judged.astype(np.float32))[:, 0].astype(np.float64)
    left, top = np.clip(np.floor(hull.min(axis=0)), 0, None).astype(int)
    right, bottom = np.minimum(np.ceil(hull.max(axis=0)) + 1, [shape[1], shape[0]]).astype(int)
    if right - left < 4 * CELL or bottom - top < 4 * CELL:
        raise _nothing()
    size = (int(bottom - top), int(right - left))
    middle = view.window.mean(axis=0)
    ends = view.pixel_from_sheet(middle + np.array([[-10, 0], [10, 0], [0, -10], [0, 10.0]]))
    mm_per_px = 40 / float(np.linalg.norm(ends[1] - ends[0]) + np.linalg.norm(ends[3] - ends[2]))

    found = view.markers[view.found]
    strip = view.pixel_from_sheet(_along(_shrunk(view.window, 3.0), 2.0))
    if len(found) >= 3:
        points = quiet_zone_points(found)
    else:
        points = np.vstack([strip, view.pixel_from_sheet(_along(_shrunk(view.window, 6.0), 2.0))])
    points = points[in_picture(points, shape, 1)]
    light = fit_light(points, light_at(picture, points), 2)

    crop = picture[top:bottom, left:right]
    sheet = light.over(left, top, size[1], size[0])
    in_window = _polygon(size, window, left, top)
    if view.window_dark:
        strip = strip[in_picture(strip, shape, 1)]
        ratio = light_at(picture, strip) / light.at(strip)
        dark = ratio[ratio.mean(axis=1) < 0.5]
        sheet[in_window] *= np.median(dark, axis=0).astype(np.float32)
    tone = np.sqrt(crop / sheet)

    surely_sheet = np.zeros(size, np.uint8)
    surely_part = np.zeros(size, np.uint8)
    for quad in found:
        grown = quad.mean(axis=0) + 1.3 * (quad - quad.mean(axis=0))
        cv2.fillConvexPoly(surely_sheet, np.round(grown - [left, top]).astype(np.int32), 1)
    for quad in view.markers[~view.found]:
        if in_picture(quad, shape).all() and is_covered(picture, quad):
            inner = quad.mean(axis=0) + 0.9 * (quad - quad.mean(axis=0))
            cv2.fillConvexPoly(surely_part, np.round(inner - [left, top]).astype(np.int32), 1)
    domain = _polygon(size, hull, left, top)
    inside = in_window & domain
    gradient = _gradient(cv2.GaussianBlur(tone, (0, 0), 0.7), inside)
    sharp = cv2.morphologyEx(gradient, cv2.MORPH_TOPHAT, np.ones((EDGE_PX, EDGE_PX), np.uint8))
    noise = max(_fifth(gradient, inside), 5e-4)
    rough = _grey(cv2.absdiff(tone, cv2.GaussianBlur(tone, (0, 0), 1.2)))
    calm = cv2.GaussianBlur(rough, (0, 0), 1.2)
    calm = np.asarray(cv2.erode(calm, np.ones((9, 9), np.uint8)), np.float32)
    return _Scene(
        texture=np.asarray(calm / max(_fifth(calm, inside), 1e-4), np.float32),
        left=int(left),
        top=int(top),
        tone=tone,
        gradient=gradient,
        sharp=sharp,  # type: ignore[arg-type]
        noise=noise,
        spread=max(float(light.spread.mean()) / 2, 0.01),
        domain=domain,
        window=in_window,
        surely_sheet=surely_sheet > 0,
        surely_part=surely_part > 0,
        dark_window=view.window_dark,
        mm_per_px=mm_per_px,
    )


def _grey(picture: NDArray[Any]) -> Picture:
    """Mean of three channels."""
    return np.asarray(cv2.transform(picture, np.full((1, 3), 1 / 3, np.float32)))


def _fifth(values: NDArray[Any], where: Mask) -> float:
    """What a fifth of the values lie below; every fourth is asked."""
    return float(np.percentile(values[where][::4], 20))


def _gradient(tone: Picture, inside: Mask) -> Picture:
    """Size of the tone's gradient.

    A shadow's rim has no step in hue, a coloured part's edge has: hue counts for more.
    """
    x = cv2.Sobel(tone, cv2.CV_32F, 1, 0, ksize=1, scale=0.5)
    y = cv2.Sobel(tone, cv2.CV_32F, 0, 1, ksize=1, scale=0.5)
    grey = cv2.magnitude(_grey(x), _grey(y))
    of_hue = np.sqrt(3 * np.maximum(_grey(x * x + y * y) - grey * grey, 0))
    of_hue -= 3 * _fifth(of_hue, inside)
    return np.asarray(cv2.magnitude(3**0.5 * grey, HUE_WEIGHT * np.maximum(of_hue, 0)))


def _nothing() -> PhotoError:
    return PhotoError(
        "nothing lies in the frame's window",
        "photo",
        "lay the part so that its end or corner shows within the markers",
    )


def _bins(tone: Picture) -> NDArray[np.intp]:
    """The colour's place in the table of colours."""
    red, green, blue = cv2.split(tone)
    grey = _grey(tone)
    scale = 1 / (grey + 0.1)
    place = np.zeros(grey.shape, np.int32)
    for other in (red, blue):
        hue = (other - green) * scale
        bent = hue / (np.abs(hue) + _HUE_BEND)
        place = place * _HUES + ((bent + 1) * (_HUES / 2)).astype(np.int32)
    tones = np.clip(grey / _TONE_STEP, 0, _TONES - 1).astype(np.int32)
    return np.asarray(place * _TONES + tones, np.intp)


def _sheet_colours(spread: float, shaded: float) -> Picture:
    """Density of lit and, to a share of `shaded`, darkened sheet over the table of colours."""
    grey = ((np.arange(_TONES, dtype=np.float32) + 0.5) * _TONE_STEP)[None, None]
    bent = ((np.arange(_HUES, dtype=np.float32) + 0.5) / (_HUES / 2) - 1)[:, None, None]
    hue = _HUE_BEND * bent / (1 - np.abs(bent))
    step = _HUE_BEND / np.square(1 - np.abs(bent)) * 2 / _HUES
    bin_area = step * step.swapaxes(0, 1)
    square = hue**2 + hue.swapaxes(0, 1) ** 2 - hue * hue.swapaxes(0, 1)
    wide = np.hypot(max(2 * spread, 0.015), _TONE_STEP / 2)
    tight = np.float32(1.5 * spread)
    neutral = np.exp(-0.5 * square / tight**2) * bin_area
    lit = np.exp(-0.5 * ((grey - 1) / wide) ** 2) * neutral
    # Shadows mostly keep the sheet's hue; a second lamp or a near wall tints some of them.
    tint = np.hypot(tight, 0.1 * np.clip(1 - grey, 0, 1))
    tinted = np.exp(-0.5 * square / tint**2) / tint**2 * bin_area
    shade = (neutral / tight**2 + tinted) * np.where((grey > 0.3) & (grey < 1.0), 1.0, 1e-3)
    return np.asarray((1 - shaded) * lit / lit.sum() + shaded * shade / shade.sum(), np.float32)


def _counted(bins: NDArray[np.intp], where: Mask) -> Picture:
    """How often each colour occurs in a mask."""
    count = np.bincount(bins[where], minlength=_HUES * _HUES * _TONES)
    return count.astype(np.float32).reshape(_HUES, _HUES, _TONES)


def _spread_out(table: Picture, tones: float, hues: float) -> Picture:
    """A table of colours blurred by this many of its steps."""
    size = 2 * round(2.5 * hues) + 1
    table = cv2.GaussianBlur(table, (size, size), hues, borderType=cv2.BORDER_REFLECT)  # type: ignore[assignment]
    size = 2 * round(2.5 * tones) + 1
    flat = table.reshape(-1, _TONES)
    flat = cv2.GaussianBlur(flat, (size, 1), tones, borderType=cv2.BORDER_REFLECT)  # type: ignore[assignment]
    return flat.reshape(table.shape)


def _learned(bins: NDArray[np.intp], where: Mask) -> Picture:
    """Density of the part's colours, from those in a mask; sums to 1.

    Mostly as they are, a little of it spread to tones nearby, where the light on the part varies,
    and a trace everywhere.
    """
    count = _counted(bins, where)
    near = _spread_out(count / max(float(count.sum()), 1.0), 0.8, 0.8)
    wide = _spread_out(near, 4, 2)
    return np.asarray(0.9 * near + 0.05 * wide + 0.05 / count.size, np.float32)


def _with_learned_hues(base: Picture, bins: NDArray[np.intp], where: Mask) -> Picture:
    """The sheet's colours with, tone by tone, the hues that its shadows have in this photo.

    How often a tone occurs stays as it was: there is always far less shadow than lit sheet.
    """
    table = _spread_out(_counted(bins, where), 3, 1)
    seen = table.sum(axis=(0, 1))
    trust = seen / (seen + 20.0)
    expected = base.sum(axis=(0, 1))
    share = 0.7 * expected * trust / np.maximum(seen, 1e-9)
    return np.asarray(base * (1 - 0.7 * trust) + table * share, np.float32)


def _grain_evidence(part: NDArray[np.intp], sheet: NDArray[np.intp]) -> Picture:
    """Logarithm of the odds that a texture is the part's, from how often each has it."""
    of_part = gaussian_filter1d(part.astype(np.float64), 1.0)
    of_sheet = gaussian_filter1d(sheet.astype(np.float64), 1.0)
    of_part = of_part / max(of_part.sum(), 1) + 0.02
    of_sheet = of_sheet / max(of_sheet.sum(), 1) + 0.02
    return np.asarray(np.clip(np.log(of_part / of_sheet), -3, 3).astype(np.float32))


def _inner(mask: Mask, by: int) -> Mask:
    size = 2 * by + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderValue=1) > 0)


def _separate(scene: _Scene) -> tuple[_Scene, Mask, Picture]:
    """The part's mask, the scene in better light, and each pixel's odds of being the part's."""
    limit = 3 * scene.noise * np.maximum(scene.texture, 1)
    weight = (4.0 / (1 + np.square(scene.sharp / limit))).astype(np.float32)
    # A pixel on an edge has a mixed colour, which may be anybody's.
    plain = (1 / (1 + np.square(scene.gradient / (PLAIN / 3 * limit)))).astype(np.float32)
    regions = split(scene.gradient, scene.domain, CELL, weight, 10 * scene.noise)
    sure_sheet = total(regions, scene.surely_sheet) > 4
    fineness = 8 * np.log(np.maximum(scene.texture, 0.05)) + _GRAINS / 2
    grain: NDArray[np.intp] = np.clip(fineness, 0, _GRAINS - 1).astype(np.intp)

    def separated(sheet: Picture, part: Picture, evenness: Picture, known: Mask) -> Mask:
        table = np.clip(np.log(part / (sheet + 1e-2 / part.size)), -5, 5)
        odds[:] = (table.ravel().take(bins) + evenness.take(grain)) * plain
        favour = total(regions, odds) * UNARY
        favour[total(regions, known) > 4] = np.inf
        favour[sure_sheet] = -np.inf
        return cut(regions, favour)[regions.labels]

    odds = np.empty_like(scene.gradient)
    bins = _bins(scene.tone)
    base = _sheet_colours(scene.spread, SHADE)
    known = scene.surely_part & scene.domain
    flat = np.full_like(base, 1.0 / base.size)
    indifferent = np.zeros(_GRAINS, np.float32)
    if not known.any():
        # No marker is covered: the core of what is not lit sheet is the part, or nothing is.
        here = separated(_sheet_colours(scene.spread, 1e-3), flat, indifferent, known)
        known = _core(here & scene.window)
        if not known.any():
            raise _nothing()
    off = np.abs(scene.tone - 1)
    lit = np.maximum(np.maximum(off[..., 0], off[..., 1]), off[..., 2]) < 3 * scene.spread + 0.02
    evenness = _grain_evidence(
        np.bincount(grain[known], minlength=_GRAINS),
        np.bincount(grain[lit & scene.window], minlength=_GRAINS),
    )
    here = separated(base, 0.3 * flat + 0.7 * _learned(bins, known), evenness, known)
    scene = _relit(scene, _inner(~here, 3) & scene.domain)
    bins = _bins(scene.tone)
    base = _sheet_colours(scene.spread, SHADE)
    inside = _inner(here, 3) & scene.window | known
    outside = _inner(~here, 2) & scene.window
    evenness = _grain_evidence(
        np.bincount(grain[inside], minlength=_GRAINS),
        np.bincount(grain[outside], minlength=_GRAINS),
    )
    # Cut once more, no photo's border changes.
    sheet = _with_learned_hues(base, bins, outside)
    here = separated(sheet, _learned(bins, inside), evenness, known)
    return scene, here, odds


def _core(mask: Mask) -> Mask:
    """The innermost pixels of a mask."""
    depth = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(depth > max(0.6 * float(depth.max()), CELL))


def _relit(scene: _Scene, sheet: Mask) -> _Scene:
    """The scene with its light fitted again, to all that was found to be sheet."""
    sheet = sheet & (scene.sharp < 4 * scene.noise)
    if scene.dark_window:
        sheet = sheet & scene.window
    y, x = np.nonzero(sheet)
    every = max(len(x) // 3000, 1)
    y, x = y[::every], x[::every]
    if len(x) < 300:
        return scene
    light = fit_light(
        np.column_stack([x, y]).astype(np.float64), scene.tone[y, x].astype(np.float64) ** 2, 3
    )
    height, width = scene.gradient.shape
    tone = scene.tone / np.sqrt(light.over(0, 0, width, height))
    spread = max(float(light.spread.mean()) / 2, 0.005)
    return replace(scene, tone=tone, spread=spread)  # type: ignore[arg-type]


def _describe(scene: _Scene, part: Mask, favour: Picture, view: SheetView) -> PartRegions:
    area = scene.mm_per_px**2
    corner = np.array([scene.left, scene.top], float)
    polygon = view.pixel_from_sheet(_along(_shrunk(view.window, MARGIN_MM), 5.0)) - corner
    count, labels = cv2.connectedComponents(part.astype(np.uint8), connectivity=4)
    seen = np.bincount(labels[_polygon(part.shape, polygon, 0, 0)], minlength=count) * area
    keep = [k for k in np.argsort(-seen) if k > 0 and seen[k] >= SMALLEST_PART_MM2]
    if not keep:
        raise _nothing()
    regions = []
    wall = None
    if view.camera is not None and view.thickness > 0:
        camera, thickness = view.camera, view.thickness

        def wall(points: Floats) -> Floats:
            on_sheet = view.sheet_from_pixel(points + corner)
            shift = thickness / (camera[2] - thickness) * (on_sheet - camera[:2])
            return np.asarray(view.pixel_from_sheet(on_sheet + shift) - points - corner)

    ground = Ground(
        tone=scene.tone,
        favour=favour,
        sharp=0.5 * (scene.sharp + scene.gradient),
        texture=scene.texture,
        noise=scene.noise,
        polygon=polygon,
        smallest_hole=SMALLEST_HOLE_MM2 / area,
        wall=wall,
        bevel=view.bevel / scene.mm_per_px,
    )
    for k in keep:
        outer, holes = follow(labels == k, ground)
        # A highlight or a worn print has a soft border, a hole a sharp one.
        holes = [hole for hole in holes if hole.certain.mean() > 0.5]
        regions.append(
            Region(
                tuple(e.moved(corner) for e in outer),
                tuple(e.moved(corner) for e in holes),
                float(seen[k]),
            )
        )
    return PartRegions(tuple(regions), ())
