"""A mask's border followed along the sharpest edge in its neighbourhood."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from skimage.measure import find_contours

from snugline.trace.image.minimum_cost_path import minimum_cost_path

Floats = NDArray[np.float64]

# Lengths are pixels of the reduced picture. Weights and thresholds without another reason were
# chosen on the scenes and shared photos of `benchmarks/segmentation.py`.
#
# The edge is looked for this far from the mask's border.
INWARD_PX = 5.0
OUTWARD_PX = 4.0
REFERENCE_PX = 8.0  # farther inside the part's grain is taken
_STEP = 0.5  # px between samples: a bilinear picture holds no more
_REFERENCE = int(REFERENCE_PX / _STEP)
_MASK_BLUR_PX = 1.0  # of the mask, before its border becomes a line
_LINE_SMOOTH = 2.0  # of the line
# Fewer points than these do not make a border, or a piece of one.
_FEWEST_POINTS = 12
_SHORTEST_PIECE = 8
_POOLED = (1.5, 6.0)  # rows, on a smooth part, and at most on a grainy one
_POOL_SLOPES = 2  # from this many rows on the slopes are pooled too
# Longer than grain, shorter than a corner:
_MEDIAN_ROWS = 15
# A gradient of this many times the noise, on a part of that grain, is an edge by half.
_GRADIENT_NOISES = 4
KIND_WEIGHT = 0.06  # of the log odds against the edge's strength
_KIND_LIMIT = 3  # of the log odds of one pixel
# Minimum-cost path:
_STEP_COST = 0.05
_OFFSET_COST = 0.02  # of a pixel away from the mask's border
_PATH_OVERLAP = 30  # points, when closing a loop
# Part and sheet are distinguished where this far inside and outside either is nine times as likely.
_BESIDE_PX = 5.0
_TOLD = float(np.log(9))


@dataclass(frozen=True)
class CoarseEdge:
    """A piece of the silhouette.

    Attributes
    ----------
    points : (M, 2) reduced pixels, x right, y down, with the part on the left as seen on the
        sheet (y up), so on the right hand in the picture.
    closed : whether the last point joins the first.
    told : (M,) the learned map tells part from sheet on either side of it.
    """

    points: Floats
    closed: bool
    told: NDArray[np.bool_]

    def moved(self, shift: Floats) -> "CoarseEdge":
        return replace(self, points=self.points + shift)


@dataclass(frozen=True)
class Ground:
    """The pictures on which the border is followed, (h, w) over one rectangle.

    Attributes
    ----------
    favour : logarithm of the odds that a pixel is the part's.
    sharp : gradient of the tone, without wide soft edges.
    texture : fine unevenness over that of flat sheet.
    noise : of the gradient on flat sheet.
    polygon : (K, 2) pixels within which points are given.
    smallest_hole : area in pixels.
    """

    favour: NDArray[np.float32]
    sharp: NDArray[np.float32]
    texture: NDArray[np.float32]
    noise: float
    polygon: Floats
    smallest_hole: float


def follow(mask: NDArray[np.bool_], ground: Ground) -> tuple[list[CoarseEdge], list[CoarseEdge]]:
    """Outer borders and holes of a mask, within a polygon, at sub-pixel level."""
    filled = mask.astype(np.uint8)
    soft = cv2.GaussianBlur(np.pad(filled, 2).astype(np.float32), (0, 0), _MASK_BLUR_PX)
    outer: list[CoarseEdge] = []
    holes: list[CoarseEdge] = []
    for line in find_contours(soft, 0.5):  # type: ignore[no-untyped-call]
        xy = line[::-1, ::-1] - 2  # skimage keeps the high side on the other hand
        closed = bool(np.allclose(xy[0], xy[-1]))
        area = _area(xy)
        if abs(area) < ground.smallest_hole:
            continue
        xy = _resampled(xy, closed)
        if len(xy) < _FEWEST_POINTS:
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


@dataclass(frozen=True)
class _Band:
    """The pictures of a ground sampled across a border, (N, T); rows along it, columns outwards.

    Attributes
    ----------
    smooth, normal : (N, 2) the border smoothed, and its outward normals.
    offset : (T,) px, positive outwards.
    rough : (N, 1) how grainy the part is inside.
    width : rows that are pooled.
    slope : gradient of the tone.
    """

    smooth: Floats
    normal: Floats
    offset: Floats
    rough: NDArray[np.float32]
    width: float
    slope: NDArray[np.float32]
    favour: NDArray[np.float32]
    closed: bool
    noise: float

    @property
    def mode(self) -> str:
        return "wrap" if self.closed else "nearest"


def _band(xy: Floats, closed: bool, ground: Ground) -> _Band:
    """Sample the pictures across a border."""
    mode = "wrap" if closed else "nearest"
    smooth = _smoothed(xy, closed, _LINE_SMOOTH)
    normal = _normals(smooth, closed)
    offset = np.arange(-INWARD_PX - REFERENCE_PX, OUTWARD_PX + _STEP / 2, _STEP)
    place = smooth[:, None] + offset[None, :, None] * normal[:, None]
    slope = _at(ground.sharp, place)
    rough = _at(ground.texture, place[:, :_REFERENCE]).mean(axis=1)[:, None]
    rough = np.maximum(_row_median(rough, closed), 1)
    # On a grainy part more neighbours along the border are pooled.
    least, most = _POOLED
    width = float(np.clip(least * np.median(rough), least, most))
    if width > _POOL_SLOPES:
        slope = gaussian_filter1d(slope, width / 2, axis=0, mode=mode)
    favour = _at(ground.favour, place)
    return _Band(smooth, normal, offset, rough, width, slope, favour, closed, ground.noise)


def _refined(xy: Floats, closed: bool, ground: Ground) -> list[CoarseEdge]:
    """The border moved to the sharpest edge in its neighbourhood."""
    band = _band(xy, closed, ground)
    strength, right = _strength(band), _evidence(band)
    offset, slope = band.offset[_REFERENCE:], band.slope[:, _REFERENCE:]
    strength, right = strength[:, _REFERENCE:], right[:, _REFERENCE:]
    cost = _STEP_COST + strength.max() - strength + _OFFSET_COST * np.abs(offset)
    cost += right.max(axis=1, keepdims=True) - right
    cost = gaussian_filter1d(cost, band.width, axis=0, mode=band.mode)
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
    points = band.smooth + at[:, None] * band.normal
    inside, outside = (
        _at(ground.favour, points + way * _BESIDE_PX * band.normal) for way in (-1, 1)
    )
    told = (inside > _TOLD) & (outside < -_TOLD)
    return _within(points, band.smooth, told, closed, ground.polygon)


def _at(picture: NDArray[np.float32], places: Floats) -> NDArray[np.float32]:
    """Bilinear values at places (..., 2)."""
    x, y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
    flat = cv2.remap(picture, np.atleast_2d(x), np.atleast_2d(y), cv2.INTER_LINEAR)
    return np.asarray(flat, np.float32).reshape(places.shape[:-1])


def _strength(band: _Band) -> Floats:
    """(N, T) how much a position looks like an edge, 0 to 1: its gradient over noise and grain."""
    slope = band.slope
    strength: Floats = slope / (slope + _GRADIENT_NOISES * band.noise * band.rough)
    steepest = slope[:, _REFERENCE:].max(axis=1, keepdims=True)
    strength *= np.sqrt(slope / np.maximum(steepest, 1e-9))
    return strength


def _evidence(band: _Band) -> Floats:
    """(N, T) log odds, summed from inside, that all up to a position is the part's."""
    kind = np.clip(band.favour, -_KIND_LIMIT, _KIND_LIMIT) * KIND_WEIGHT
    return np.asarray(np.cumsum(kind, axis=1) - kind / 2)


def _row_median(values: NDArray[np.float32], closed: bool) -> NDArray[np.float32]:
    """Median of neighbouring rows along the border; (N, C)."""
    return np.asarray(
        median_filter(values, (_MEDIAN_ROWS, 1), mode="wrap" if closed else "nearest")
    )


def _within(
    points: Floats, mask_border: Floats, told: NDArray[np.bool_], closed: bool, polygon: Floats
) -> list[CoarseEdge]:
    """The pieces that lie in the polygon both before and after refinement."""
    from shapely import contains_xy
    from shapely.geometry import Polygon

    shape = Polygon(polygon)
    inside = contains_xy(shape, *points.T) & contains_xy(shape, *mask_border.T)
    if inside.all():
        return [CoarseEdge(points, closed, told)]
    if closed:
        start = int(np.argmin(inside))
        points = np.roll(points, -start, axis=0)
        told, inside = np.roll(told, -start), np.roll(inside, -start)
    change = np.flatnonzero(np.diff(np.r_[False, inside, False].astype(int)))
    return [
        CoarseEdge(points[a:b], False, told[a:b])
        for a, b in zip(change[::2], change[1::2], strict=True)
        if b - a >= _SHORTEST_PIECE
    ]
