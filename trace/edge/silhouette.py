"""The part's silhouette at full resolution: from a coarse border to sub-pixel edge points.

Only the pixels near the border are read. Each pass samples the light across the border and scores
every candidate position of the edge by how well the profile model explains the samples; the costs
of neighbours along the border are pooled, so that grain, dust and low contrast do not mislead a
single point. The first pass searches widely, the next ones refine what was found.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.edge_cost import Scene
from snugline.trace.edge.edge_line import (
    LINE_NORMAL_SMOOTH,
    Silhouette,
    corners,
    px_per_mm,
    smoothed_offsets,
)
from snugline.trace.edge.edge_profile import crease_px
from snugline.trace.edge.edge_shading import Shading
from snugline.trace.edge.profile_search import (
    SURE_ENOUGH_PX,
    Pass,
    rounded_tip,
    search,
    search_corner,
    slope_along,
    well_found,
)
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.polyline import resample, right_normals, smoothed

Floats = NDArray[np.float64]

# Standard deviation over all candidates: above it a competing edge exists.
_RIVAL_PX = 1.0
# A side or rounding seen narrower than this does not make a second edge.
_NARROWEST_CREASE_PX = 2.0

# From coarse to fine; the first one's reach comes with the call. Each reach covers what the pass
# before leaves, each grid is finer than the blur; the smoothing and the pooling were chosen on the
# shared photos.
_FIRST = Pass(reach_px=np.inf, grid_px=0.5, line_smooth=4.0, pool=6.0)
_SECOND = Pass(reach_px=3.0, grid_px=0.3, line_smooth=2.0, pool=2.5)
_LAST = Pass(reach_px=1.6, grid_px=0.2, line_smooth=2.5, pool=2.0)
_WIDE_STEP_PX = 3.0  # between points of the line, before the last
# Pooling rounds corners: there every point is located almost by itself, twice.
_CORNER = Pass(reach_px=2.0, grid_px=0.2, line_smooth=1.0, pool=1.2)
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
    scene = Scene(rgb, camera, sides, blur_px, px_per_mm(camera, border, closed))
    first_step = float(np.clip(search_px / _REACH_PER_STEP, step_px, _WIDE_STEP_PX))
    line, rival = border, np.zeros(2)
    shading: Shading | None = None
    first = replace(_FIRST, reach_px=search_px)
    steps = (first_step, _WIDE_STEP_PX, step_px)
    for now, step in zip((first, _SECOND, _LAST), steps, strict=True):
        line = smoothed(resample(line, step, closed), now.line_smooth, closed)
        normals = right_normals(smoothed(line, LINE_NORMAL_SMOOTH, closed), closed)
        crease = _crease(scene, line, closed, now, step) if now is first else None
        found = search(scene, line, normals, closed, now, shading, crease)
        offset, doubted = found.offset, ~found.decided
        if crease is not None:
            rival = (found.spread > _RIVAL_PX).astype(np.float64)
        if now is not _LAST:
            shading = found.shading()
            offset = smoothed_offsets(offset, found.sigma, closed, _OFFSET_SMOOTH, doubted)
        line = line + offset[:, None] * normals
    sigma = found.sigma.copy()
    good = ~doubted & well_found(line, offset, sigma, closed, _OFFSET_SMOOTH, doubted)
    zones = corners(normals, step_px, closed)
    shading = found.shading() if zones else None
    for zone in zones:
        there, at_corner = search_corner(scene, line[zone], _CORNER, shading)
        line[zone], sigma[zone] = there, at_corner.sigma
        sure = at_corner.decided & (at_corner.sigma < SURE_ENOUGH_PX)
        good[zone] = sure & ~rounded_tip(there, step_px)
    rival = np.interp(np.linspace(0, 1, len(line)), np.linspace(0, 1, len(rival)), rival)
    return Silhouette(line, sigma, good, rival > 0.5, closed)


def _crease(scene: Scene, line: Floats, closed: bool, now: Pass, step_px: float) -> Floats:
    """(N,) px: the line may follow the top edge, above the part's side or next to its rounding."""
    crease = crease_px(scene.sides, slope_along(scene, line, closed), scene.px_per_mm)
    crease[crease < _NARROWEST_CREASE_PX] = 0.0
    if not closed:
        # An open line ends at the window's border, which is close to it there.
        ends = np.minimum(np.arange(len(line)), np.arange(len(line))[::-1]) * step_px
        crease[ends < 2 * (crease.max() + now.reach_px)] = 0.0
    return crease
