"""Was the wall left out? As far outside the edge as the wall is wide, there is a step.

Where the camera sees a wall, its upper edge or the rounding's may be the plainest line of all, and
the wall may be so like the sheet that it is taken for it. Then the wall's foot, the true edge, runs
beside the one that was followed, just as far out as thickness and camera say; and sheet has no
sharp step of its own.
"""

import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.linear_light import linear_to_srgb
from snugline.trace.image.step_edge import sample_luminance
from snugline.trace.verdict.edge_strips import Beside

Mask = NDArray[np.bool_]

# Narrower than this the wall is lost in the edge's own blur, which reaches so far; px, as are
# places across the step: beside it, and farther off, where the slope of the light is seen.
_NARROWEST_PX, _EDGE_PX = 4.0, 2.0
_BESIDE, _FARTHER = 1.5, 4.0
# A step of so much of the coded light is no noise.
_STEP = 0.015


def wall_outside(edge: Beside) -> Mask:
    """(N,) whether the wall's foot seems to lie outside of the edge that was followed."""
    sides, slope = edge.sides, edge.slope
    wall = (sides.thickness - sides.edge_size) * (-slope - np.tan(sides.draft)) / edge.mm_per_px
    whole = np.where(slope < 0, edge.crease, 0.0)
    found = np.zeros(len(slope), bool)
    for width in (wall, whole):
        across = np.tile([-_FARTHER, -_BESIDE, _BESIDE, _FARTHER], (len(slope), 1))
        # Not into the edge that was followed.
        across[:, 0] = -np.clip(width - _EDGE_PX, _BESIDE + 0.5, _FARTHER)
        light = sample_luminance(edge.rgb, *edge.places(width[:, None] + across))
        level = edge.calmed(linear_to_srgb(np.nan_to_num(light.astype(np.float64), nan=0.0)))
        inner, middle, outer = (np.diff(level, axis=1) / np.diff(across, axis=1)).T
        # What goes on beside it is a slope of the light, however steep.
        sharp = np.abs(middle) > 2 * np.maximum(np.abs(inner), np.abs(outer))
        sharp &= 2 * _BESIDE * np.abs(middle - 0.5 * (inner + outer)) > _STEP
        found |= sharp & (width > _NARROWEST_PX)
    return found
