"""Which way the length of a free outline runs: by the hand readings, or by its narrowest rectangle.

Where two long parallel sides let a caliper's jaws settle, that is the direction. A part without
them was measured in directions that its maker chose; those in which the outline is as long and as
wide as was read are taken, the nearest to the narrowest rectangle, and that rectangle where none
are.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snugline.fit.free.chain_reach import Reach, heading_row, reach_along
from snugline.fit.geometry.arc_chain import Array, Chain, directions, left, outline_of
from snugline.fit.geometry.outline import Outline

_PARALLEL = math.radians(0.3)
_LONG_SIDE = 0.2  # of the length, for jaws to settle on
_FITS = 3.3  # standard uncertainties
_LEAST_U = 0.05  # mm: a reading is not assumed to be more certain when directions are judged
_SEARCHED = math.radians(12.0)


@dataclass(frozen=True)
class Axes:
    """The direction of the length, rad, and its standard uncertainty.

    Attributes
    ----------
    row : (M,) how the direction turns with the chain's parameters: with the side that lies along
        it, if one does.
    """

    direction: float
    u: float
    row: Array


def axes_of(
    chain: Chain, readings: Mapping[str, tuple[float, float]], contour_u: float = 0.0
) -> Axes:
    """Find the axes.

    Parameters
    ----------
    readings : `length` and `width` in mm with standard uncertainties; leave out one that was used
        to place the sections, as it fits in any direction.
    contour_u : mm, standard uncertainty that the points' shared errors give an extent.
    """
    start = narrowest(chain)
    shape = Axes(start, 0.0, _side_row(chain, start))
    if (
        not readings
        or _has_parallel_sides(chain, start)
        or _misfit(chain, start, readings, 0.0) <= _FITS
    ):
        return shape
    fitting = _fitting(chain, start, readings, contour_u)
    if fitting:
        angle, used = min(fitting, key=lambda at: abs(at - start)), readings
    else:
        # Readings that fit in no direction together: that one is wrong which is off the least
        # where all the others fit.
        trials = []
        for odd in readings:
            rest = {of: pair for of, pair in readings.items() if of != odd}
            for at in _fitting(chain, start, rest, contour_u) if rest else ():
                off = _misfit(chain, at, {odd: readings[odd]}, contour_u)
                trials.append((off, at, rest))
        if not trials:
            return shape
        _, angle, used = min(trials, key=lambda trial: trial[0])
    certainty = sum(
        (_extent(chain, angle, of).slope / max(u, _LEAST_U)) ** 2 for of, (_, u) in used.items()
    )
    return Axes(angle, 1 / math.sqrt(certainty), np.zeros(len(shape.row)))


def reach_range(outline: Outline, direction: float) -> tuple[float, float]:
    """Least and greatest extent, mm, in the directions in which a hand may have measured one."""
    corners = outline.inscribed(0.05)
    angles = direction + np.linspace(-_SEARCHED, _SEARCHED, 241)
    extent = np.ptp(corners @ directions(angles).T, axis=0)
    return float(extent.min()), float(extent.max())


def _fitting(
    chain: Chain, start: float, readings: Mapping[str, tuple[float, float]], contour_u: float
) -> list[float]:
    """The directions about `start` in which all readings fit as well as they can, and do fit."""
    corners = outline_of(chain).inscribed(1e-3)
    angles = start + np.linspace(-_SEARCHED, _SEARCHED, 2401)
    worst = np.zeros(len(angles))
    for of, (value, u) in readings.items():
        d = directions(angles)
        extent = np.ptp(corners @ (d if of == "length" else left(d)).T, axis=0)
        worst = np.maximum(worst, np.abs(extent - value) / max(u, _LEAST_U))
    inner = np.flatnonzero((worst[1:-1] <= worst[:-2]) & (worst[1:-1] <= worst[2:])) + 1
    return [
        float(angles[i])
        for i in inner
        if _misfit(chain, float(angles[i]), readings, contour_u) <= _FITS
    ]


def narrowest(chain: Chain) -> float:
    """Direction, in (-pi/2, pi/2], of the length of the narrowest rectangle round a chain."""
    from scipy.optimize import minimize_scalar

    def width(angle: float) -> float:
        return reach_along(chain, angle + math.pi / 2).value

    coarse = np.arange(0, math.pi, math.radians(1.0))
    corners = outline_of(chain).inscribed(0.05)
    start = float(coarse[int(np.argmin(np.ptp(corners @ left(directions(coarse)).T, axis=0)))])
    step = math.radians(1.5)
    angle = float(
        minimize_scalar(
            width, bounds=(start - step, start + step), method="bounded", options={"xatol": 1e-9}
        ).x
    )
    # The least is often a kink, where a side lies along the rectangle: then it is that side's.
    sides = chain.poses.heading[chain.straight]
    near = angle + (sides - angle + math.pi / 2) % math.pi - math.pi / 2
    close_by = near[np.abs(near - angle) < 1e-5]
    if len(close_by):
        angle = float(close_by[int(np.argmin([width(a) for a in close_by]))])
    return math.pi / 2 - (math.pi / 2 - angle) % math.pi


def _extent(chain: Chain, direction: float, of: str) -> Reach:
    return reach_along(chain, direction + (0.0 if of == "length" else math.pi / 2))


def _misfit(
    chain: Chain, direction: float, readings: Mapping[str, tuple[float, float]], contour_u: float
) -> float:
    """How far the worst reading is off, in standard uncertainties of itself and the contour."""
    return max(
        abs(_extent(chain, direction, of).value - value) / math.hypot(max(u, _LEAST_U), contour_u)
        for of, (value, u) in readings.items()
    )


def _has_parallel_sides(chain: Chain, direction: float) -> bool:
    """Whether long lines lie along the narrowest rectangle on both its sides."""
    least = _LONG_SIDE * reach_along(chain, direction).value
    turn = (chain.poses.heading - direction + math.pi) % (2 * math.pi) - math.pi
    long = chain.straight & (chain.lengths > least)
    return all(
        bool(np.any(long & (off < _PARALLEL))) for off in (np.abs(turn), math.pi - np.abs(turn))
    )


def _side_row(chain: Chain, direction: float) -> Array:
    lines = np.flatnonzero(chain.straight)
    quarter = math.pi / 2
    off = chain.poses.heading[lines] - direction + quarter / 2
    off = np.abs(off % quarter - quarter / 2)
    if not len(lines) or off.min() > 1e-6:
        return np.zeros(len(chain.values()))
    return heading_row(chain, int(lines[int(np.argmin(off))]))
