"""The part's silhouette at full resolution: from a coarse border to sub-pixel edge points.

Only the pixels near the border are read. Each pass samples the light across the border and scores
every candidate position of the edge by how well the profile model explains the samples; the costs
of neighbours along the border are pooled, so that grain, dust and low contrast do not mislead a
single point. The first pass searches widely, the next ones refine what was found.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    gaussian_filter1d,
    maximum_filter1d,
)

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.edge_cost import Across, Scene
from snugline.trace.edge.edge_line import (
    CORNER_NORMAL_SMOOTH,
    CORNER_ROUNDS,
    FACE_ROUGHER,
    LEAST_SCATTER_PX,
    LINE_NORMAL_SMOOTH,
    OUTLIER,
    SIGMA_FLOOR_PX,
    SLOPE_SMOOTH,
    SURE_ENOUGH_PX,
    TIP,
    TIP_LENGTHS,
    TIP_PX,
    Silhouette,
    candidate_spread,
    corners,
    edge_path,
    minimum,
    oscillating,
    pooled_wider,
    px_per_mm,
    smoothed_offsets,
    turning,
)
from snugline.trace.edge.edge_profile import crease_px
from snugline.trace.edge.edge_shading import Shading
from snugline.trace.edge.relief_displacement import PartSides, lift
from snugline.trace.image.polyline import resample, right_normals, smoothed
from snugline.trace.image.robust_scale import SIGMA_PER_MAD

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_PATH_DEVIATION = 2  # candidates by which a row may deviate from the path
# Standard deviation of the line's own error, as a share of the search's reach: first pass, later.
_KEPT_TO = (0.6, 1.5)
# Standard deviation over all candidates: above it a competing edge exists.
_RIVAL_PX = 1.0
_SURE_PX = 0.6  # below it the point is certain enough to estimate the illumination
# A side or rounding seen narrower than this does not make a second edge.
_NARROWEST_CREASE_PX = 2.0


@dataclass(frozen=True)
class _Pass:
    """A search along the line.

    Attributes
    ----------
    step_px : between points of the line.
    reach_px : how far off the line the edge may be.
    grid_px : between candidates.
    line_smooth : points, standard deviation by which the line is smoothed before.
    pool : points, standard deviation over which the costs of neighbours are pooled.
    """

    step_px: float
    reach_px: float
    grid_px: float
    line_smooth: float
    pool: float


# From coarse to fine; step and reach of the first, and steps of the last and of corners, come with
# the call. Each reach covers what the pass before leaves, each grid is finer than the blur; the
# smoothing and the pooling were chosen on the shared photos.
_FIRST = _Pass(step_px=3.0, reach_px=np.inf, grid_px=0.5, line_smooth=4.0, pool=6.0)
_SECOND = _Pass(step_px=3.0, reach_px=3.0, grid_px=0.3, line_smooth=2.0, pool=2.5)
_LAST = _Pass(step_px=1.5, reach_px=1.6, grid_px=0.2, line_smooth=2.5, pool=2.0)
# Pooling rounds corners: there every point is located almost by itself, twice.
_CORNER = _Pass(step_px=1.5, reach_px=2.0, grid_px=0.2, line_smooth=1.0, pool=1.2)
# Smoothed by four points the line cuts bends short: the first step is this share of the reach, so
# that it does so by less.
_REACH_PER_STEP = 1.5
_OFFSET_SMOOTH = 3.0


def locate(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    border: Floats,
    closed: bool,
    search_px: float,
    blur_px: float,
    step_px: float = 1.5,
) -> Silhouette:
    """Sub-pixel silhouette near a coarse border.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, the full photo.
    border : (M, 2) full-resolution px, in order with the part on the left (on the sheet).
    search_px : how far off the border may be.
    blur_px : blur of the markers' edges in this photo, the sharpest that an edge can be.
    step_px : distance between the points wanted.
    """
    first_step = float(np.clip(search_px / _REACH_PER_STEP, step_px, _FIRST.step_px))
    passes = (
        replace(_FIRST, step_px=first_step, reach_px=search_px),
        _SECOND,
        replace(_LAST, step_px=step_px),
    )
    scene = Scene(rgb, camera, sides, blur_px, px_per_mm(camera, border, closed))
    line, rival = border, np.zeros(2)
    shading: Shading | None = None
    for number, now in enumerate(passes):
        line = smoothed(resample(line, now.step_px, closed), now.line_smooth, closed)
        normals = right_normals(smoothed(line, LINE_NORMAL_SMOOTH, closed), closed)
        found = _search(scene, line, normals, closed, now, shading, number == 0)
        offset, shading = found.offset, found.shading
        if number == 0:
            rival = (found.spread > _RIVAL_PX).astype(np.float64)
        if number < len(passes) - 1:
            offset = smoothed_offsets(
                found.offset, found.sigma, closed, _OFFSET_SMOOTH, ~found.decided
            )
        line = line + offset[:, None] * normals
    apart = found.offset - smoothed_offsets(
        found.offset, found.sigma, closed, _OFFSET_SMOOTH, ~found.decided
    )
    scatter = max(SIGMA_PER_MAD * float(np.median(np.abs(apart))), LEAST_SCATTER_PX)
    good = found.decided & (np.abs(apart) < OUTLIER * scatter)
    good &= found.sigma < SURE_ENOUGH_PX
    good &= ~oscillating(line, closed)
    sigma = found.sigma.copy()
    for zone in corners(normals, step_px, closed):
        there, alone = line[zone], replace(_CORNER, step_px=step_px)
        for _ in range(CORNER_ROUNDS):
            there = smoothed(there, alone.line_smooth, False)
            normals = right_normals(smoothed(there, CORNER_NORMAL_SMOOTH, False), False)
            found = _search(scene, there, normals, False, alone, shading, False)
            there = there + found.offset[:, None] * normals
        line[zone], sigma[zone] = there, found.sigma
        # The very tip of a sharp corner is rounded by the picture's own blur.
        tip = turning(right_normals(there, False), round(TIP_PX / step_px), False) > TIP
        tip = maximum_filter1d(tip, 2 * round(TIP_LENGTHS * TIP_PX / step_px) + 1, mode="nearest")
        good[zone] = found.decided & (found.sigma < SURE_ENOUGH_PX) & ~tip
    rival = np.interp(np.linspace(0, 1, len(line)), np.linspace(0, 1, len(rival)), rival)
    return Silhouette(line, sigma, good, rival > 0.5, closed)


@dataclass(frozen=True)
class _Found:
    offset: Floats
    sigma: Floats
    spread: Floats
    decided: Mask
    shading: Shading | None


def _search(
    scene: Scene,
    line: Floats,
    normals: Floats,
    closed: bool,
    now: _Pass,
    shading: Shading | None,
    widely: bool,
) -> _Found:
    """Where across the line the edge is, for each of its points.

    Widely: the line is only roughly known, and the illumination not yet.
    """
    slope = lift(scene.camera, line, scene.sides, closed, smooth=SLOPE_SMOOTH).slope
    # The line may follow the top edge, above the part's side or next to its rounding.
    crease = np.zeros(len(line))
    if widely:
        crease = crease_px(scene.sides, slope, scene.px_per_mm)
        crease[crease < _NARROWEST_CREASE_PX] = 0.0
        if not closed:
            # An open line ends at the window's border, which is close to it there.
            ends = np.minimum(np.arange(len(line)), np.arange(len(line))[::-1]) * now.step_px
            crease[ends < 2 * (crease.max() + now.reach_px)] = 0.0
    candidates = np.arange(
        -now.reach_px, crease.max() + now.reach_px + 0.5 * now.grid_px, now.grid_px
    )
    rougher = FACE_ROUGHER if widely else 1.0
    across = Across.of(scene, line, normals, slope, closed, candidates, crease, rougher)
    mode = "wrap" if closed else "nearest"
    cost = across.costs(shading)
    pooled = gaussian_filter1d(cost, now.pool, axis=0, mode=mode)
    spread = candidate_spread(pooled, candidates)
    shading = across.shading(minimum(pooled, candidates)[2], spread < _SURE_PX)
    if widely and shading is not None:
        cost = across.costs(shading)
        pooled = gaussian_filter1d(cost, now.pool, axis=0, mode=mode)
        spread = candidate_spread(pooled, candidates)
    # Where the profiles carry little information, the line is kept to.
    off = candidates - np.clip(candidates, 0, crease[:, None])
    favour = 0.5 * (off / (_KEPT_TO[0 if widely else 1] * now.reach_px)) ** 2
    total, near = pooled + favour, None
    if widely:
        # Of two equally likely edges the line follows one, and does not jump between them.
        path = edge_path(total, closed)
        near = np.abs(np.arange(len(candidates)) - path[:, None]) <= _PATH_DEVIATION
    offset, sigma, best = minimum(total, candidates, near)
    if not widely:  # the path has used all neighbours
        first = offset, sigma, best
        offset, sigma, best = pooled_wider(
            first, cost, favour, candidates, line, normals, closed, now.pool, now.reach_px
        )
    decided = (best > 1) & (best < len(candidates) - 2) & across.known
    return _Found(
        offset=offset,
        sigma=np.maximum(sigma, SIGMA_FLOOR_PX),
        spread=spread,
        decided=decided,
        shading=shading,
    )
