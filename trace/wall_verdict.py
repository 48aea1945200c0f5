"""Was the wall left out? As far outside the edge as the wall is wide, there is a step.

Where the camera sees a wall, its upper edge or the rounding's may be the plainest line of all, and
the wall may be so like the sheet that it is taken for it. Then the wall's foot, the true edge, runs
beside the one that was followed, just as far out as thickness and camera say; and sheet has no
sharp step of its own.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.camera import Camera
from snugline.trace.edge import sample_luminance
from snugline.trace.lift import PartSides, lift
from snugline.trace.light import linear_to_srgb
from snugline.trace.profile import crease_px
from snugline.trace.silhouette import Silhouette, right_normals

Mask = NDArray[np.bool_]

# Narrower than this the wall is lost in the edge's own blur, which reaches so far; px, as are
# places across the step: beside it, and farther off, where the slope of the light is seen.
_NARROWEST_PX, _EDGE_PX = 4.0, 2.0
_BESIDE, _FARTHER = 1.5, 4.0
_CALM_MM = 2.5
# A step of so much of the coded light is no noise.
_STEP = 0.015


def wall_outside(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    silhouette: Silhouette,
    mm_per_px: float,
) -> Mask:
    """(N,) whether the wall's foot seems to lie outside of the edge that was followed.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    mm_per_px : on the sheet.
    """
    pixels, closed = silhouette.pixels, silhouette.closed
    normals = right_normals(pixels, closed)
    slope = lift(camera, pixels, sides, closed, smooth=8).slope
    wall = (sides.thickness - sides.edge_size) * (-slope - np.tan(sides.draft)) / mm_per_px
    whole = np.where(slope < 0, crease_px(sides, slope, 1 / mm_per_px), 0.0)
    step = float(np.median(np.linalg.norm(np.diff(pixels, axis=0), axis=1)))
    found = np.zeros(len(pixels), bool)
    for width in (wall, whole):
        across = np.tile([-_FARTHER, -_BESIDE, _BESIDE, _FARTHER], (len(pixels), 1))
        # Not into the edge that was followed.
        across[:, 0] = -np.clip(width - _EDGE_PX, _BESIDE + 0.5, _FARTHER)
        away = width[:, None] + across
        x, y = (pixels[:, k, None] + normals[:, k, None] * away for k in (0, 1))
        light = np.nan_to_num(sample_luminance(rgb, x, y).astype(np.float64), nan=0.0)
        calm = gaussian_filter1d(
            linear_to_srgb(light),
            _CALM_MM / mm_per_px / step,
            axis=0,
            mode="wrap" if closed else "nearest",
        )
        inner, middle, outer = (np.diff(calm, axis=1) / np.diff(across, axis=1)).T
        # What goes on beside it is a slope of the light, however steep.
        sharp = np.abs(middle) > 2 * np.maximum(np.abs(inner), np.abs(outer))
        sharp &= 2 * _BESIDE * np.abs(middle - 0.5 * (inner + outer)) > _STEP
        found |= sharp & (width > _NARROWEST_PX)
    return found
