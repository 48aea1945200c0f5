"""The search across a line by the profile model: where it sees the edge of the part."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from snugline.trace.edge.edge_cost import Across, Scene
from snugline.trace.edge.edge_line import (
    SIGMA_FLOOR_PX,
    candidate_spread,
    edge_path,
    minimum,
    oscillating,
    pooled_wider,
    smoothed_offsets,
    turning,
)
from snugline.trace.edge.edge_shading import Shading
from snugline.trace.edge.relief_displacement import lift
from snugline.trace.image.polyline import right_normals, smoothed
from snugline.trace.image.robust_scale import SIGMA_PER_MAD

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Print, gloss and grain of the part's face follow no model, the sheet has none: before the light is
# known the noise of the face is assumed to be at least this many times that of the sheet.
_FACE_ROUGHER = 2.0
_SLOPE_SMOOTH = 8  # points over which the part's slope is averaged
_PATH_DEVIATION = 2  # candidates by which a row may deviate from the path
# Standard deviation of the line's own error, as a share of the reach: roughly known, and later.
_KEPT_TO = (0.6, 1.5)
# Below this standard deviation over all candidates a point is certain enough to estimate the light.
_SURE_PX = 0.6
# A point less certain than this is discarded.
SURE_ENOUGH_PX = 1.0
# A point this many scatters off the smoothed line is an outlier; the least scatter, px, is that of
# a good edge.
_OUTLIER = 5
_LEAST_SCATTER_PX = 0.05
# Corners are searched this many times, with normals smoothed over that many points.
_CORNER_ROUNDS = 2
_CORNER_NORMAL_SMOOTH = 1.5
# At the tip of a sharp corner, turning by more than this within this many px, the picture's blur
# rounds the edge; it is dropped together with this many of its lengths to either side.
_TIP = np.radians(55)
_TIP_PX = 4.0
_TIP_LENGTHS = 1.5


@dataclass(frozen=True)
class Pass:
    """A search along the line.

    Attributes
    ----------
    reach_px : how far off the line the edge may be.
    grid_px : between candidates.
    pool : points, standard deviation over which the costs of neighbours are pooled.
    line_smooth : points, standard deviation by which the line is smoothed before.
    """

    reach_px: float
    grid_px: float
    pool: float
    line_smooth: float


@dataclass(frozen=True)
class Found:
    """Where the edge is across a line, for each of its N points.

    Attributes
    ----------
    offset, sigma : px outwards.
    spread : px, standard deviation over all candidates, competing edges too.
    known : whether the row lies in the picture; `decided` : and the edge within the reach.
    shading : what that tells of the illumination.
    """

    offset: Floats
    sigma: Floats
    spread: Floats
    known: Mask
    decided: Mask
    shading: Callable[[], Shading | None]


def slope_along(scene: Scene, line: Floats, closed: bool) -> Floats:
    """(N,) tangent of the angle by which the rays lean outwards at the edge."""
    return lift(scene.camera, line, scene.sides, closed, smooth=_SLOPE_SMOOTH).slope


def search(
    scene: Scene,
    line: Floats,
    normals: Floats,
    closed: bool,
    now: Pass,
    shading: Shading | None,
    crease: Floats | None = None,
) -> Found:
    """Where across the line the edge is.

    Parameters
    ----------
    shading : the illumination; None before it is known.
    crease : (N,) px, where the line is only roughly known: that much farther out the edge may be,
        since the line may follow the part's top edge.
    """
    slope, mode = slope_along(scene, line, closed), "wrap" if closed else "nearest"
    beyond = np.zeros(len(line)) if crease is None else crease
    candidates = np.arange(
        -now.reach_px, beyond.max() + now.reach_px + 0.5 * now.grid_px, now.grid_px
    )
    rougher = _FACE_ROUGHER if shading is None else 1.0
    across = Across.of(scene, line, normals, slope, closed, candidates, beyond, rougher)
    cost = across.costs(shading)
    pooled = gaussian_filter1d(cost, now.pool, axis=0, mode=mode)

    def told() -> Shading | None:
        sure = candidate_spread(pooled, candidates) < _SURE_PX
        return across.shading(minimum(pooled, candidates)[2], sure)

    light = told() if shading is None else shading
    if shading is None and light is not None:
        # The light is told by the first look; only with it are all places comparable.
        cost = across.costs(light)
        pooled = gaussian_filter1d(cost, now.pool, axis=0, mode=mode)
    # Where the profiles carry little information, the line is kept to.
    off = candidates - np.clip(candidates, 0, beyond[:, None])
    favour = 0.5 * (off / (_KEPT_TO[crease is None] * now.reach_px)) ** 2
    if crease is None:
        found = pooled_wider(
            minimum(pooled + favour, candidates), cost, favour, candidates, line, normals, closed,
            now.pool, now.reach_px,
        )  # fmt: skip
    else:
        # Of two equally likely edges the line follows one, and does not jump between them; the path
        # has used all neighbours.
        path = edge_path(pooled + favour, closed)
        near = np.abs(np.arange(len(candidates)) - path[:, None]) <= _PATH_DEVIATION
        found = minimum(pooled + favour, candidates, near)
    offset, sigma, best = found
    decided = (best > 1) & (best < len(candidates) - 2) & across.known
    sigma, spread = np.maximum(sigma, SIGMA_FLOOR_PX), candidate_spread(pooled, candidates)
    anew = told if light is not None else lambda: None
    return Found(offset, sigma, spread, across.known, decided, anew)


def search_corner(
    scene: Scene, line: Floats, now: Pass, shading: Shading | None
) -> tuple[Floats, Found]:
    """The line round a corner, searched again, and what the last search found."""
    for _ in range(_CORNER_ROUNDS):
        line = smoothed(line, now.line_smooth, False)
        normals = right_normals(smoothed(line, _CORNER_NORMAL_SMOOTH, False), False)
        found = search(scene, line, normals, False, now, shading)
        line = line + found.offset[:, None] * normals
    return line, found


def well_found(
    line: Floats, offset: Floats, sigma: Floats, closed: bool, smooth: float, doubted: Mask | None
) -> Mask:
    """(N,) points near enough to the smoothed offsets, certain enough, on a calm line."""
    apart = offset - smoothed_offsets(offset, sigma, closed, smooth, doubted)
    scatter = max(SIGMA_PER_MAD * float(np.median(np.abs(apart))), _LEAST_SCATTER_PX)
    good = (np.abs(apart) < _OUTLIER * scatter) & (sigma < SURE_ENOUGH_PX)
    return np.asarray(good & ~oscillating(line, closed))


def rounded_tip(line: Floats, step_px: float) -> Mask:
    """(N,) the tip of a sharp corner, which the picture's own blur rounds."""
    tip = turning(right_normals(line, False), round(_TIP_PX / step_px), False) > _TIP
    width = 2 * round(_TIP_LENGTHS * _TIP_PX / step_px) + 1
    return np.asarray(maximum_filter1d(tip, width, mode="nearest"))
