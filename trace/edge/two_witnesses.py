"""The part's silhouette by two witnesses: a learned one and the physical profile.

The learned one looks first, far and wide; along what it found both are asked, and each is weighed
by what it is sure of. `silhouette.locate` asks the profile alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    binary_closing,
    binary_opening,
    gaussian_filter1d,
    uniform_filter1d,
)
from scipy.special import expit

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.edge_cost import Scene
from snugline.trace.edge.edge_line import (
    LINE_NORMAL_SMOOTH,
    SIGMA_FLOOR_PX,
    Silhouette,
    corners,
    edge_path,
    minimum,
    px_per_mm,
    smoothed_offsets,
)
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
from snugline.trace.edge.profile_search import (
    SURE_ENOUGH_PX,
    Found,
    Pass,
    rounded_tip,
    search,
    search_corner,
    well_found,
)
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.polyline import resample, right_normals, smoothed

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Both witnesses are weighed within this many px to either side.
_TOGETHER_PX = 2.0
_TOGETHER = np.arange(-_TOGETHER_PX, _TOGETHER_PX + 0.1, 0.2)
# Rows over which the learned costs are pooled: its rows see one another already.
_POOLED = 1.5
# By how much the physical witness understates its sigma along a line that the learned one found,
# what its model leaves out besides, px, and how often it is wrong altogether: of the rows where it
# is sure 6 % are off by over a pixel, and its errors are twice its sigma (400 scenes, seed 6100 of
# benchmarks/unseen_kinds.py).
_PHYSICAL_TIMES = 2.0
_PHYSICAL_PX = 0.05
_PHYSICAL_WRONG = 0.06
# Below this probability all places are alike to the path; above the second one, several times an
# even share, a place is likely.
_LEAST_MASS, _LIKELY = 1e-3, 0.05
# Places farther apart than this are two edges: more than the blur of one.
_APART_PX = 3.0
# With this much of the probability elsewhere a second edge is as likely; with more nothing is told.
_RIVAL_SHARE = 0.35
# A row counts where the learned witness sees one edge there, knows it to this many px, and does not
# say that nothing can be told; or where that edge is the likelier one at least, and the physical
# witness knows it as well and agrees within their sigmas. Of the rows that miss both, 72 % are off
# by more than a px, of the others 5 % (30 scenes of seed 6000).
_ONE_EDGE = 0.9
_KNOWN_PX = 0.8
_UNTOLD = 0.02
_LIKELIER = 0.5
_KNOWS_PX = 0.3
_AGREE = 2.0


# Along what the learned witness found: the second pass follows the first. Each reach covers what is
# left before it, each grid is finer than the blur; pooled as far as grain asks for.
_FIRST = Pass(reach_px=3.0, grid_px=0.3, pool=1.25, line_smooth=0.0)
_LAST = Pass(reach_px=1.6, grid_px=0.2, pool=1.5, line_smooth=0.0)
# Pooling rounds corners: there every point is located almost by itself, twice.
_CORNER = Pass(reach_px=2.0, grid_px=0.2, pool=0.9, line_smooth=1.0)
# The learned witness looks again along what it found while that is beyond the reach of both.
_LOOKS = 5
# The first look and the first pass take one row of this many: on 29 scenes of
# benchmarks/unseen_kinds.py, seeds 5000 to 6101, no verdict but one mild remark changed, and the
# rms of those that were right by at most 0.004 mm; one row of four would miss some edges.
_SPARSE = 2
# Where nothing is seen along a stretch of this many rows, a wide shadow's outline was followed: the
# next look is farther inside, by px that its window still reaches.
_BLIND, _STRETCH = 0.5, 6
_FARTHER_PX = 14.0
# Points over which the line is smoothed that the learned witness found.
FOUND_SMOOTH = 1.5
_OFFSET_SMOOTH = 2.5


def locate_with_both(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    border: Floats,
    closed: bool,
    blur_px: float,
    response: Response,
) -> Silhouette:
    """Sub-pixel silhouette near a coarse border.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, the full photo.
    border : (M, 2) full-resolution px, in order with the part on the left (on the sheet).
    blur_px : blur of the markers' edges in this photo, the sharpest that an edge can be.
    response : how this photo shows a sharp edge, and paper.
    """
    scene = Scene(rgb, camera, sides, blur_px, px_per_mm(camera, border, closed))
    # First the learned witness alone, far and wide, until it stays where it is.
    line = smoothed(resample(border, _SPARSE * STEP_PX, closed), LINE_SMOOTH / _SPARSE, closed)
    normals = right_normals(smoothed(line, NORMAL_SMOOTH / _SPARSE, closed), closed)
    for look in range(_LOOKS):
        seen = edge_distribution(rgb, camera, sides, response, line, normals, closed)
        offset, sigma, elsewhere = _along(seen, closed)
        rows = 1 if look else _SPARSE
        away = smoothed_offsets(offset, sigma, closed, _OFFSET_SMOOTH / rows)
        away = np.where(_blind(seen, elsewhere, _STRETCH // rows), -_FARTHER_PX, away)
        if look == _LOOKS - 1 or (look and np.abs(away).max() < _FIRST.reach_px):
            break
        line = smoothed(
            resample(line + away[:, None] * normals, STEP_PX, closed), FOUND_SMOOTH, closed
        )
        normals = right_normals(smoothed(line, LINE_NORMAL_SMOOTH, closed), closed)
    # The profile's first pass comes near and tells the light, for which every other row does.
    some = np.arange(0, len(line), _SPARSE)
    found = search(scene, line[some], normals[some], closed, _FIRST, None)
    offset, sigma, _ = _together(found, seen.at_rows(some), np.zeros(len(some)), closed)
    offset = smoothed_offsets(offset, sigma, closed, _OFFSET_SMOOTH / _SPARSE)
    period = len(line) if closed else None
    moved = np.interp(np.arange(len(line)), some, offset, period=period)
    near = line + moved[:, None] * normals
    found = search(scene, near, normals, closed, _LAST, found.shading())
    offset, sigma, elsewhere = _together(found, seen, moved, closed)
    moved = moved + offset
    line = line + moved[:, None] * normals
    good = found.known & well_found(line, offset, sigma, closed, _OFFSET_SMOOTH, None)
    told, agree = _told(seen, moved, found.offset - offset, found)
    good &= told
    zones = corners(normals, STEP_PX, closed)
    shading = found.shading() if zones else None
    for zone in zones:
        there, at_corner = search_corner(scene, line[zone], _CORNER, shading)
        # Where that leads away from what both witnesses said, it is not followed.
        strays = np.linalg.norm(there - line[zone], axis=1) > np.maximum(1.0, 3 * sigma[zone])
        there = np.where(strays[:, None], line[zone], there)
        line[zone], sigma[zone] = there, np.where(strays, sigma[zone], at_corner.sigma)
        sure = (at_corner.known | strays) & (sigma[zone] < SURE_ENOUGH_PX)
        good[zone] = told[zone] & sure & ~rounded_tip(there, STEP_PX)
    thought = Thought(seen, moved, found.offset - offset, found.sigma, found.decided)
    rival = elsewhere > _RIVAL_SHARE
    return Silhouette(line, sigma, good, rival, closed, _other(seen, moved, closed, agree), thought)


@dataclass(frozen=True)
class Thought:
    """What both witnesses think of each point's place.

    Attributes
    ----------
    seen, at : of the learned one, and (N,) px where the edge found lies in it.
    physical, sigma, decided : (N,) px outwards of the edge found; whether it can tell.
    """

    seen: Distribution
    at: Floats
    physical: Floats
    sigma: Floats
    decided: Mask

    def densities(self, places: Floats) -> Floats:
        """(3, N, G) per px, G places outwards of the edge found: learned, physical, both."""
        learned = np.exp(-self.seen.cost(self.at[:, None] + places))
        physical = _physical(places, self.physical, self.sigma)
        physical = np.where(self.decided[:, None], physical, 1 / PLACES)
        both = learned * physical
        step = places[1] - places[0]
        both = both / np.maximum(both.sum(axis=1, keepdims=True) * step, 1e-12)
        return np.stack([learned, physical, both])


def _blind(seen: Distribution, elsewhere: Floats, rows: int) -> Mask:
    """(N,) stretches of this many rows along which nothing is seen of an edge."""
    nothing, stretch = (seen.untold > _BLIND) | (elsewhere > _BLIND), np.ones(rows, bool)
    return np.asarray(binary_opening(binary_closing(nothing, stretch), stretch))


def _told(seen: Distribution, at: Floats, physical: Floats, found: Found) -> tuple[Mask, Mask]:
    """(N,) whether the learned witness alone vouches for the edge at `at`, or both do; and whether
    both agree.

    `physical` : (N,) px outwards of it, where the physical one sees it.
    """
    mean, spread, total = seen.near(at)
    agree = np.abs(physical - (mean - at)) < _AGREE * np.hypot(spread, found.sigma)
    agree &= found.decided & (found.sigma < _KNOWS_PX)
    return vouched(seen, at) | (agree & (total > _LIKELIER)), np.asarray(agree)


def vouched(seen: Distribution, at: Floats) -> Mask:
    """(N,) whether the learned witness alone vouches for the edge at `at`."""
    _, spread, total = seen.near(at)
    return np.asarray((total > _ONE_EDGE) & (spread < _KNOWN_PX) & (seen.untold < _UNTOLD))


def _along(seen: Distribution, closed: bool) -> tuple[Floats, Floats, Floats]:
    """(N,) px of the edge along a line, the learned witness alone, its sigma, and how much of the
    probability is elsewhere.
    """
    mass = _smoothed(seen)
    # The path keeps to the places that are likely anywhere along the line, and to those between.
    likely = np.flatnonzero((mass > _LIKELY).any(axis=0))
    first, last = (int(likely[0]), int(likely[-1]) + 1) if len(likely) else (0, mass.shape[1])
    path = edge_path(_pooled_cost(mass[:, first:last], closed), closed)
    mean, sigma, total = seen.near(FIRST + first + path.astype(np.float64))
    return mean, sigma, 1 - total


def _smoothed(seen: Distribution) -> Floats:
    """(N, PLACES) probability of each place by the learned witness."""
    return np.asarray(uniform_filter1d(seen.masses(), 3, axis=1, mode="constant"))


def _pooled_cost(mass: Floats, closed: bool) -> Floats:
    """Cost of each place (N, places) of that probability, pooled along the line."""
    mode = "wrap" if closed else "nearest"
    return np.asarray(gaussian_filter1d(-np.log(mass + _LEAST_MASS), _POOLED, axis=0, mode=mode))


def _other(seen: Distribution, at: Floats, closed: bool, agree: Mask) -> Floats:
    """(N, 2) the likeliest place that is not about `at` (N,): px from it, and its probability.

    Where the physical witness agrees on `at`, it would have to be wrong altogether.
    """
    cost, places = _pooled_cost(_smoothed(seen), closed), FIRST + np.arange(PLACES)
    about = np.abs(places - at[:, None]) <= _APART_PX
    here = np.where(about, cost, np.inf).min(axis=1)
    best = np.where(about, np.inf, cost).argmin(axis=1)
    mean, _, _ = seen.near(places[best].astype(np.float64))
    odds = here - cost[np.arange(len(at)), best] + np.where(agree, np.log(_PHYSICAL_WRONG), 0.0)
    return np.column_stack([mean - at, expit(odds)])


def _together(
    found: Found, seen: Distribution, moved: Floats, closed: bool
) -> tuple[Floats, Floats, Floats]:
    """(N,) px off a line that lies `moved` off the one seen, sigma, and the share elsewhere.

    Each witness is weighed by what it is sure of; that the physical one is wrong altogether has a
    probability of its own.
    """
    mode = "wrap" if closed else "nearest"
    grid = _TOGETHER
    learned = seen.cost(moved[:, None] + grid)
    learned = gaussian_filter1d(learned, _POOLED, axis=0, mode=mode)
    physical = -np.log(_physical(grid, found.offset, found.sigma))
    cost = learned + np.where(found.decided[:, None], physical, 0.0)
    offset = minimum(cost, grid)[0]
    share = np.exp(cost.min(axis=1, keepdims=True) - cost)
    share /= share.sum(axis=1, keepdims=True)
    about = share * (np.abs(grid - offset[:, None]) < 1.0)
    mean = (about * grid).sum(axis=1) / about.sum(axis=1)
    sigma = np.sqrt((about * (grid - mean[:, None]) ** 2).sum(axis=1) / about.sum(axis=1))
    _, _, total = seen.near(moved + offset)
    return offset, np.maximum(sigma, SIGMA_FLOOR_PX), 1 - np.maximum(total, 0)


def _physical(places: Floats, offset: Floats, sigma: Floats) -> Floats:
    """(N, G) density per px of the physical witness: it is right, or wrong altogether."""
    width = np.hypot(_PHYSICAL_TIMES * sigma, _PHYSICAL_PX)[:, None]
    near = np.exp(-0.5 * ((places - offset[:, None]) / width) ** 2)
    right = (1 - _PHYSICAL_WRONG) * near / (width * np.sqrt(2 * np.pi))
    return np.asarray(right + _PHYSICAL_WRONG / (2 * _TOGETHER_PX))
