"""What one photo contributes to a fit: measured points with their uncertainties."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Systematic:
    """Standard uncertainties that all points of one section share; they do not average away.

    Attributes
    ----------
    offset : mm, a common shift of the edge along its outward normal (edge location, camera).
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
    noise : (N,) mm, standard uncertainty normal to the edge that is each point's own: without what
        `systematic` and `sensitivity` stand for.
    closed : whether the last point joins the first.
    breaks : indices where a gap lies before the point, ascending; neighbours across a gap are
        not correlated.
    sensitivity : by what is not exactly known of the part (`thickness`, `edge`, `lean`): (N,), how
        far outwards each point moves, mm for each mm, or for each degree of lean.
    """

    name: str
    shows: str
    points: Array
    noise: Array
    closed: bool = False
    breaks: tuple[int, ...] = ()
    systematic: Systematic = field(default_factory=Systematic)
    sensitivity: Mapping[str, Array] = field(default_factory=dict)
