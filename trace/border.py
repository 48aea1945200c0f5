"""A mask's border followed along the sharpest edge in its neighbourhood."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter
from skimage.graph import MCP
from skimage.measure import find_contours

Floats = NDArray[np.float64]

# Shift (N, 2) in pixels that the part's thickness gives a point (N, 2) of its upper edge.
Wall = Callable[[Floats], Floats]

# How far from the mask's border the edge is looked for, and how far inside it the tone is taken.
INWARD_PX, OUTWARD_PX, REFERENCE_PX = 12.0, 4.0, 8.0
FARTHEST_WALL_PX = 12.0
# What a pixel on the wrong side costs, against a unit of edge strength, and a unit of its odds.
KIND_WEIGHT = 0.06
# A border is plain to see when its slope is so many times the noise's, and no place farther off
# than this many pixels costs but so little more.
PLAIN_EDGE, RIVAL_PX, PLAIN_LEAD = 6.0, 2.0, 0.3
_STEP = 0.5


@dataclass(frozen=True)
class CoarseEdge:
    """A piece of the silhouette.

    Attributes
    ----------
    points : (M, 2) reduced pixels, x right, y down, with the part on the left as seen on the
        sheet (y up), so on the right hand in the picture.
    certain : (M,) the edge is plain to see; elsewhere contrast is low or other edges lie near.
    closed : whether the last point joins the first.
    """

    points: Floats
    certain: NDArray[np.bool_]
    closed: bool


@dataclass(frozen=True)
class Ground:
    """What the border is followed on; pictures of (h, w) over one rectangle.

    Attributes
    ----------
    tone : (h, w, 3) square root of light over sheet.
    favour : logarithm of the odds that a pixel is the part's.
    shade : 1 where a pixel could be sheet in a shadow, else 0.
    slope : gradient of the tone, wide rims held down.
    texture : fine unevenness over that of flat sheet.
    noise : of the gradient on flat sheet.
    polygon : (K, 2) pixels within which points are given.
    smallest_hole : area in pixels.
    wall : shift of the upper edge; None if not known.
    bevel : pixels, width of the rounding or chamfer of the upper edge.
    """

    tone: NDArray[np.float32]
    favour: NDArray[np.float32]
    shade: NDArray[np.float32]
    slope: NDArray[np.float32]
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


def _refined(xy: Floats, closed: bool, ground: Ground) -> list[CoarseEdge]:
    smooth = _smoothed(xy, closed, 2.0)
    normal = _normals(smooth, closed)
    offset, slope, cost = _weighed(smooth, normal, closed, ground)
    chosen = _cheapest_way(cost, closed)
    k = np.clip(np.round(chosen).astype(int), 1, len(offset) - 2)
    rows = np.arange(len(k))
    # The way between the kinds is smooth; the edge is the steepest place within a pixel of it.
    near = np.clip(k[:, None] + np.arange(-2, 3), 1, len(offset) - 2)
    k = near[rows, np.argmax(slope[rows[:, None], near], axis=1)]
    before, here, after = slope[rows, k - 1], slope[rows, k], slope[rows, k + 1]
    peak = (here >= before) & (here >= after) & (here > 0)
    bend = np.where(peak, before - 2 * here + after, -1)
    shift = np.where(peak, 0.5 * (before - after) / np.minimum(bend, -1e-9), chosen - k)
    at = offset[k] + np.clip(shift, -1, 1) * _STEP
    elsewhere = np.abs(np.arange(len(offset)) - k[:, None]) > RIVAL_PX / _STEP
    rival = np.where(elsewhere, cost, np.inf).min(axis=1)
    certain = (here > PLAIN_EDGE * ground.noise) & (rival - cost[rows, k] > PLAIN_LEAD)
    return _within(smooth + at[:, None] * normal, smooth, certain, closed, ground.polygon)


def _weighed(
    smooth: Floats, normal: Floats, closed: bool, ground: Ground
) -> tuple[Floats, NDArray[np.float32], Floats]:
    """Offsets (K,) along the normals, and the slope and the cost (N, K) of the border there."""
    mode = "wrap" if closed else "nearest"
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

    def calm(values: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(median_filter(values, (15, 1), mode=mode))

    inner = slice(0, int(REFERENCE_PX / _STEP))
    slope = across(ground.slope)
    rough = np.maximum(calm(across(ground.texture)[:, inner].mean(axis=1)[:, None]), 1)
    # On a grainy part more neighbours along the border are asked together.
    width = float(np.clip(1.5 * np.median(rough), 1.5, 6.0))
    if width > 2:
        slope = gaussian_filter1d(slope, width / 2, axis=0, mode=mode)
    strength = slope / (slope + 4 * ground.noise * rough)
    strength *= np.sqrt(slope / np.maximum(slope[:, inner.stop :].max(axis=1)[:, None], 1e-9))

    # The first sharp step away from the tone of the part's inner side is the border, if what lies
    # beyond could be shadow: the part's own sides, which may have any tone, are allowed for below.
    # Averaged along the border, grain is calm enough to tell its mean tone from a shadow's.
    tone = gaussian_filter1d(across(ground.tone), 3.0, axis=0, mode=mode)
    own = calm(np.median(tone[:, inner], axis=1))
    uneven = calm(np.linalg.norm(tone[:, inner].std(axis=1), axis=1)[:, None])
    change = np.linalg.norm(tone - own[:, None], axis=2) / (20 * ground.noise + 2.5 * uneven)
    steep = np.maximum(slope - 4 * ground.noise * rough * np.minimum(rough, 2), 0)
    step = np.cumsum(steep, axis=1) * _STEP / (10 * ground.noise)
    step -= step[:, inner.stop, None]
    alien = np.clip(np.minimum(step, change), 0, 2)
    kind = np.clip(across(ground.favour), -3, 3)
    shaded = across(ground.shade) > 0.5
    kind = KIND_WEIGHT * np.where(shaded, np.minimum(kind, 3 * (1 - alien)), kind)
    right = np.cumsum(kind, axis=1) - kind / 2
    if deep > 0:
        # Where the wall shows, the upper edge is a second edge, as far inside as the wall is wide,
        # and the wall itself may have any tone: it is neither for nor against.
        column = np.arange(len(offset))
        strongest = maximum_filter1d(strength, 3, axis=1)
        back, upper = (
            np.clip(column - np.round(by / _STEP).astype(int)[:, None], 0, None)
            for by in (sides, seen)
        )
        second = np.maximum(*(np.take_along_axis(strongest, i, axis=1) for i in (back, upper)))
        strength = strength + (0.6 * np.clip(seen / 1.5, 0, 1)[:, None] * second).astype(np.float32)
        right = (right + np.take_along_axis(right, back, axis=1)) / 2
    cost = 0.05 + strength.max() - strength + 0.02 * np.abs(offset)
    judged = slice(inner.stop + int(deep / _STEP), None)
    cost = cost[:, judged] + right[:, judged].max(axis=1, keepdims=True) - right[:, judged]
    cost = gaussian_filter1d(cost, width, axis=0, mode=mode)
    return offset[judged], slope[:, judged], cost


def _cheapest_way(cost: Floats, closed: bool) -> Floats:
    """The column (N,) of the cheapest way down a table of costs (N, K), steps of one a row."""
    wrap = min(30, len(cost) - 1) if closed else 0
    if wrap:
        cost = np.vstack([cost[-wrap:], cost, cost[:wrap]])
    search = MCP(cost)
    total, _ = search.find_costs([(0, k) for k in range(cost.shape[1])])
    way = np.array(search.traceback((len(cost) - 1, int(np.argmin(total[-1])))))
    column = np.bincount(way[:, 0], way[:, 1]) / np.bincount(way[:, 0])
    return column[wrap : len(column) - wrap]


def _within(
    points: Floats, mask_border: Floats, certain: NDArray[np.bool_], closed: bool, polygon: Floats
) -> list[CoarseEdge]:
    """The pieces that lie in the polygon, before they were moved and after."""
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
