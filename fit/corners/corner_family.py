"""What a corner family is: a shape between two straight sides, with its distances.

Local axes: the apex, where the lines of the two sides meet, is the origin and the part lies in
x < 0, y < 0. The outline comes up along the incoming side (x = 0), turns left by `turn`, and leaves
along the outgoing side. Distances are orthogonal to side + corner + side, positive outside the
part; their derivatives follow from the envelope theorem: moving the foot along the curve changes
nothing, so only the curve's own change at the foot counts.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from snugline.fit.failure import NoFit
from snugline.fit.geometry.outline import Arc, Line, Point

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Distance:
    """Signed orthogonal distances of N points and their derivatives.

    Attributes
    ----------
    value : (N,) mm, positive outside the part.
    normal : (N, 2) unit outward normal at the foot, the derivative by the point.
    by_params : (N, K) derivative by the family's parameters.
    by_turn : (N,) derivative by the turn angle, the incoming side held.
    """

    value: Array
    normal: Array
    by_params: Array
    by_turn: Array


class Family(Protocol):
    """A corner family; `parameters` names its numbers, `bounds` their limits."""

    @property
    def name(self) -> str: ...

    @property
    def parameters(self) -> tuple[str, ...]: ...

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]: ...

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        """Distances of `points` (N, 2) to side + corner + side."""
        ...

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        """First parameters for points already turned into local axes."""
        ...

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        """How far the corner extends from the apex along the incoming and the outgoing side."""
        ...

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        """The corner curve from tangent point to tangent point."""
        ...


SMALLEST, LARGEST = 1e-6, 1e5  # mm: limits of a size, far outside of any part


def outgoing(turn: float) -> tuple[Array, Array]:
    """Direction and outward normal of the outgoing side."""
    c, s = math.cos(turn), math.sin(turn)
    return np.array([-s, c]), np.array([c, s])


def middle(values: Array) -> float:
    """The upper median, some ten times as fast as numpy's on short arrays."""
    k = len(values) // 2
    return float(np.partition(values, k)[k])


def apex_gap(points: Array, turn: float) -> float | NoFit:
    """Distance from the apex to the contour along the bisector, from the points next to it."""
    c, s = math.cos(turn / 2), math.sin(turn / 2)
    across = points[:, 1] * c - points[:, 0] * s
    few = min(len(points), max(5, len(points) // 50))
    near = np.argpartition(np.abs(across), few - 1)[:few]
    if not across.min() < 0 < across.max():
        return NoFit("the contour does not pass the corner")
    return max(middle(-points[near, 0] * c - points[near, 1] * s), 0.0)


def as_point(p: Array) -> Point:
    return float(p[0]), float(p[1])
