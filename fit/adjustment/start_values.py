"""First poses and sizes from the contours alone: where the sides run and which side is which.

The tangent's direction along a contour, followed with the part on the left, identifies a side by
its quarter turn: front runs along +x, right along +y, back along -x, left along -y.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import CentredSection

Array = NDArray[np.float64]

CHORD = 4.0  # mm over which a tangent is taken: far above the noise, below most corners
STRAIGHT = math.radians(3.0)
FRONT, RIGHT, BACK, LEFT = range(4)

# The middle of the quarter turns that a view runs through: an end from one long side to the other.
_MIDDLE = {
    "right end": 1.0,
    "left end": 3.0,
    "front right corner": 0.5,
    "back right corner": 1.5,
    "back left corner": 2.5,
    "front left corner": 3.5,
    "front": 0.0,
    "back": 2.0,
}


@dataclass(frozen=True)
class Tangents:
    """Directions along a contour, unwrapped, at points that have a whole chord around them."""

    index: NDArray[np.intp]
    angle: Array
    weight: Array  # mm of contour that each represents


@dataclass(frozen=True)
class View:
    """One section's orientation and what it sees of each side.

    Attributes
    ----------
    turns : possible turns (rad) of the section into part axes, the likeliest first.
    sides : for the first of them, distance of each seen side from the section's centre along
        the side's outward normal; None where the side was not seen.
    straight : share of the contour that runs along the two main directions.
    """

    turns: tuple[float, ...]
    sides: tuple[float | None, float | None, float | None, float | None]
    straight: float

    @property
    def options(self) -> list["View"]:
        """The same view with each of its turns as the only one."""
        views = []
        for turn in self.turns:
            quarters = round((turn - self.turns[0]) / (math.pi / 2)) % 4
            a, b, c, d = (self.sides[(k - quarters) % 4] for k in range(4))
            views.append(View((turn,), (a, b, c, d), self.straight))
        return views


def tangents(points: Array, breaks: Sequence[int] = (), *, closed: bool = False) -> Tangents:
    """Chord directions, no chord across a break."""
    angles: list[Array] = []
    indices, weights = [], []
    edges = [0, *breaks, len(points)]
    before = 0.0
    for a, b in pairwise(edges):
        run = points[a:b]
        if closed and not breaks:
            run = np.vstack([run, run[: len(run) // 4]])
        step = np.hypot(*np.diff(run, axis=0).T)
        way = np.concatenate([[0.0], np.cumsum(step)])
        at = np.arange(len(run))[(way >= CHORD / 2) & (way <= way[-1] - CHORD / 2)]
        if len(at) < 3:
            continue
        ahead = np.stack([np.interp(way[at] + CHORD / 2, way, run[:, i]) for i in (0, 1)], axis=1)
        behind = np.stack([np.interp(way[at] - CHORD / 2, way, run[:, i]) for i in (0, 1)], axis=1)
        chord = ahead - behind
        angle = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
        # Across a gap the outline turns on as it did: the nearest whole turn.
        angle += 2 * math.pi * round((before - angle[0]) / (2 * math.pi)) if angles else 0.0
        before = float(angle[-1])
        angles.append(angle)
        indices.append(a + at % (b - a))
        weights.append(np.gradient(way)[at])
    if not angles:
        return Tangents(np.empty(0, dtype=np.intp), np.empty(0), np.empty(0))
    return Tangents(np.concatenate(indices), np.concatenate(angles), np.concatenate(weights))


def main_direction(found: Tangents) -> tuple[float, float]:
    """The direction, about 0 to π/2, that most of the contour follows, and the share that does."""
    folded = np.mod(found.angle, math.pi / 2)
    bins = 180
    width = math.pi / 2 / bins
    histogram = np.bincount(
        np.minimum((folded / width).astype(int), bins - 1), found.weight, minlength=bins
    )
    smooth = sum(np.roll(histogram, shift) for shift in range(-2, 3))
    peak = (int(np.argmax(smooth)) + 0.5) * width
    off = np.mod(folded - peak + math.pi / 4, math.pi / 2) - math.pi / 4
    near = np.abs(off) < STRAIGHT / 2
    # The median: corners lean to one side of the peak or the other.
    direction = peak + _weighted_median(off[near], found.weight[near]) if near.any() else peak
    share = float(found.weight[near].sum() / found.weight.sum())
    return float(direction), share


def view_of(measured: CentredSection) -> View | None:
    """Orientation and seen sides; None where the contour is too short to decide."""
    section = measured.section
    found = tangents(measured.local, measured.breaks, closed=section.closed)
    if len(found.angle) < 10:
        return None
    direction, straight = main_direction(found)
    quarter = (found.angle - direction) / (math.pi / 2)
    few = max(3, len(quarter) // 50)
    first, last = float(np.median(quarter[:few])), float(np.median(quarter[-few:]))
    middle = _MIDDLE.get(section.shows)
    shifts: list[float]
    if middle is not None:
        shifts = [middle - (first + last) / 2]  # without straight sides, the view's own symmetry
        if straight > 0.15:
            shifts = [round(shifts[0])]
    elif section.closed or abs(last - first) > 3:
        shifts = _by_extent(measured.local, direction)
    else:
        shifts = [round(1.0 - (first + last) / 2) + k for k in (2, 0, 1, 3)]
    turns = [_wrapped(shift * math.pi / 2 - direction) for shift in shifts]
    return View(tuple(turns), _sides(measured, found, turns[0]), straight)


def polygon_of(measured: CentredSection) -> tuple[int, float] | None:
    """Number of sides of a regular polygon seen whole, and the turn that lays one to the right.

    None where the directions along the contour are not those of one, four sides counting as none.
    """
    if not measured.section.closed:
        return None
    found = tangents(measured.local, measured.breaks, closed=True)
    waves = {
        n: np.sum(found.weight * np.exp(1j * n * found.angle)) / found.weight.sum()
        for n in (3, 4, 5, 6, 8)
    }
    most = max(abs(wave) for wave in waves.values())
    sides = next(n for n, wave in waves.items() if abs(wave) > 0.95 * most)
    if sides == 4 or most < 0.6:
        return None
    step = 2 * math.pi / sides
    phase = float(np.angle(waves[sides])) / sides
    return sides, float(np.mod(math.pi / 2 - phase + step / 2, step) - step / 2)


def _by_extent(points: Array, direction: float) -> list[float]:
    """Quarter turns that lay the longer extent along x, the smaller turn first."""
    c, s = math.cos(direction), math.sin(direction)
    along, across = np.ptp(points @ [c, s]), np.ptp(points @ [-s, c])
    shifts = [0.0, 2.0] if along >= across else [1.0, -1.0]
    return sorted(shifts, key=lambda k: abs(_wrapped(k * math.pi / 2 - direction)))


def _sides(
    measured: CentredSection, found: Tangents, turn: float
) -> tuple[float | None, float | None, float | None, float | None]:
    c, s = math.cos(turn), math.sin(turn)
    points = measured.local[found.index] @ np.array([[c, s], [-s, c]])
    off = found.angle + turn
    seen: list[float | None] = []
    for side, normal in ((RIGHT, (1, 0)), (BACK, (0, 1)), (LEFT, (-1, 0)), (FRONT, (0, -1))):
        lean = np.mod(off - side * math.pi / 2 + math.pi, 2 * math.pi) - math.pi
        on = np.abs(lean) < STRAIGHT
        if found.weight[on].sum() < 0.5:
            seen.append(None)
            continue
        reach = points[on] @ np.array(normal, dtype=float)
        # A bow's or an end's outermost: most of what is within the tolerance lies near it.
        seen.append(float(np.median(reach[np.abs(lean[on]) <= np.median(np.abs(lean[on]))])))
    return seen[0], seen[1], seen[2], seen[3]


def _weighted_median(values: Array, weights: Array) -> float:
    order = np.argsort(values)
    mass = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(mass, mass[-1] / 2)])


def _wrapped(angle: float) -> float:
    return float(np.mod(angle + math.pi, 2 * math.pi) - math.pi)
