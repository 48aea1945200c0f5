"""The part cut from the sheet: the minimum cut between regions by what the map makes of them.

The map knows what is part to a millimetre; the cut puts the border on the picture's edges.
"""

import numpy as np

from snugline.trace.part.learned_map import PART
from snugline.trace.part.sheet_view import CELL, JudgedScene, Mask, Picture
from snugline.trace.part.superpixels import cut, split, total

# Weight of a pixel's log odds against the cost of the border: neighbouring pixels share them.
UNARY = 0.15
_BORDER_COST = 4.0  # of a border next to a pixel where no edge is seen
_EDGE_NOISES = 3  # the cost is half where the gradient is this many times its noise
# Every minimum of the gradient above this many times its noise is a superpixel of its own.
_STEEP_NOISES = 10
ODDS_LIMIT = 5.0  # of a place's log odds


def separate(scene: JudgedScene, shares: Picture) -> tuple[Mask, Picture]:
    """The part's mask, and each pixel's log odds of being the part's.

    Parameters
    ----------
    shares : (4, h, w) the learned map over the scene.
    """
    least = np.exp(-ODDS_LIMIT)
    part = np.clip(shares[PART], least, 1 - least)
    odds = np.log(part / (1 - part))
    limit = _EDGE_NOISES * scene.noise * np.maximum(scene.texture, 1)
    weight = (_BORDER_COST / (1 + np.square(scene.sharp / limit))).astype(np.float32)
    regions = split(scene.gradient, scene.domain, CELL, weight, _STEEP_NOISES * scene.noise)
    return cut(regions, total(regions, odds) * UNARY)[regions.labels], odds
