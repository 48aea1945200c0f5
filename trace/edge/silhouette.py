"""The part's silhouette at full resolution: from a coarse border to sub-pixel edge points.

The learned edge model (`learned_edge.py`) says for each row across the border where the edge may
lie; a minimum-cost path decides along the border. The first look, at every second row, tells which
edge it is, the second is along that edge, and where that one leads elsewhere or tells nothing there
is a third. A clean step of light at that place has a say in the last tenths of a pixel.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    binary_closing,
    binary_opening,
    gaussian_filter1d,
    maximum_filter1d,
    uniform_filter1d,
)
from scipy.spatial import cKDTree
from scipy.special import expit

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.clean_step import GRID_PX, POOLED, REACH, clean_step
from snugline.trace.edge.learned_edge import (
    ABOUT_PX,
    BESIDE,
    FIRST,
    LINE_SMOOTH,
    NORMAL_SMOOTH,
    PLACES,
    STEP_PX,
    WIDEST_BLUR_PX,
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

# Farther from the line than this, px, the edge is looked at a third time, from where it is: most of
# the borders that were learned from strayed by less.
_STRAY_PX = 2.0

# Where no edge is likely along a stretch of this many rows, a wide shadow's outline was followed:
# the next look is farther inside, by px that its window still reaches. Not round a corner, within
# this many px, where the tip lies farther outside.
_EVEN, _STRETCH = 0.5, 6
_FARTHER_PX, _BEND_PX = 14.0, 24.0

# The path: cost of a step from row to row, relative to the data cost. Places of a lesser share than
# this are all alike, and left out where they are so in every row.
_STEP_COST, _LEAST_SHARE = 0.3, 0.01

# A row counts where one edge is seen, and known to this many px. Of the rows that miss that 72 %
# are off by more than a px, of the others 5 % (30 scenes of seed 6000).
_ONE_EDGE, _KNOWN_PX = 0.9, 0.8
# With this share elsewhere a second edge is as likely.
_RIVAL_SHARE = 0.35
_AGREE = 3.0  # standard deviations within which the clean step counts
_OUTLIER = 5.0  # scatters off the smoothed line
# A sharp corner turns by more than this. At its tip, within these px, the picture's blur rounds the
# edge; it is dropped together with its length to either side.
_SHARP, _TIP_PX = np.radians(55), 4.0


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
    response : how this photo shows a sharp edge, and paper; one with more blur than was learned is
        looked at in half its size.
    """
    if response.blur > WIDEST_BLUR_PX:
        return _at_half_size(rgb, camera, sides, border, closed, response)
    first, line = _first_look(rgb, camera, sides, border, closed, response)
    normals = right_normals(smoothed(line, POOLED, closed), closed)
    seen = edge_distribution(rgb, camera, sides, response, line, normals, closed)
    cost = pooled_cost(seen, closed)
    place = _path(seen, cost, closed)
    offset, sigma, total = seen.near(place)
    away = _smoothed_offsets(offset, sigma, closed, POOLED)
    again = _beside((np.abs(away) > _STRAY_PX) | ~_told(sigma, total), closed)
    if again.any():
        # Elsewhere what was seen stays, as it is from where the line is now.
        seen, line = seen.seen_from(away, 1.0), line + away[:, None] * normals
        line[again] = smoothed(line, LINE_SMOOTH, closed)[again]
        normals[again] = right_normals(smoothed(line, NORMAL_SMOOTH, closed), closed)[again]
        new = edge_distribution(rgb, camera, sides, response, line, normals, closed, again)
        seen = seen.with_rows(again, new)
        cost = pooled_cost(seen, closed)
        place = _path(seen, cost, closed)
    return silhouette_along(rgb, response, line, normals, seen, cost, place, closed, first)


def _first_look(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    border: Floats,
    closed: bool,
    response: Response,
) -> tuple[Floats, Floats]:
    """The edge (N, 2) where every second row tells it, and the line along which to look for it."""
    line = smoothed(resample(border, 2 * STEP_PX, closed), LINE_SMOOTH / 2, closed)
    normals = right_normals(smoothed(line, NORMAL_SMOOTH / 2, closed), closed)
    seen = edge_distribution(rgb, camera, sides, response, line, normals, closed)
    offset, sigma, total = seen.near(_path(seen, pooled_cost(seen, closed), closed))
    away = _smoothed_offsets(offset, sigma, closed, POOLED / 2)
    away = np.where(_blind(line, total, closed), -_FARTHER_PX, away)
    moved = resample(line + away[:, None] * normals, STEP_PX, closed)
    told = _told(sigma, total)
    return (line + offset[:, None] * normals)[told], smoothed(moved, POOLED, closed)


def silhouette_along(
    rgb: NDArray[np.uint8],
    response: Response,
    line: Floats,
    normals: Floats,
    seen: Distribution,
    cost: Floats,
    place: Floats,
    closed: bool,
    before: Floats | None = None,
) -> Silhouette:
    """The edge about these places (N,), px outwards of a line along which this was seen.

    `cost` is its `pooled_cost`; `before` (M, 2) the edge of an earlier look.
    """
    offset, sigma, total = seen.near(place)
    other = _other(seen, cost, offset)
    line = line + offset[:, None] * normals
    clean, clean_sigma = clean_step(rgb, line, normals, response.blur, closed)
    agree = np.abs(clean) < _AGREE * np.hypot(sigma, clean_sigma)
    told = _told(sigma, total)
    weight = np.where(agree, 1 / (1 + (clean_sigma / sigma) ** 2), 0.0)
    at = offset + weight * clean
    line = line + (weight * clean)[:, None] * normals
    sigma = sigma * np.sqrt(1 - weight)
    good = told & _well_found(at, sigma, closed) & ~_rounded_tip(line, closed)
    # Nowhere nearer to the picture's border than a step is looked at.
    size = np.array(rgb.shape[1::-1])
    good &= np.all((line > REACH) & (line < size - 1 - REACH), axis=1)
    # Two looks may differ by more than the sigma of either: the standard deviation of two values is
    # their difference over the root of 2.
    if before is not None and len(before):
        sigma = np.maximum(sigma, np.abs(_apart(line, normals, before)) / np.sqrt(2))
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


