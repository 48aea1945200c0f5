"""What searches along an edge share: the line they give, its corners, the cheapest positions."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    gaussian_filter1d,
    maximum_filter1d,
    median_filter,
    uniform_filter1d,
)

from snugline.trace.camera.projection import Camera
from snugline.trace.image.minimum_cost_path import minimum_cost_path
from snugline.trace.image.polyline import right_normals, smoothed

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SIGMA_FLOOR_PX = 0.02
# A point less certain than this pools more neighbours: this many times more, in turn.
_VAGUE_PX = 0.15
_WIDER = (3.0, 8.0)
# They are pooled along a smoothed line, where the present one lies within this share of the
# search's reach from it,
_STRAYS = 0.5
# and only where the line turns less than this among them: a corner would be cut.
_STRAIGHT = np.radians(25)
# Points over which normals are smoothed along the line.
LINE_NORMAL_SMOOTH = 3.0
# Offsets are smoothed first by a median, then by a Gaussian with weights by their certainty, which
# none has more of than the first sigma, px; what strays by the second from the median counts this
# little.
_MEDIAN_POINTS = 11
_MOST_CERTAIN_PX = 0.05
_STRAY_PX = 1.0
_STRAY_WEIGHT = 0.05
# A line that oscillates by this much in all, within this many points to either side, has strayed.
_OSCILLATION = np.radians(30)
_OSCILLATION_REACH = 18
_OSCILLATION_SMOOTH = 4.0  # points, before it is measured

# A line that turns by this much within this many pixels to either side is a corner.
_SHARP = np.radians(40)
_CORNER_PX = 12.0
_CORNER_ZONE_PX = 30.0  # to either side, searched again with finer pooling
_SHORTEST_ZONE = 12  # points; a shorter stretch cannot be searched

# Minimum-cost path:
_PATH_STEP_COST = 0.3  # of a step from row to row, relative to the data cost
_PATH_OVERLAP = 60  # points, when closing a loop


class Belief(Protocol):
    """What was thought of each point's place."""

    def densities(self, places: Floats) -> Floats:
        """(3, N, G) per px, G places outwards of the edge found: learned, physical, both."""
        ...


@dataclass(frozen=True)
class Silhouette:
    """Edge points in order along the border.

    Attributes
    ----------
    pixels : (N, 2) full-resolution px.
    sigma : (N,) px across the edge, its sub-pixel localisation, from the curvature of the cost.
    good : (N,) whether the point can be trusted.
    rival : (N,) whether the wide search found a competing edge there that is as likely.
    closed : whether the last point joins the first.
    other : (N, 2) where another edge may lie: px outwards of this one, and its probability.
    belief : what both witnesses think, for pictures; None where one alone was asked.
    """

    pixels: Floats
    sigma: Floats
    good: Mask
    rival: Mask
    closed: bool
    other: Floats | None = None
    belief: Belief | None = None


