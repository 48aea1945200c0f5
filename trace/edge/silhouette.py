"""The part's silhouette at full resolution: from a coarse border to sub-pixel edge points.

The learned edge model (`learned_edge.py`) says for each row across the border where the edge may
lie; a minimum-cost path decides along the border, and the model looks again from there until it
stays where it is. A clean step of light at that very place has a say in the last tenth of a pixel.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    binary_closing,
    binary_opening,
    gaussian_filter1d,
    maximum_filter1d,
    median_filter,
    uniform_filter1d,
)
from scipy.special import expit

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.clean_step import clean_step
from snugline.trace.edge.learned_edge import (
    FIRST,
    LINE_SMOOTH,
    NORMAL_SMOOTH,
    PLACES,
    STEP_PX,
    Distribution,
    Response,
    edge_distribution,
)
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.minimum_cost_path import minimum_cost_path
from snugline.trace.image.photo_file import reduced
from snugline.trace.image.polyline import resample, right_normals, smoothed
from snugline.trace.image.robust_scale import SIGMA_PER_MAD

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A photo with more blur than was learned, px, is looked at in half its size.
_WIDEST_BLUR_PX = 2.0
# Looks are taken until the line moves by no more than this, px; at most this many.
_STILL_PX, _LOOKS = 3.0, 5
# The first look takes one row of this many: on 29 scenes of benchmarks/unseen_kinds.py, seeds 5000
# to 6101, no verdict but one mild remark changed, and the rms of those that were right by at most
# 0.004 mm; one row of four would miss some edges.
_SPARSE = 2
# Where nothing is seen along a stretch of this many rows, a wide shadow's outline was followed: the
# next look is farther inside, by px that its window still reaches. Not round a corner, within this
# many px, where the tip lies farther outside.
_BLIND, _STRETCH = 0.5, 6
_FARTHER_PX, _BEND_PX = 14.0, 24.0
# Points over which the line found is smoothed, and its normals.
FOUND_SMOOTH, FOUND_NORMALS = 1.5, 3.0

# The path: cost of a step from row to row, relative to the data cost; points searched twice to
# close a loop; rows over which costs are pooled, which see one another already. Below the first
# probability all places are alike, above the second, several times an even share, one is likely.
_STEP_COST, _OVERLAP = 0.3, 60
_POOLED = 1.5
_LEAST_MASS, _LIKELY = 1e-3, 0.05
# Places farther apart than this are two edges: more than the blur of one.
_APART_PX = 3.0

# Offsets are smoothed first by a median, then by a Gaussian with weights by their certainty, which
# none has more of than the first sigma, px; what strays by the second from the median counts this
# little.
_OFFSET_SMOOTH, _MEDIAN_POINTS = 2.5, 11
_MOST_CERTAIN_PX = 0.05
_STRAY_PX, _STRAY_WEIGHT = 1.0, 0.05

# A row counts where one edge is seen, known to this many px, and not said to be untold. Of the rows
# that miss that 72 % are off by more than a px, of the others 5 % (30 scenes of seed 6000).
_ONE_EDGE, _KNOWN_PX, _UNTOLD = 0.9, 0.8, 0.02
# With this much of the probability elsewhere a second edge is as likely.
_RIVAL_SHARE = 0.35
# The step counts where it agrees within this many standard deviations and px: what is farther off
# is a shadow beside the edge, both seen as one step. No point counts nearer to the picture's border
# than the step reaches.
_AGREE, _AGREE_PX = 3.0, 0.25
_BORDER_PX = 3.0
# A point this many scatters off the smoothed line is an outlier; the least scatter, px, is that of
# a good edge.
_OUTLIER, _LEAST_SCATTER_PX = 5, 0.05
# A line that oscillates by this much in all, within this many points to either side, has strayed.
_OSCILLATION, _OSCILLATION_REACH = np.radians(30), 18
_OSCILLATION_SMOOTH = 4.0  # points, before it is measured
# A sharp corner turns by more than this. At its tip, within these px, the picture's blur rounds the
# edge; it is dropped together with this many of its lengths to either side.
_SHARP, _TIP_PX, _TIP_LENGTHS = np.radians(55), 4.0, 1.5


@dataclass(frozen=True)
class Silhouette:
    """Edge points in order along the border.

    Attributes
    ----------
    pixels : (N, 2) full-resolution px.
    sigma : (N,) px across the edge.
    good : (N,) whether the point can be trusted.
    rival : (N,) whether a competing edge is as likely there.
    closed : whether the last point joins the first.
    other : (N, 2) where another edge may lie: px outwards of this one, and its probability.
    belief : what is thought of each point's place, px outwards of it.
    """

    pixels: Floats
    sigma: Floats
    good: Mask
    rival: Mask
    closed: bool
    other: Floats | None = None
    belief: Distribution | None = None


def locate(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    border: Floats,
    closed: bool,
    response: Response,
) -> Silhouette:
    """Sub-pixel silhouette near a coarse border.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, the full photo.
    border : (M, 2) full-resolution px, in order with the part on the left (on the sheet).
    response : how this photo shows a sharp edge, and paper.
    """
    if response.blur > _WIDEST_BLUR_PX:
        return _at_half_size(rgb, camera, sides, border, closed, response)
    line = smoothed(resample(border, _SPARSE * STEP_PX, closed), LINE_SMOOTH / _SPARSE, closed)
    normals = right_normals(smoothed(line, NORMAL_SMOOTH / _SPARSE, closed), closed)
    for look in range(_LOOKS):
        seen = edge_distribution(rgb, camera, sides, response, line, normals, closed)
        cost = _pooled_cost(seen, closed)
        place = _path(seen, cost, closed)
        offset, sigma, total = seen.near(place)
        rows = 1 if look else _SPARSE
        away = _smoothed_offsets(offset, sigma, closed, _OFFSET_SMOOTH / rows)
        blind = _blind(seen, total, _turns(normals, _BEND_PX, closed, rows), _STRETCH // rows)
        away = np.where(blind, -_FARTHER_PX, away)
        if look == _LOOKS - 1 or (look and np.abs(away).max() < _STILL_PX):
            break
        moved = resample(line + away[:, None] * normals, STEP_PX, closed)
        line = smoothed(moved, FOUND_SMOOTH, closed)
        normals = right_normals(smoothed(line, FOUND_NORMALS, closed), closed)
    return silhouette_along(rgb, response, line, normals, seen, place, closed)


def silhouette_along(
    rgb: NDArray[np.uint8],
    response: Response,
    line: Floats,
    normals: Floats,
    seen: Distribution,
    place: Floats,
    closed: bool,
) -> Silhouette:
    """The edge about these places (N,), px outwards of a line along which this was seen."""
    offset, sigma, total = seen.near(place)
    other = _other(seen, _pooled_cost(seen, closed), offset)
    line = line + offset[:, None] * normals
    clean, clean_sigma = clean_step(rgb, line, normals, response.blur, closed)
    agree = np.abs(clean) < np.minimum(_AGREE * np.hypot(sigma, clean_sigma), _AGREE_PX)
    told = (total > _ONE_EDGE) & (sigma < _KNOWN_PX) & (seen.untold < _UNTOLD)
    weight = np.where(agree, 1 / (1 + (clean_sigma / sigma) ** 2), 0.0)
    at = offset + weight * clean
    line = line + (weight * clean)[:, None] * normals
    sigma = sigma * np.sqrt(1 - weight)
    good = told & _well_found(line, at, sigma, closed) & ~_rounded_tip(line, closed)
    size = np.array(rgb.shape[1::-1])
    good &= np.all((line > _BORDER_PX) & (line < size - 1 - _BORDER_PX), axis=1)
    rival = 1 - total > _RIVAL_SHARE
    return Silhouette(line, sigma, good, rival, closed, other, seen.seen_from(at, 1.0))


def _at_half_size(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    border: Floats,
    closed: bool,
    response: Response,
) -> Silhouette:
    lens, (x, y) = camera.lens, camera.lens.centre
    size = (lens.size[0] // 2, lens.size[1] // 2)
    lens = replace(lens, focal=lens.focal / 2, centre=((x - 0.5) / 2, (y - 0.5) / 2), size=size)
    shown = replace(
        response, blur=response.blur / 2, paper=lambda points: response.paper(2 * points + 0.5)
    )
    camera = replace(camera, lens=lens)
    found = locate(reduced(rgb, 2), camera, sides, (border - 0.5) / 2, closed, shown)
    return replace(
        found,
        pixels=2 * found.pixels + 0.5,
        sigma=2 * found.sigma,
        other=None if found.other is None else found.other * [2, 1],
        belief=None if found.belief is None else found.belief.seen_from(np.zeros(1), 2.0),
    )


def _blind(seen: Distribution, total: Floats, bend: Mask, rows: int) -> Mask:
    """(N,) stretches of this many rows, bends apart, along which nothing is seen of an edge."""
    nothing, stretch = (seen.untold > _BLIND) | (total < 1 - _BLIND), np.ones(rows, bool)
    return np.asarray(binary_opening(binary_closing(nothing, stretch) & ~bend, stretch))


def _turns(normals: Floats, reach_px: float, closed: bool, rows: int = 1) -> Mask:
    """(N,) where the line turns sharply within this many px; one row of `rows` is there."""
    reach = round(reach_px / STEP_PX / rows)
    index, last = np.arange(len(normals)), len(normals) - 1
    before, after = (
        (index + k) % len(normals) if closed else np.clip(index + k, 0, last)
        for k in (-reach, reach)
    )
    return np.asarray(np.sum(normals[before] * normals[after], axis=1) < np.cos(_SHARP))


def _pooled_cost(seen: Distribution, closed: bool) -> Floats:
    """Minus the logarithm of the probability of each place (N, PLACES), pooled along the line."""
    mass = uniform_filter1d(seen.masses(), 3, axis=1, mode="constant")
    mode = "wrap" if closed else "nearest"
    return np.asarray(gaussian_filter1d(-np.log(mass + _LEAST_MASS), _POOLED, axis=0, mode=mode))


def _path(seen: Distribution, cost: Floats, closed: bool) -> Floats:
    """(N,) px, places on the minimum-cost path along the line."""
    # It keeps to the places that are likely anywhere along the line, and to those between.
    likely = np.flatnonzero((seen.masses() > _LIKELY).any(axis=0))
    first, last = (int(likely[0]), int(likely[-1]) + 1) if len(likely) else (0, PLACES)
    return FIRST + first + edge_path(cost[:, first:last], closed)


def edge_path(cost: Floats, closed: bool) -> Floats:
    """(N,) candidates on the minimum-cost path along the line (N, G)."""
    relative = cost - cost.min(axis=1, keepdims=True) + _STEP_COST
    return np.round(minimum_cost_path(relative, closed, _OVERLAP))


def _other(seen: Distribution, cost: Floats, at: Floats) -> Floats:
    """(N, 2) the likeliest place that is not about `at` (N,): px from it, and its probability."""
    places = FIRST + np.arange(PLACES)
    about = np.abs(places - at[:, None]) <= _APART_PX
    here = np.where(about, cost, np.inf).min(axis=1)
    best = np.where(about, np.inf, cost).argmin(axis=1)
    mean, _, _ = seen.near(places[best].astype(np.float64))
    return np.column_stack([mean - at, expit(here - cost[np.arange(len(at)), best])])


def _smoothed_offsets(offset: Floats, sigma: Floats, closed: bool, smooth: float) -> Floats:
    """(N,) offsets smoothed along the line, first by a median, then weighted by their certainty."""
    mode = "wrap" if closed else "nearest"
    stray = np.abs(offset - median_filter(offset, size=_MEDIAN_POINTS, mode=mode)) > _STRAY_PX
    weight = np.where(stray, _STRAY_WEIGHT, 1.0) / (sigma**2 + _MOST_CERTAIN_PX**2)
    total = gaussian_filter1d(weight, smooth, mode=mode)
    return np.asarray(gaussian_filter1d(weight * offset, smooth, mode=mode) / total)


def _well_found(line: Floats, offset: Floats, sigma: Floats, closed: bool) -> Mask:
    """(N,) points near enough to the smoothed offsets, on a calm line."""
    apart = np.abs(offset - _smoothed_offsets(offset, sigma, closed, _OFFSET_SMOOTH))
    scatter = max(SIGMA_PER_MAD * float(np.median(apart)), _LEAST_SCATTER_PX)
    return np.asarray((apart < _OUTLIER * scatter) & ~_oscillating(line, closed))


def _oscillating(line: Floats, closed: bool) -> Mask:
    """Where the line oscillates: it has strayed to something next to the edge and come back.

    Along a corner, however sharp, all turning goes one way.
    """
    mode = "wrap" if closed else "nearest"
    normals = right_normals(smoothed(line, _OSCILLATION_SMOOTH, closed), closed)
    after = np.roll(normals, -1, axis=0) if closed else np.concatenate([normals[1:], normals[-1:]])
    turn = np.arcsin(np.clip(normals[:, 0] * after[:, 1] - normals[:, 1] * after[:, 0], -1, 1))
    width = 2 * _OSCILLATION_REACH + 1
    to_and_fro = uniform_filter1d(np.abs(turn), width, mode=mode) - np.abs(
        uniform_filter1d(turn, width, mode=mode)
    )
    return np.asarray(to_and_fro * width > _OSCILLATION)


def _rounded_tip(line: Floats, closed: bool) -> Mask:
    """(N,) the tip of a sharp corner, which the picture's own blur rounds."""
    tip = _turns(right_normals(line, closed), _TIP_PX, closed)
    width = 2 * round(_TIP_LENGTHS * _TIP_PX / STEP_PX) + 1
    return np.asarray(maximum_filter1d(tip, width, mode="wrap" if closed else "nearest"))