def _apart(line: Floats, normals: Floats, before: Floats) -> Floats:
    """(N,) px across the edge by which an earlier look differs; 0 where it told nothing nearby."""
    distance, nearest = cKDTree(before).query(line)
    across = np.sum((before[nearest] - line) * normals, axis=1)
    along = np.sqrt(np.maximum(distance**2 - across**2, 0))
    return np.where(along < 2 * STEP_PX, across, 0.0)


def _told(sigma: Floats, total: Floats) -> Mask:
    """(N,) one edge is seen, and well enough."""
    return np.asarray((total > _ONE_EDGE) & (sigma < _KNOWN_PX))


def _beside(rows: Mask, closed: bool) -> Mask:
    """(N,) these rows and those beside them that smoothing their line moves."""
    width = 2 * round(3 * LINE_SMOOTH) + 1
    return np.asarray(maximum_filter1d(rows, width, mode="wrap" if closed else "nearest"))


def _blind(line: Floats, total: Floats, closed: bool) -> Mask:
    """(N,) stretches of every second row, bends apart, along which no edge is likely."""
    stretch = np.ones(_STRETCH // 2, bool)
    nothing = binary_closing(total < _EVEN, stretch) & ~_turns(line, closed, _BEND_PX / 2)
    return np.asarray(binary_opening(nothing, stretch))


def _turns(line: Floats, closed: bool, reach_px: float) -> Mask:
    """(N,) where the line, of even step STEP_PX, turns sharply within this many px."""
    normals = right_normals(line, closed)
    reach = round(reach_px / STEP_PX)
    index, last = np.arange(len(normals)), len(normals) - 1
    before, after = (
        (index + k) % len(normals) if closed else np.clip(index + k, 0, last)
        for k in (-reach, reach)
    )
    return np.asarray(np.sum(normals[before] * normals[after], axis=1) < np.cos(_SHARP))


def pooled_cost(seen: Distribution, closed: bool) -> Floats:
    """Minus the logarithm of the probability of each place (N, PLACES), pooled along the line."""
    mass = uniform_filter1d(seen.masses(), 3, axis=1, mode="constant")
    mode = "wrap" if closed else "nearest"
    return np.asarray(gaussian_filter1d(-np.log(mass + _LEAST_SHARE), POOLED, axis=0, mode=mode))


def _path(seen: Distribution, cost: Floats, closed: bool) -> Floats:
    """(N,) px, places on the minimum-cost path along the line."""
    # It keeps to the places that are likely anywhere along the line, and to those between.
    likely = np.flatnonzero((seen.masses() > _LEAST_SHARE).any(axis=0))
    first, last = (int(likely[0]), int(likely[-1]) + 1) if len(likely) else (0, PLACES)
    return FIRST + first + edge_path(cost[:, first:last], closed)


def edge_path(cost: Floats, closed: bool) -> Floats:
    """(N,) candidates on the minimum-cost path along the line (N, G)."""
    relative = cost - cost.min(axis=1, keepdims=True) + _STEP_COST
    return np.round(minimum_cost_path(relative, closed, BESIDE))


def _other(seen: Distribution, cost: Floats, at: Floats) -> Floats:
    """(N, 2) the likeliest place that is not about `at` (N,): px from it, and its probability."""
    places = FIRST + np.arange(PLACES)
    about = np.abs(places - at[:, None]) <= 2 * ABOUT_PX
    here = np.where(about, cost, np.inf).min(axis=1)
    best = np.where(about, np.inf, cost).argmin(axis=1)
    mean, _, _ = seen.near(places[best].astype(np.float64))
    return np.column_stack([mean - at, expit(here - cost[np.arange(len(at)), best])])


def _smoothed_offsets(offset: Floats, sigma: Floats, closed: bool, smooth: float) -> Floats:
    """(N,) offsets smoothed along the line, weighted by their certainty."""
    mode = "wrap" if closed else "nearest"
    total = gaussian_filter1d(1 / sigma**2, smooth, mode=mode)
    return np.asarray(gaussian_filter1d(offset / sigma**2, smooth, mode=mode) / total)


def _well_found(offset: Floats, sigma: Floats, closed: bool) -> Mask:
    """(N,) points near enough to the smoothed offsets."""
    apart = np.abs(offset - _smoothed_offsets(offset, sigma, closed, POOLED))
    # A clean step's place is known no better than to half its grid.
    scatter = max(SIGMA_PER_MAD * float(np.median(apart)), GRID_PX / 2)
    return np.asarray(apart < _OUTLIER * scatter)


def _rounded_tip(line: Floats, closed: bool) -> Mask:
    """(N,) the tip of a sharp corner, which the picture's own blur rounds."""
    tip = _turns(line, closed, _TIP_PX)
    width = 2 * round(_TIP_PX / STEP_PX) + 1
    return np.asarray(maximum_filter1d(tip, width, mode="wrap" if closed else "nearest"))
