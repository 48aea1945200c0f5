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

# Lengths are pixels of the reduced picture. Weights and thresholds without another reason were
# chosen on the scenes and shared photos of `benchmarks/segmentation.py`.
#
# The edge is looked for this far from the mask's border.
INWARD_PX = 12.0
OUTWARD_PX = 4.0
REFERENCE_PX = 8.0  # farther inside the part's tone is taken
_STEP = 0.5  # px between samples: a bilinear picture holds no more
_REFERENCE = int(REFERENCE_PX / _STEP)
# The side of a part seen wider than this is searched only this far: INWARD_PX reaches no farther.
FARTHEST_WALL_PX = 12.0
_MASK_BLUR_PX = 1.0  # of the mask, before its border becomes a line
_LINE_SMOOTH = 2.0  # of the line
# Fewer points than these do not make a border, or a piece of one.
_FEWEST_POINTS = 12
_SHORTEST_PIECE = 8
_POOLED = (1.5, 6.0)  # rows, on a smooth part, and at most on a grainy one
_POOL_SLOPES = 2  # from this many rows on the slopes are pooled too
# Longer than grain, shorter than a corner:
_MEDIAN_ROWS = 15
_TONE_ROWS = 3.0
# Points along the border within which print on the part shows as unevenness.
_PRINT = 41
# A gradient of this many times the noise, on a part of that grain, is an edge by half.
_GRADIENT_NOISES = 4
KIND_WEIGHT = 0.06  # of the colours' log odds against the edge's strength
_KIND_LIMIT = 3  # of the log odds of one pixel
# A tone differs from the part's own where it is this many noises, and this many times the
# unevenness away,
_TONE_NOISES = 20
_TONE_UNEVEN = 2.5
_STEP_NOISES = 10  # and where the gradients on the way there sum up to this many noises
# Shaded sheet:
_SHADE_LEAST = 0.25  # is not darker than this tone
_SHADE_HUE = 0.02  # differs from the sheet's hue by no more than this,
_SHADE_TINT = 0.45  # and by this more where all light were gone,
_SHADE_DEPTH = 0.6  # which no shadow deeper than this shows
_DARK_TONE = 0.1  # keeps a dark pixel's hue, a ratio, from being noise
# A side seen as wide as this shows its own top edge.
_SIDE_SEEN_PX = 1.5
# Minimum-cost path:
_STEP_COST = 0.05
_OFFSET_COST = 0.02  # of a pixel away from the mask's border
_PATH_OVERLAP = 30  # points, when closing a loop
# An edge is certain where its gradient is above this many noises,
_CERTAIN_NOISES = 6
_OTHER_PX = 2  # and no position farther from it than this
_CERTAIN_COST = 0.3  # has a cost higher by less than this


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
    """

    tone: NDArray[np.float32]
    favour: NDArray[np.float32]
    sharp: NDArray[np.float32]
    texture: NDArray[np.float32]
    noise: float
    polygon: Floats
    smallest_hole: float
    wall: Wall | None


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


def _could_be_shade(tone: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where a colour could be shaded sheet, even one tinted as by a warm lamp in daylight."""
    grey = tone.mean(axis=2)
    hue = (tone[..., ::2] - tone[..., 1:2]) / (grey + _DARK_TONE)[..., None]
    square = hue[..., 0] ** 2 + hue[..., 1] ** 2 - hue[..., 0] * hue[..., 1]
    widest = _SHADE_HUE + _SHADE_TINT * np.clip(1 - grey, 0, _SHADE_DEPTH)
    return np.asarray((grey > _SHADE_LEAST) & (grey < 1) & (square < widest**2))


@dataclass(frozen=True)
class _Band:
    """The pictures of a ground sampled across a border, (N, T); rows along it, columns outwards.

    Attributes
    ----------
    smooth, normal : (N, 2) the border smoothed, and its outward normals.
    offset : (T,) px, positive outwards.
    seen : (N,) px, how wide the part's side is seen.
    rough : (N, 1) how grainy the part is inside.
    width : rows that are pooled.
    slope : gradient of the tone.
    """

    smooth: Floats
    normal: Floats
    offset: Floats
    seen: Floats
    rough: NDArray[np.float32]
    width: float
    slope: NDArray[np.float32]
    tone: NDArray[np.float32]
    favour: NDArray[np.float32]
    closed: bool
    noise: float

    @property
    def mode(self) -> str:
        return "wrap" if self.closed else "nearest"

    @property
    def deep(self) -> float:
        """Px, the widest that the side is seen anywhere."""
        return float(np.ceil(self.seen.max()))


