"""What one photo contributes to a fit: measured points with their uncertainties."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Scalar = TypeVar("Scalar", np.float64, np.bool_)

OVER = 9  # points over which the direction of the edge is averaged


@dataclass(frozen=True)
class Systematic:
    """Standard uncertainties that all points of one section share; they do not average away.

    Attributes
    ----------
    offset : mm, a common shift of the edge along its outward normal (edge location, camera).
    scale_x, scale_y : relative scale errors along the frame's axes (the printed bars' readings).
    scale_group : sections with the same group share one scale error (one sheet, one bar reading).
    directional : mm, what of the shift changes with the direction that the edge faces: each of a
        few waves round the part.
    """

    offset: float = 0.0
    scale_x: float = 0.0
    scale_y: float = 0.0
    scale_group: str = ""
    directional: float = 0.0


@dataclass(frozen=True)
class OtherEdge:
    """Where a stretch of points may lie as well; see `snugline.trace.contour.Alternative`.

    Attributes
    ----------
    first, last : the points in question, both included; `points` (M, 2) mm, where they may lie.
    probability : that they do.
    """

    first: int
    last: int
    points: Array
    probability: float


@dataclass(frozen=True)
class Section:
    """The contour of one photo, or of several joined ones.

    Attributes
    ----------
    name : where it comes from, for messages and the result (the photo's file name).
    shows : `left end`, `right end`, `front left corner`, ..., `whole` or `section`.
    points : (N, 2) mm, in order along the edge with the part on the left.
    noise : (N,) mm, standard uncertainty normal to the edge that is each point's own: without what
        `systematic` and `sensitivity` describe.
    closed : whether the last point joins the first.
    breaks : indices where a gap lies before the point, ascending; neighbours across a gap are
        not correlated.
    sensitivity : by what is not exactly known of the part (`thickness`, `edge`, `chamfer`, `lean`):
        (N,), how far outwards each point moves, mm for each mm, or for each degree of lean.
    correlation_mm : how far along the edge the noise hangs together, as stated; 0 where it is not.
    wall : mm, least and greatest height of the part's wall as the photo shows it, if it does.
    alternatives : edges that some of the points, as they came, may lie on as well.
    given : (N,) where each of the points as they came now stands; None where they were in order.
    """

    name: str
    shows: str
    points: Array
    noise: Array
    closed: bool = False
    breaks: tuple[int, ...] = ()
    systematic: Systematic = field(default_factory=Systematic)
    sensitivity: Mapping[str, Array] = field(default_factory=dict)
    given: NDArray[np.intp] | None = None
    alternatives: tuple[OtherEdge, ...] = ()
    correlation_mm: float = 0.0
    wall: tuple[float, float] | None = None

    def as_given(self, of_points: NDArray[Scalar]) -> NDArray[Scalar]:
        """Values of the points in the order in which these came."""
        return of_points if self.given is None else of_points[self.given]


def moved_by_thickness(section: Section, thicker: float) -> Section:
    """The section as it would be of a part that is thicker by this many mm."""
    by_thickness = section.sensitivity.get("thickness")
    if by_thickness is None:
        return section
    moved = (thicker * by_thickness)[:, None] * outward_normals(section.points)
    return replace(section, points=section.points + moved)


def outward_normals(points: Array) -> Array:
    """(N, 2) unit normals of an edge with the part on its left, averaged over a few points."""
    chord = np.gradient(points, axis=0)
    normal = np.column_stack([chord[:, 1], -chord[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    smooth = np.ones(OVER) / OVER
    steady = np.column_stack([np.convolve(normal[:, i], smooth, mode="same") for i in (0, 1)])
    steady /= np.maximum(np.linalg.norm(steady, axis=1, keepdims=True), 1e-12)
    return steady
