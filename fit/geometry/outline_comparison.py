"""How far two outlines are from each other."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.distance import nearest, signed_distance
from snugline.fit.geometry.outline import Outline, Point

_SAMPLES = 4000
_MOST_STEPS = 50

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class OneWay:
    """Distances of points all along one outline to another, mm; positive outside of it.

    Attributes
    ----------
    largest : the distance of greatest size, with its sign.
    at : the point where it occurs.
    rms : root mean square.
    mean : positive where the one outline lies outside the other on average.
    """

    largest: float
    at: Point
    rms: float
    mean: float


@dataclass(frozen=True)
class Comparison:
    """Two outlines side by side, the first after its alignment to the second.

    Attributes
    ----------
    first_to_second, second_to_first : distances both ways.
    area_difference : mm², area of the first less that of the second.
    perimeter_difference : mm, likewise.
    shift : (x, y) mm and `turn`, radians: how the first was moved, turned about its centroid
        first; zero without alignment.
    step : mm between the points that were compared.
    """

    first_to_second: OneWay
    second_to_first: OneWay
    area_difference: float
    perimeter_difference: float
    shift: Point
    turn: float
    step: float

    @property
    def largest(self) -> float:
        """The Hausdorff distance: the largest distance in either direction, mm."""
        return max(abs(self.first_to_second.largest), abs(self.second_to_first.largest))

    def as_json(self) -> dict[str, Any]:
        """The comparison as a record; lengths in mm, angles in degrees where the name says so."""

        def record(way: OneWay) -> dict[str, Any]:
            return {
                "largest": way.largest,
                "at": list(way.at),
                "rms": way.rms,
                "mean": way.mean,
            }

        return {
            "schema": "snugline/comparison/1",
            "units": "mm",
            "largest": self.largest,
            "first_to_second": record(self.first_to_second),
            "second_to_first": record(self.second_to_first),
            "area_difference": self.area_difference,
            "perimeter_difference": self.perimeter_difference,
            "shift": list(self.shift),
            "turn_deg": math.degrees(self.turn),
            "step": self.step,
        }


def compare(first: Outline, second: Outline, align: bool = False) -> Comparison:
    """Distances between two outlines, whichever way they wind.

    Parameters
    ----------
    align : move and turn the first onto the second before, by least squares.

    Returns
    -------
    comparison : distances taken at 4,000 points along each outline and at its joints.
    """
    first, second = (o if o.winding > 0 else o.reversed() for o in (first, second))
    shift, turn = (0.0, 0.0), 0.0
    if align:
        first, shift, turn = aligned(first, second)
    step = max(first.perimeter, second.perimeter) / _SAMPLES
    return Comparison(
        _one_way(first, second, step),
        _one_way(second, first, step),
        first.area - second.area,
        first.perimeter - second.perimeter,
        shift,
        turn,
        step,
    )


def _one_way(first: Outline, second: Outline, step: float) -> OneWay:
    points = first.sampled(step)
    distance = signed_distance(second, points)
    worst = int(np.argmax(np.abs(distance)))
    return OneWay(
        float(distance[worst]),
        (float(points[worst, 0]), float(points[worst, 1])),
        float(np.sqrt(np.mean(distance**2))),
        float(np.mean(distance)),
    )


def aligned(first: Outline, second: Outline) -> tuple[Outline, Point, float]:
    """The first outline moved onto the second, with the shift and the turn that do it.

    Minimised is the sum of squared distances from points along the first to the second, by
    Gauss-Newton; each step is halved until the sum falls. The start lays centroid on centroid,
    in the best of 24 directions. A direction that nothing determines (the turn of a circle) is left
    as it is.

    Returns
    -------
    moved : the first outline, turned about its centroid, then shifted.
    shift : mm.
    turn : radians, counter-clockwise.
    """
    centre = np.array(first.centroid)
    points = first.sampled(first.perimeter / 1000) - centre
    size = float(np.sqrt(np.mean(np.sum(points**2, axis=1))))
    # The turn is counted in mm at the outline's mean distance from its centre.
    lay = np.array(second.centroid) - centre

    def placed(state: Floats) -> Floats:
        cos, sin = math.cos(state[2] / size), math.sin(state[2] / size)
        turned = points @ np.array([[cos, sin], [-sin, cos]])
        return np.asarray(turned + centre + state[:2])

    # By size, and chosen only where clearly better: like outlines are not turned about.
    angles = sorted(range(-11, 13), key=abs)
    starts = [np.array([*lay, size * math.radians(15 * k)]) for k in angles]
    costs = [np.sum(signed_distance(second, placed(start)) ** 2) for start in starts]
    state = next(s for s, c in zip(starts, costs, strict=True) if c <= 1.001 * min(costs) + 1e-9)

    found = nearest(second, placed(state))
    cost = float(found.distance @ found.distance)
    for _ in range(_MOST_STEPS):
        arms = placed(state) - centre - state[:2]
        lever = (arms[:, 0] * found.normal[:, 1] - arms[:, 1] * found.normal[:, 0]) / size
        design = np.column_stack((found.normal, lever))
        change = -np.linalg.lstsq(design, found.distance, rcond=1e-8)[0]
        for _ in range(20):
            trial = nearest(second, placed(state + change))
            trial_cost = float(trial.distance @ trial.distance)
            if trial_cost <= cost:
                break
            change = change / 2
        else:
            break
        state, found, cost = state + change, trial, trial_cost
        if np.abs(change).max() < 1e-10 * size:
            break
    shift, turn = (float(state[0]), float(state[1])), float(state[2]) / size
    moved = first.rotated(turn, first.centroid).translated(*shift)
    return moved, shift, turn
