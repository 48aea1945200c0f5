"""Corners that are a quarter of an ellipse or superellipse.

In the oblique axes along the two sides, seen from the centre, X^n + Y^n = 1 with semi-axes of
length a along the outgoing and b along the incoming side. The curve is parametrised by the polar
angle of (X, Y), in which it is smooth for n of 2 and more; the foot of a point is found by
Newton's method kept inside a bracket.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.corners.corner_family import (
    LARGEST,
    SMALLEST,
    Array,
    Distance,
    apex_gap,
    outgoing,
)
from snugline.fit.failure import NoFit
from snugline.fit.geometry.biarc import biarcs
from snugline.fit.geometry.outline import Arc, Line

QUARTER = math.pi / 2
LOWEST, HIGHEST = 1.3, 12.0  # exponents: below it is nearly a chamfer, above nearly a square


@dataclass(frozen=True)
class SuperellipseFamily:
    """A quarter of a superellipse, its semi-axes equal or not, its exponent free or 2."""

    name: str
    parameters: tuple[str, ...]
    equal: bool
    free_exponent: bool

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]:
        sizes = ((SMALLEST, LARGEST),) * (1 if self.equal else 2)
        return (*sizes, (LOWEST, HIGHEST)) if self.free_exponent else sizes

    def _curve(self, params: Array, turn: float) -> "_Quarter":
        b = float(params[0])
        a = b if self.equal else float(params[1])
        exponent = float(params[-1]) if self.free_exponent else 2.0
        return _Quarter(a, b, exponent, turn)

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        curve = self._curve(params, turn)
        direction, side_normal = outgoing(turn)
        x, y = points[:, 0], points[:, 1]
        late = y * math.cos(turn / 2) > x * math.sin(turn / 2)
        before = ~late & (y < -curve.b)
        after = late & (points @ direction > curve.a)
        value = np.where(before, x, points @ side_normal)
        normal = np.where(before[:, None], np.array([1.0, 0.0]), side_normal)
        by_turn = np.where(before, 0.0, points @ direction)
        by_params = np.zeros((len(points), len(self.parameters)))
        on = np.flatnonzero(~(before | after))
        if len(on):
            foot = curve.foot(points[on])
            n = curve.normal(foot)
            value[on] = np.sum((points[on] - curve.at(foot)) * n, axis=1)
            normal[on] = n
            by_b, by_a, by_exponent, by_turn[on] = curve.pulls(foot, n)
            columns = [by_a + by_b] if self.equal else [by_b, by_a]
            if self.free_exponent:
                columns.append(by_exponent)
            by_params[on] = np.stack(columns, axis=1)
        return Distance(value, normal, by_params, by_turn)

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        gap = apex_gap(points, turn)
        if isinstance(gap, NoFit):
            return gap
        # The middle of the quarter circle lies (1 - sqrt(1/2)) of the way along both sides.
        size = max(gap / ((2 - math.sqrt(2)) * math.cos(turn / 2)), 1e-3)
        sizes = [size] if self.equal else [size, size]
        return np.array([*sizes, 2.0] if self.free_exponent else sizes)

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        curve = self._curve(params, turn)
        return curve.b, curve.a

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        curve = self._curve(params, turn)

        def sample(angle: float) -> tuple[Array, Array]:
            at = np.array([angle])
            n = curve.normal(at)[0]
            return curve.at(at)[0], np.array([-n[1], n[0]])

        def deviation(points: Array) -> float:
            return float(np.abs(self.distance(points, params, turn).value).max())

        return biarcs(sample, deviation, 0.0, QUARTER, tolerance)


@dataclass(frozen=True)
class _Quarter:
    """The curve itself; angles run from 0 on the incoming to pi / 2 on the outgoing side."""

    a: float
    b: float
    exponent: float
    turn: float

    def _polar(self, angle: Array) -> tuple[Array, Array, Array]:
        """Cosine, sine and the radius in the (X, Y) plane."""
        c, s = np.cos(angle), np.sin(angle)
        np.maximum(c, 0.0, out=c)
        if self.exponent == 2:
            return c, s, np.ones_like(c)
        return c, s, (c**self.exponent + s**self.exponent) ** (-1 / self.exponent)

    def _placed(self, x: Array, y: Array) -> Array:
        """Vectors (N, 2) with the components x and y in the oblique axes."""
        direction = outgoing(self.turn)[0]
        placed: Array = np.empty((2, len(x))).T
        placed[:, 0] = -self.a * direction[0] * x
        placed[:, 1] = self.b * y - self.a * direction[1] * x
        return placed

    def at(self, angle: Array) -> Array:
        c, s, r = self._polar(angle)
        centre = self.a * outgoing(self.turn)[0] - np.array([0.0, self.b])
        return np.asarray(self._placed(r * c, r * s) + centre)

    def _tangents(self, angle: Array) -> tuple[Array, Array]:
        """First and second derivative of the curve by its angle."""
        c, s, r = self._polar(angle)
        if self.exponent == 2:
            return self._placed(-s, c), self._placed(-c, -s)
        n = self.exponent
        c1, s1 = np.maximum(c, 1e-12) ** (n - 2), np.maximum(s, 1e-12) ** (n - 2)
        total = c1 * c * c + s1 * s * s
        slope = (s1 - c1) * s * c / total  # derivative of total, divided by n total
        # Its derivative: the product rule on s^(n-1) c - c^(n-1) s, and the quotient by total.
        bend = ((n - 1) * (s1 * c * c + c1 * s * s) - (s1 * s * s + c1 * c * c)) / total
        bend -= n * slope * slope
        r1 = -r * slope
        r2 = r * (slope * slope - bend)
        first = self._placed(r1 * c - r * s, r1 * s + r * c)
        second = self._placed((r2 - r) * c - 2 * r1 * s, (r2 - r) * s + 2 * r1 * c)
        return first, second

    def normal(self, angle: Array) -> Array:
        first = self._tangents(angle)[0]
        length = np.sqrt(np.sum(first * first, axis=1))[:, None]
        return np.asarray(np.stack([first[:, 1], -first[:, 0]], axis=1) / length)

    def foot(self, points: Array) -> Array:
        """Angles of the feet of points that lie nearer to the curve than its centre does."""
        direction = outgoing(self.turn)[0]
        x = (-points[:, 0] / direction[0]) / self.a + 1  # oblique components from the centre
        y = (points[:, 1] - (x - 1) * -self.a * direction[1]) / self.b + 1
        angle: Array = np.arctan2(np.maximum(y, 1e-9), np.maximum(x, 1e-9))
        low, high = np.zeros(len(points)), np.full(len(points), QUARTER)
        active: NDArray[np.intp] = np.arange(len(points))
        for _ in range(60):
            at = angle[active]
            away = points[active] - self.at(at)
            first, second = self._tangents(at)
            along = np.sum(away * first, axis=1)  # positive where the foot lies further on
            size = np.sum(first * first, axis=1)
            fall = size - np.sum(away * second, axis=1)
            ahead = along > 0
            low[active] = np.where(ahead, at, low[active])
            high[active] = np.where(ahead, high[active], at)
            step = along / np.where(fall > 0.1 * size, fall, size)
            trial = at + step
            outside = (trial < low[active]) | (trial > high[active])
            trial = np.where(outside, (low[active] + high[active]) / 2, trial)
            angle[active] = trial
            active = active[np.abs(trial - at) > 1e-13]
            if not len(active):
                break
        return angle

    def pulls(self, angle: Array, normal: Array) -> tuple[Array, Array, Array, Array]:
        """Derivatives of the distance at the feet by b, a, exponent and turn."""
        direction, side_normal = outgoing(self.turn)
        c, s, r = self._polar(angle)
        n = self.exponent
        cn, sn = np.maximum(c, 1e-300) ** n, np.maximum(s, 1e-300) ** n
        total = cn + sn
        logs = (cn * np.log(np.maximum(c, 1e-300)) + sn * np.log(np.maximum(s, 1e-300))) / total
        grown = r * (np.log(total) / n - logs) / n  # derivative of r by the exponent
        moved = self._placed(grown * c, grown * s)
        along = 1 - r * c
        return (
            (1 - r * s) * normal[:, 1],
            -along * (normal @ direction),
            -np.sum(moved * normal, axis=1),
            self.a * along * (normal @ side_normal),
        )


ELLIPSE = SuperellipseFamily("ellipse", ("incoming axis", "outgoing axis"), False, False)
SUPERELLIPSE = SuperellipseFamily("superellipse", ("size", "exponent"), True, True)