def _band(xy: Floats, closed: bool, ground: Ground) -> _Band:
    """Sample the pictures across a border."""
    mode = "wrap" if closed else "nearest"
    smooth = _smoothed(xy, closed, _LINE_SMOOTH)
    normal = _normals(smooth, closed)
    seen = np.zeros(len(smooth))
    if ground.wall is not None:
        seen = np.clip(-np.sum(ground.wall(smooth) * normal, axis=1), 0, FARTHEST_WALL_PX)
    deep = float(np.ceil(seen.max()))
    offset = np.arange(-INWARD_PX - deep - REFERENCE_PX, OUTWARD_PX + deep + _STEP / 2, _STEP)
    place = (smooth[:, None] + offset[None, :, None] * normal[:, None]).astype(np.float32)

    def across(picture: NDArray[np.float32]) -> NDArray[np.float32]:
        values = cv2.remap(picture, place[..., 0], place[..., 1], cv2.INTER_LINEAR)
        return np.asarray(values, np.float32)

    slope = across(ground.sharp)
    rough = across(ground.texture)[:, :_REFERENCE].mean(axis=1)[:, None]
    rough = np.maximum(_row_median(rough, closed), 1)
    # On a grainy part more neighbours along the border are pooled.
    least, most = _POOLED
    width = float(np.clip(least * np.median(rough), least, most))
    if width > _POOL_SLOPES:
        slope = gaussian_filter1d(slope, width / 2, axis=0, mode=mode)
    tone, favour = across(ground.tone), across(ground.favour)
    return _Band(
        smooth, normal, offset, seen, rough, width, slope, tone, favour, closed, ground.noise
    )


def _refined(xy: Floats, closed: bool, ground: Ground) -> list[CoarseEdge]:
    """The border moved to the sharpest edge in its neighbourhood."""
    band = _band(xy, closed, ground)
    strength, right = _strength(band), _evidence(band)
    if band.deep > 0:
        # Where the side shows, the top edge is a second edge, as far inside as the side is wide,
        # and the side itself may have any tone: it is neither for nor against.
        column = np.arange(len(band.offset))
        back = np.clip(column - np.round(band.seen / _STEP).astype(int)[:, None], 0, None)
        strongest = maximum_filter1d(strength, 3, axis=1)
        upper = np.take_along_axis(strongest, back, axis=1)
        strength = strength + np.clip(band.seen / _SIDE_SEEN_PX, 0, 1)[:, None] * upper
        right = 0.5 * (right + np.take_along_axis(right, back, axis=1))
    first = _REFERENCE + int(band.deep / _STEP)
    offset, slope = band.offset[first:], band.slope[:, first:]
    strength, right = strength[:, first:], right[:, first:]
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
    level = cost[rows, k]
    far = np.abs(np.arange(len(offset)) - k[:, None]) > _OTHER_PX / _STEP
    other = np.where(far, cost, np.inf).min(axis=1)
    certain = (here > _CERTAIN_NOISES * band.noise) & (other - level > _CERTAIN_COST)
    return _within(points, band.smooth, certain, closed, ground.polygon)


def _strength(band: _Band) -> Floats:
    """(N, T) how much a position looks like an edge, 0 to 1: its gradient over noise and grain."""
    slope = band.slope
    strength: Floats = slope / (slope + _GRADIENT_NOISES * band.noise * band.rough)
    steepest = slope[:, _REFERENCE:].max(axis=1, keepdims=True)
    strength *= np.sqrt(slope / np.maximum(steepest, 1e-9))
    return strength


def _evidence(band: _Band) -> Floats:
    """(N, T) log odds, summed from inside, that all up to a position is the part's.

    The first sharp step away from the tone of the part's inner side is the border, if what lies
    beyond could be shadow: the part's own sides, which may have any tone, are allowed for later.
    """
    kind = np.clip(band.favour, -_KIND_LIMIT, _KIND_LIMIT)
    shaded = _could_be_shade(band.tone)
    # Averaged along the border, grain is low enough to distinguish its mean tone from a shadow's.
    tone = gaussian_filter1d(band.tone, _TONE_ROWS, axis=0, mode=band.mode)
    own = _row_median(np.median(tone[:, :_REFERENCE], axis=1), band.closed)
    # How uneven it is there, along the border as well: printed patches are not shadows.
    around = [
        uniform_filter1d(
            (tone[:, :_REFERENCE] ** power).mean(axis=1), _PRINT, axis=0, mode=band.mode
        )
        for power in (1, 2)
    ]
    uneven = np.sqrt(np.maximum(around[1] - around[0] ** 2, 0).sum(axis=1))[:, None]
    spread = _TONE_NOISES * band.noise + _TONE_UNEVEN * uneven
    change = np.linalg.norm(tone - own[:, None], axis=2) / spread
    grain = _GRADIENT_NOISES * band.noise * band.rough * np.minimum(band.rough, 2)
    step = np.cumsum(np.maximum(band.slope - grain, 0), axis=1) * _STEP
    step -= step[:, _REFERENCE, None]
    alien = np.clip(np.minimum(step / (_STEP_NOISES * band.noise), change), 0, 2)
    against = np.minimum(kind, _KIND_LIMIT * (1 - alien))
    kind = np.where(shaded, against, kind) * KIND_WEIGHT  # type: ignore[assignment]
    return np.asarray(np.cumsum(kind, axis=1) - kind / 2)


def _row_median(values: NDArray[np.float32], closed: bool) -> NDArray[np.float32]:
    """Median of neighbouring rows along the border; (N, C)."""
    return np.asarray(
        median_filter(values, (_MEDIAN_ROWS, 1), mode="wrap" if closed else "nearest")
    )


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
        if b - a >= _SHORTEST_PIECE
    ]
