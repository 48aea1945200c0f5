"""The polygon that the sides of an outline span, and the tangents of bowed sides."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SideLine:
    """The tangent of a side where a corner joins it, at `at` mm from the side's middle."""

    point: Array
    angle: float  # by how much the bow turns it from the side's own direction
    normal: Array
    along: Array
    at: float
    height_by_sag: float
    angle_by_sag: float


@dataclass(frozen=True)
class Polygon:
    """The polygon of the sides: everything about them that no corner changes."""

    axis: Array  # (n, 2) normal of each side before tilting
    foot: Array  # (n, 2)
    normal: Array  # (n, 2)
    along: Array  # (n, 2) direction of travel
    apex: Array  # (n, 2) where side k meets side k + 1
    turn: Array  # (n,)
    middle: Array  # (n, 2)
    length: Array  # (n,)

    @staticmethod
    def of(n: int, z: Array) -> "Polygon":
        return _polygon(n, z[: 2 * n].tobytes())

    @staticmethod
    def from_sides(n: int, z: Array) -> "Polygon":
        upright: Array = 2 * math.pi / n * np.arange(n, dtype=np.float64)
        axis = _normals(upright)
        tilt = z[n : 2 * n]
        normal = _normals(upright + tilt)
        along = np.column_stack([-normal[:, 1], normal[:, 0]])
        foot = z[:n, None] * axis
        following = (np.arange(n) + 1) % n
        reach = (normal * foot).sum(axis=1)
        pairs = np.stack([normal, normal[following]], axis=1)
        apex = np.linalg.solve(pairs, np.stack([reach, reach[following]], axis=1)[..., None])[
            ..., 0
        ]
        before = apex[following - 2]
        length = np.hypot(*(apex - before).T)
        turn = 2 * math.pi / n + tilt[following] - tilt
        return Polygon(axis, foot, normal, along, apex, turn, (apex + before) / 2, length)

    def line(self, side: int, sag: float = 0.0, at: float = 0.0) -> SideLine:
        normal, along = self.normal[side], self.along[side]
        if not sag and not at:
            return SideLine(self.foot[side], 0.0, normal, along, 0.0, 1.0, 0.0)
        length = float(self.length[side])
        height, slope = 1 - (2 * at / length) ** 2, -8 * at / length**2
        angle = -sag * slope  # outwards is to the right of travel
        c, s = math.cos(angle), math.sin(angle)
        point = self.middle[side] + at * along + sag * height * normal
        tilted = c * normal + s * along, c * along - s * normal
        return SideLine(point, angle, *tilted, at, height, -slope)

    def bow(self, side: int, points: Array, at: float) -> Array:
        """How far a bow of unit sag deviates from its tangent at `at`, on the side itself."""
        s = (points - self.middle[side]) @ self.along[side]
        inside = s < at if at > 0 else s > at
        return np.where(inside, -((2 / self.length[side]) ** 2) * (s - at) ** 2, 0.0)


@lru_cache(maxsize=64)
def _polygon(n: int, feet_and_tilts: bytes) -> Polygon:
    """The same sides are requested many times while one shape is fitted."""
    return Polygon.from_sides(n, np.frombuffer(feet_and_tilts))


def _normals(angles: Array) -> Array:
    """Unit vectors; right angles exact: cos(π/2) is not 0 in floats."""
    directions = np.empty((len(angles), 2))
    np.cos(angles, out=directions[:, 0])
    np.sin(angles, out=directions[:, 1])
    directions[np.abs(directions) < 1e-15] = 0.0
    return directions
