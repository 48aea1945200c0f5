"""What one photo contributes to a fit: measured points with their uncertainties."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Systematic:
    """Standard uncertainties that all points of one section share; they do not average away.

    Attributes
    ----------
    offset : mm, a common shift of the edge along its outward normal (edge location, thickness,
        height).
    scale_x, scale_y : relative scale errors along the frame's axes (the printed bars' readings).
    scale_group : sections with the same group share one scale error (one sheet, one bar reading).
    """

    offset: float = 0.0
    scale_x: float = 0.0
    scale_y: float = 0.0
    scale_group: str = ""


@dataclass(frozen=True)
class Section:
    """The contour of one photo, or of several joined ones.

    Attributes
    ----------
    name : where it comes from, for messages and the result (the photo's file name).
    shows : `left end`, `right end`, `front left corner`, ..., `whole` or `section`.
    points : (N, 2) mm, in order along the edge with the part on the left.
    sigma : (N,) mm, standard uncertainty normal to the edge, of each point alone.
    closed : whether the last point joins the first.
    breaks : indices where a gap lies before the point, ascending; neighbours across a gap are
        not correlated.
    """

    name: str
    shows: str
    points: NDArray[np.float64]
    sigma: NDArray[np.float64]
    closed: bool = False
    breaks: tuple[int, ...] = ()
    systematic: Systematic = field(default_factory=Systematic)
