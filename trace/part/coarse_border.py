"""A mask's border followed along the sharpest edge in its neighbourhood."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter, uniform_filter1d
from skimage.measure import find_contours

from snugline.trace.image.minimum_cost_path import minimum_cost_path

Floats = NDArray[np.float64]

# Shift (N, 2) in pixels that the part's thickness gives a point (N, 2) of its upper edge.
Wall = Callable[[Floats], Floats]

# How far from the mask's border the edge is looked for, and how far inside it the tone is taken.
INWARD_PX, OUTWARD_PX, REFERENCE_PX = 12.0, 4.0, 8.0
FARTHEST_WALL_PX = 12.0
KIND_WEIGHT = 0.06
_STEP = 0.5
# Overlap of the minimum-cost path when closing a loop, points.
_PATH_OVERLAP = 30
# Points along the border within which print on the part shows as unevenness.
_PRINT = 41


@dataclass(frozen=True)
class CoarseEdge:
    """A piece of the silhouette.

    Attributes
    ----------
    points : (M, 2) reduced pixels, x right, y down, with the part on the left as seen on the
        sheet (y up), so on the right hand in the picture.
    certain : (M,) the edge is clear; elsewhere contrast is low or other edges lie near.
    closed : whether the last point joins the first.
    """

    points: Floats
    certain: NDArray[np.bool_]
    closed: bool

    def moved(self, shift: Floats) -> "CoarseEdge":
        return replace(self, points=self.points + shift)


@dataclass(frozen=True)
class Ground:
    """The pictures on which the border is followed, (h, w) over one rectangle.

    Attributes
    ----------
    tone : (h, w, 3) square root of light over sheet.
    favour : logarithm of the odds that a pixel is the part's.
    sharp : gradient of the tone, without wide soft edges.
    texture : fine unevenness over that of flat sheet.
    noise : of the gradient on flat sheet.
    polygon : (K, 2) pixels within which points are given.
    smallest_hole : area in pixels.
    wall : shift of the upper edge; None if not known.
    bevel : pixels, width of the rounding or chamfer of the upper edge.
    """

    tone: NDArray[np.float32]
    favour: NDArray[np.float32]
    sharp: NDArray[np.float32]
    texture: NDArray[np.float32]
    noise: float
    polygon: Floats
    smallest_hole: float
    wall: Wall | None
    bevel: float


def follow(mask: NDArray[np.bool_], ground: Ground) -> tuple[list[CoarseEdge], list[CoarseEdge]]:
    """Outer borders and holes of a mask, within a polygon, at sub-pixel level."""
    filled = mask.astype(np.uint8)
    soft = cv2.GaussianBlur(np.pad(filled, 2).astype(np.float32), (0, 0), 1.0)
    outer: list[CoarseEdge] = []
    holes: list[CoarseEdge] = []
    for line in find_contours(soft, 0.5):  # type: ignore[no-untyped-call]
        xy = line[::-1, ::-1] - 2  # skimage keeps the high side on the other hand
        closed = bool(np.allclose(xy[0], xy[-1]))
        area = _area(xy)
        if abs(area) < ground.smallest_hole:
            continue
        xy = _resampled(xy, closed)
        if len(xy) < 12:
            continue
        pieces = _refined(xy, closed, ground)
        (outer if area < 0 else holes).extend(pieces)
    return outer, holes


def _area(xy: Floats) -> float:
    """Signed, positive when counter-clockwise on a page with y up."""
    x, y = xy.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _resampled(xy: Floats, closed: bool) -> Floats:
    run = np.r_[0, np.cumsum(np.linalg.norm(np.diff(xy, axis=0), axis=1))]
    n = max(round(run[-1]), 4)
    at = np.linspace(0, run[-1], n, endpoint=not closed)
    return np.column_stack([np.interp(at, run, xy[:, k]) for k in (0, 1)])


def _smoothed(xy: Floats, closed: bool, width: float) -> Floats:
    return np.asarray(gaussian_filter1d(xy, width, axis=0, mode="wrap" if closed else "nearest"))


def _normals(xy: Floats, closed: bool) -> Floats:
    if closed:
        tangent = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    else:
        tangent = np.gradient(xy, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def _could_be_shade(tone: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where a colour could be shaded sheet, even one tinted as by a warm lamp in daylight."""
    grey = tone.mean(axis=2)
    hue = (tone[..., ::2] - tone[..., 1:2]) / (grey + 0.1)[..., None]
    square = hue[..., 0] ** 2 + hue[..., 1] ** 2 - hue[..., 0] * hue[..., 1]
    widest = 0.02 + 0.45 * np.clip(1 - grey, 0, 0.6)
    return np.asarray((grey > 0.25) & (grey < 1) & (square < widest**2))


