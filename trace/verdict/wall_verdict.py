"""Was the side of the part left out? Then there is a step where its bottom edge should appear.

Where the camera sees a side, the top edge or the rounding's may be the clearest line of all, and
the side may be so similar to the sheet that it is mistaken for it. Then the bottom edge, the true
one, lies outside the one that was followed, at the distance that thickness and camera give; and the
sheet has no sharp step of its own.
"""

import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.linear_light import linear_to_srgb
from snugline.trace.image.step_edge import sample_luminance
from snugline.trace.verdict.edge_strips import Beside

Mask = NDArray[np.bool_]

_NARROWEST_PX = 4.0  # a narrower side is lost in the edge's own blur
_EDGE_PX = 2.0  # over which that blur extends
_BESIDE = 1.5  # px from the step, to measure it
_FARTHER = 4.0  # px from the step, to measure the slope of the light next to it
# A step of this much in the coded light is above the noise.
_STEP = 0.015


def wall_outside(edge: Beside) -> Mask:
    """(N,) whether the bottom edge seems to lie outside of the edge that was followed."""
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
        # A change that continues on both sides is a slope of the light, however steep.
        sharp = np.abs(middle) > 2 * np.maximum(np.abs(inner), np.abs(outer))
        sharp &= 2 * _BESIDE * np.abs(middle - 0.5 * (inner + outer)) > _STEP
        found |= sharp & (width > _NARROWEST_PX)
    return found