def corners(normals: Floats, step_px: float, closed: bool) -> list[NDArray[np.int64]]:
    """Indices of the stretches round points where the line turns sharply."""
    mode = "wrap" if closed else "nearest"
    sharp = turning(normals, round(_CORNER_PX / step_px), closed) > _SHARP
    wide = maximum_filter1d(sharp, 2 * round(_CORNER_ZONE_PX / step_px) + 1, mode=mode)
    if not wide.any() or wide.all():
        return []
    n = len(wide)
    # Started outside of a stretch, so that none is cut in two where a closed line begins.
    first = int(np.flatnonzero(~wide)[0]) if closed else 0
    order = (np.arange(n) + first) % n
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wide[order].astype(np.int8), [0]])))
    zones = [order[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [zone for zone in zones if len(zone) >= _SHORTEST_ZONE]


def px_per_mm(camera: Camera, line: Floats, closed: bool) -> float:
    """Typical scale across the line, on the sheet."""
    one_px = camera.on_plane(line + right_normals(line, closed)) - camera.on_plane(line)
    return float(1 / np.median(np.linalg.norm(one_px, axis=1)))


def edge_path(cost: Floats, closed: bool) -> NDArray[np.int64]:
    """(N,) candidates on the minimum-cost path along the line (N, G)."""
    relative = cost - cost.min(axis=1, keepdims=True) + _PATH_STEP_COST
    return np.round(minimum_cost_path(relative, closed, _PATH_OVERLAP)).astype(np.int64)


def oscillating(line: Floats, closed: bool) -> Mask:
    """Where the line oscillates: it has strayed to something next to the edge and come back.

    Along a corner, however sharp, all turning goes one way.
    """
    mode = "wrap" if closed else "nearest"
    calm = smoothed(line, _OSCILLATION_SMOOTH, closed)
    normals = right_normals(calm, closed)
    after = np.roll(normals, -1, axis=0) if closed else np.concatenate([normals[1:], normals[-1:]])
    turn = np.arcsin(np.clip(normals[:, 0] * after[:, 1] - normals[:, 1] * after[:, 0], -1, 1))
    width = 2 * _OSCILLATION_REACH + 1
    to_and_fro = uniform_filter1d(np.abs(turn), width, mode=mode) - np.abs(
        uniform_filter1d(turn, width, mode=mode)
    )
    return np.asarray(to_and_fro * width > _OSCILLATION)


def turning(normals: Floats, reach: int, closed: bool) -> Floats:
    """(N,) radians that the line turns between `reach` points before and after."""
    n = len(normals)
    index = np.arange(n)
    if closed:
        before, after = (index - reach) % n, (index + reach) % n
    else:
        before, after = np.maximum(index - reach, 0), np.minimum(index + reach, n - 1)
    cosine = np.sum(normals[before] * normals[after], axis=1)
    turn: Floats = np.arccos(np.clip(cosine, -1, 1))
    return turn


def minimum(
    pooled: Floats, candidates: Floats, near: Mask | None = None
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Minimum-cost position of each row, of those `near` (N, G), its sigma and its index.

    The costs are a neighbourhood's. Its common light and grain correlate its rows, so that pooling
    more of them is not credited with a smaller sigma.
    """
    before, here, after = pooled[:, :-2], pooled[:, 1:-1], pooled[:, 2:]
    bend = np.maximum(before - 2 * here + after, 1e-12)
    shift = np.clip(0.5 * (before - after) / bend, -1, 1)
    # Interpolate the minimum between candidates; two minima of equal depth would otherwise be
    # chosen arbitrarily.
    least = here - np.where(np.abs(shift) < 1, 0.5 * bend * shift**2, 0)
    if near is not None:
        least = np.where(near[:, 1:-1], least, np.inf)
    best = np.argmin(least, axis=1)
    rows = np.arange(len(pooled))
    grid = float(candidates[1] - candidates[0])
    offset = candidates[best + 1] + shift[rows, best] * grid
    return offset, grid / np.sqrt(bend[rows, best]), best + 1


def candidate_spread(pooled: Floats, candidates: Floats) -> Floats:
    """(N,) px, standard deviation of the edge's position over all candidates, competitors too."""
    share = np.exp(pooled.min(axis=1, keepdims=True) - pooled)
    share /= share.sum(axis=1, keepdims=True)
    mean = share @ candidates
    spread: Floats = np.sqrt(np.maximum(share @ candidates**2 - mean**2, 0))
    return spread


def moved_across(cost: Floats, candidates: Floats, by: Floats) -> Floats:
    """(N, G) costs of each row as seen from a line that lies `by` (N,) px farther inside."""
    grid = candidates[1] - candidates[0]
    index = np.clip(np.arange(len(candidates)) - by[:, None] / grid, 0, len(candidates) - 1)
    low = np.minimum(index.astype(np.int64), len(candidates) - 2)
    share = index - low
    rows = np.arange(len(cost))[:, None]
    return np.asarray(cost[rows, low] * (1 - share) + cost[rows, low + 1] * share)


def pooled_wider(
    first: tuple[Floats, Floats, NDArray[np.int64]],
    cost: Floats,
    favour: Floats,
    candidates: Floats,
    line: Floats,
    normals: Floats,
    closed: bool,
    pool: float,
    reach_px: float,
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """The `first` offsets, sigmas and candidates, from more neighbours where few leave them open.

    `cost` (N, G) is that of each row alone, `favour` what is added for keeping to the line.
    """
    mode = "wrap" if closed else "nearest"
    offset, sigma, best = first
    for wider in _WIDER:
        reach = round(2 * wider * pool)
        vague = (sigma > _VAGUE_PX) & (turning(normals, reach, closed) < _STRAIGHT)
        if not vague.any():
            break
        # Pooled along a smoothed line: one that strays would smear its neighbours' costs.
        width = wider * pool
        rest = line - smoothed(line, width, closed, 2.0)
        # Smoothed twice: once alone would pull every bend inwards.
        strays = np.sum((rest - smoothed(rest, width, closed, 2.0)) * normals, axis=1)
        if not closed:  # the ends are smoothed to themselves, right or wrong
            strays[: round(width)] = strays[-round(width) :] = 0.0
        moved = moved_across(cost, candidates, strays)
        o, s, k = minimum(gaussian_filter1d(moved, width, axis=0, mode=mode) + favour, candidates)
        o = o - strays
        vague &= (o > candidates[0]) & (o < candidates[-1])
        vague &= np.abs(strays) < _STRAYS * reach_px
        offset, sigma, best = (
            np.where(vague, b, a) for a, b in ((offset, o), (sigma, s), (best, k))
        )
    return offset, sigma, best


def smoothed_offsets(
    offset: Floats, sigma: Floats, closed: bool, smooth: float, doubted: Mask | None = None
) -> Floats:
    """(N,) offsets smoothed along the line, first by a median, then weighted by their certainty."""
    mode = "wrap" if closed else "nearest"
    stray = np.abs(offset - median_filter(offset, size=_MEDIAN_POINTS, mode=mode)) > _STRAY_PX
    if doubted is not None:
        stray |= doubted
    weight = 1 / (sigma**2 + _MOST_CERTAIN_PX**2)
    weight = np.where(stray, _STRAY_WEIGHT * weight, weight)
    total = gaussian_filter1d(weight, smooth, mode=mode)
    calm: Floats = gaussian_filter1d(weight * offset, smooth, mode=mode) / total
    return calm