def _refined(xy: Floats, closed: bool, ground: Ground) -> list[CoarseEdge]:
    mode = "wrap" if closed else "nearest"
    smooth = _smoothed(xy, closed, 2.0)
    normal = _normals(smooth, closed)
    seen = np.zeros(len(smooth))
    if ground.wall is not None:
        seen = np.clip(-np.sum(ground.wall(smooth) * normal, axis=1), 0, FARTHEST_WALL_PX)
    sides = seen + ground.bevel
    deep = float(np.ceil(sides.max()))
    offset = np.arange(-INWARD_PX - deep - REFERENCE_PX, OUTWARD_PX + deep + _STEP / 2, _STEP)
    place = (smooth[:, None] + offset[None, :, None] * normal[:, None]).astype(np.float32)

    def across(picture: NDArray[np.float32]) -> NDArray[np.float32]:
        values = cv2.remap(picture, place[..., 0], place[..., 1], cv2.INTER_LINEAR)
        return np.asarray(values, np.float32)

    slope = across(ground.sharp)
    reference = int(REFERENCE_PX / _STEP)
    rough = across(ground.texture)[:, :reference].mean(axis=1)[:, None]
    rough = np.maximum(median_filter1d(rough, closed), 1)
    # On a grainy part more neighbours along the border are pooled.
    width = float(np.clip(1.5 * np.median(rough), 1.5, 6.0))
    if width > 2:
        slope = gaussian_filter1d(slope, width / 2, axis=0, mode=mode)
    strength = slope / (slope + 4 * ground.noise * rough)
    strength *= np.sqrt(slope / np.maximum(slope[:, reference:].max(axis=1, keepdims=True), 1e-9))
    kind = np.clip(across(ground.favour), -3, 3)
    # The first sharp step away from the tone of the part's inner side is the border, if what lies
    # beyond could be shadow: the part's own sides, which may have any tone, are allowed for below.
    # Averaged along the border, grain is low enough to distinguish its mean tone from a shadow's.
    tone = across(ground.tone)
    shaded = _could_be_shade(tone)
    tone = gaussian_filter1d(tone, 3.0, axis=0, mode=mode)
    own = median_filter1d(np.median(tone[:, :reference], axis=1), closed)
    # How uneven it is there, along the border as well: printed patches are not shadows.
    around = [
        uniform_filter1d((tone[:, :reference] ** power).mean(axis=1), _PRINT, axis=0, mode=mode)
        for power in (1, 2)
    ]
    uneven = np.sqrt(np.maximum(around[1] - around[0] ** 2, 0).sum(axis=1))[:, None]
    spread = 20 * ground.noise + 2.5 * uneven
    change = np.linalg.norm(tone - own[:, None], axis=2) / spread
    step = (
        np.cumsum(np.maximum(slope - 4 * ground.noise * rough * np.minimum(rough, 2), 0), axis=1)
        * _STEP
    )
    step -= step[:, reference, None]
    alien = np.clip(np.minimum(step / (10 * ground.noise), change), 0, 2)
    kind = np.where(shaded, np.minimum(kind, 3 * (1 - alien)), kind) * KIND_WEIGHT  # type: ignore[assignment]
    right = np.cumsum(kind, axis=1) - kind / 2
    if deep > 0:
        # Where the side shows, the top edge is a second edge, as far inside as the side is wide,
        # and the side itself may have any tone: it is neither for nor against.
        column = np.arange(len(offset))
        back = np.clip(column - np.round(sides / _STEP).astype(int)[:, None], 0, None)
        edge = np.clip(column - np.round(seen / _STEP).astype(int)[:, None], 0, None)
        strongest = maximum_filter1d(strength, 3, axis=1)
        upper = np.maximum(
            np.take_along_axis(strongest, back, axis=1), np.take_along_axis(strongest, edge, axis=1)
        )
        strength = strength + np.clip(seen / 1.5, 0, 1)[:, None] * upper
        right = 0.5 * (right + np.take_along_axis(right, back, axis=1))
    first = reference + int(deep / _STEP)
    offset, slope = offset[first:], slope[:, first:]
    strength, right = strength[:, first:], right[:, first:]
    cost = 0.05 + strength.max() - strength + 0.02 * np.abs(offset)
    cost += right.max(axis=1, keepdims=True) - right
    cost = gaussian_filter1d(cost, width, axis=0, mode=mode)
    path = minimum_cost_path(cost, closed, _PATH_OVERLAP)
    k = np.clip(np.round(path).astype(int), 1, len(offset) - 2)
    rows = np.arange(len(k))
    # The path is smooth; the edge is the steepest position within half a pixel of it.
    near = np.clip(k[:, None] + np.arange(-1, 2), 1, len(offset) - 2)
    k = near[rows, np.argmax(slope[rows[:, None], near], axis=1)]
    before, here, after = slope[rows, k - 1], slope[rows, k], slope[rows, k + 1]
    peak = (here >= before) & (here >= after) & (here > 0)
    bend = np.where(peak, before - 2 * here + after, -1)
    shift = np.where(peak, 0.5 * (before - after) / np.minimum(bend, -1e-9), path - k)
    at = offset[k] + np.clip(shift, -1, 1) * _STEP
    points = smooth + at[:, None] * normal
    level = cost[rows, k]
    far = np.abs(np.arange(len(offset)) - k[:, None]) > 2 / _STEP
    other = np.where(far, cost, np.inf).min(axis=1)
    certain = (here > 6 * ground.noise) & (other - level > 0.3)
    return _within(points, smooth, certain, closed, ground.polygon)


def median_filter1d(values: NDArray[np.float32], closed: bool) -> NDArray[np.float32]:
    """Median of 15 rows along the border; (N, C)."""
    return np.asarray(median_filter(values, (15, 1), mode="wrap" if closed else "nearest"))


def _within(
    points: Floats, mask_border: Floats, certain: NDArray[np.bool_], closed: bool, polygon: Floats
) -> list[CoarseEdge]:
    """The pieces that lie in the polygon both before and after refinement."""
    from shapely import contains_xy
    from shapely.geometry import Polygon

    shape = Polygon(polygon)
    inside = contains_xy(shape, *points.T) & contains_xy(shape, *mask_border.T)
    if inside.all():
        return [CoarseEdge(points, certain, closed)]
    if closed:
        start = int(np.argmin(inside))
        points = np.roll(points, -start, axis=0)
        certain, inside = np.roll(certain, -start), np.roll(inside, -start)
    change = np.flatnonzero(np.diff(np.r_[False, inside, False].astype(int)))
    return [
        CoarseEdge(points[a:b], certain[a:b], False)
        for a, b in zip(change[::2], change[1::2], strict=True)
        if b - a >= 8
    ]
