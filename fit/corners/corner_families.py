"""The corner families: arc, chamfer and square here, the others in their own files."""

import math
from dataclasses import dataclass

import numpy as np

from snugline.fit.corners.corner_family import (
    LARGEST,
    SMALLEST,
    Array,
    Distance,
    Family,
    apex_gap,
    as_point,
    outgoing,
)
from snugline.fit.corners.free_corner import FREE
from snugline.fit.corners.many_centred import DOUBLE_ARC, THREE_CENTRED
from snugline.fit.corners.superellipse import ELLIPSE, SUPERELLIPSE
from snugline.fit.failure import NoFit
from snugline.fit.geometry.outline import Arc, Line


@dataclass(frozen=True)
class ArcFamily:
    """A circular arc tangent to both sides."""

    name: str = "arc"
    parameters: tuple[str, ...] = ("radius",)
    bounds: tuple[tuple[float, float], ...] = ((SMALLEST, LARGEST),)

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        radius = float(params[0])
        c, s = math.cos(turn), math.sin(turn)
        ch, sh = math.cos(turn / 2), math.sin(turn / 2)
        half = sh / ch
        dx, dy = points[:, 0] + radius, points[:, 1] + radius * half  # from the centre
        late = dy * ch > dx * sh
        # What lies beyond the arc along a side is taken off; the side is then part of the arc.
        before = np.minimum(dy, 0.0)
        before[late] = 0.0
        beyond = dy * c - dx * s
        np.maximum(beyond, 0.0, out=beyond)
        beyond *= late
        dx += beyond * s
        dy -= before
        dy -= beyond * c
        r = np.sqrt(dx * dx + dy * dy)
        np.copysign(r, dx * ch + dy * sh, out=r)  # negative farther inside than the centre
        r += 1e-300
        normal = np.empty((2, len(r)))
        np.divide(dx, r, out=normal[0])
        ny = np.divide(dy, r, out=normal[1])
        by_radius = ny * half
        by_radius += normal[0]
        by_radius -= 1
        beyond += ny * (radius * (1 + half * half) / 2)
        r -= radius
        return Distance(r, normal.T, by_radius[:, None], beyond)

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        gap = apex_gap(points, turn)
        if isinstance(gap, NoFit):
            return gap
        return np.array([max(gap / (1 / math.cos(turn / 2) - 1), 1e-3)])

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        tangent = float(params[0]) * math.tan(turn / 2)
        return tangent, tangent

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        radius = float(params[0])
        half = math.tan(turn / 2)
        end = radius * half * outgoing(turn)[0]
        centre = (-radius, -radius * half)
        return (Arc((0.0, centre[1]), as_point(end), centre, radius, turn),)


@dataclass(frozen=True)
class SquareFamily:
    """A sharp corner: the sides run to the apex."""

    name: str = "square"
    parameters: tuple[str, ...] = ()
    bounds: tuple[tuple[float, float], ...] = ()

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        chamfer = _CHAMFER.distance(points, np.zeros(1), turn)
        return Distance(chamfer.value, chamfer.normal, np.empty((len(points), 0)), chamfer.by_turn)

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        gap = apex_gap(points, turn)
        return gap if isinstance(gap, NoFit) else np.empty(0)

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        return 0.0, 0.0

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        return ()


@dataclass(frozen=True)
class ChamferFamily:
    """A straight cut that takes the same length, the leg, off both sides."""

    name: str = "chamfer"
    parameters: tuple[str, ...] = ("leg",)
    bounds: tuple[tuple[float, float], ...] = ((0.0, LARGEST),)

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        leg = float(params[0])
        ch, sh = math.cos(turn / 2), math.sin(turn / 2)
        c, s = math.cos(turn), math.sin(turn)
        x, y = points[:, 0], points[:, 1]
        across = y * ch - x * sh
        late = across > 0
        # Both halves are treated as the incoming one: its side's distance, the way to its vertex.
        side = np.where(late, x * c + y * s, x)
        before = np.where(late, leg - y * c + x * s, y + leg)  # beyond the vertex where positive
        slope = x * ch + y * sh + leg * sh
        inner = leg * ch - np.abs(across)  # along the chamfer from the vertex
        on_side = np.where((side > 0) | (slope > 0), before < 0, side > slope)
        at_vertex = ~on_side & (slope > 0) & (inner < 0)
        on_side |= at_vertex & (before < 0)
        at_vertex &= ~on_side
        value = np.where(on_side, side, slope)
        nx = np.where(on_side, np.where(late, c, 1.0), ch)
        ny = np.where(on_side, np.where(late, s, 0.0), sh)
        by_leg = np.where(on_side, 0.0, sh)
        turning = np.where(late, y * c - x * s, 0.0)
        by_turn = np.where(on_side, turning, across / 2 + leg * ch / 2)
        if at_vertex.any():
            k = at_vertex
            r = np.maximum(np.hypot(side[k], before[k]), 1e-300)
            n1, n2 = side[k] / r, before[k] / r  # along the side's normal and its way to the apex
            after = late[k]
            value[k] = r
            nx[k] = np.where(after, n1 * c + n2 * s, n1)
            ny[k] = np.where(after, n1 * s - n2 * c, n2)
            by_leg[k] = n2
            by_turn[k] = np.where(after, leg * n1, 0.0)
        return Distance(value, np.stack([nx, ny]).T, by_leg[:, None], by_turn)

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        gap = apex_gap(points, turn)
        if isinstance(gap, NoFit):
            return gap
        return np.array([max(gap / math.cos(turn / 2), 1e-3)])

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        return float(params[0]), float(params[0])

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        leg = float(params[0])
        return (Line((0.0, -leg), as_point(leg * outgoing(turn)[0])),)


_CHAMFER = ChamferFamily()
ARC, SQUARE, CHAMFER = ArcFamily(), SquareFamily(), _CHAMFER
NAMED: tuple[Family, ...] = (
    ARC,
    CHAMFER,
    SQUARE,
    ELLIPSE,
    SUPERELLIPSE,
    DOUBLE_ARC,
    THREE_CENTRED,
)
FAMILIES = (*NAMED, FREE)

__all__ = [
    "ARC",
    "CHAMFER",
    "DOUBLE_ARC",
    "ELLIPSE",
    "FAMILIES",
    "FREE",
    "NAMED",
    "SQUARE",
    "SUPERELLIPSE",
    "THREE_CENTRED",
    "Distance",
    "Family",
    "outgoing",
]
