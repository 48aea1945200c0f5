"""How far a chain extends along a direction, and how that follows its parameters."""

import math
from dataclasses import dataclass

import numpy as np

from snugline.fit.geometry.arc_chain import (
    Array,
    Chain,
    Feet,
    directions,
    jacobian,
    left,
    point_at,
)


@dataclass(frozen=True)
class Reach:
    """The chain's extent along a direction.

    Attributes
    ----------
    value : mm.
    row : (M,) derivatives by the parameters, the direction held.
    slope : mm/rad, derivative by the direction.
    low, high : mm, from where to where it reaches.
    """

    value: float
    row: Array
    slope: float
    low: float
    high: float


def reach_along(chain: Chain, direction: float) -> Reach:
    """How far the chain extends along a direction (rad)."""
    d = directions(np.array([direction]))
    far, near = _support(chain, d[0]), _support(chain, -d[0])
    slope = float(left(d)[0] @ (far.foot[0] - near.foot[0]))
    low, high = float(near.foot[0] @ d[0]), float(far.foot[0] @ d[0])
    row = jacobian(chain, far)[0] + jacobian(chain, near)[0]
    return Reach(high - low, row, slope, low, high)


def heading_row(chain: Chain, segment: int) -> Array:
    """Derivatives of a segment's heading at its start by the parameters, (M,)."""
    k = len(chain)
    row = np.zeros(len(chain.values()))
    row[2] = 1.0
    bends = np.flatnonzero(~chain.straight)
    row[3 + k : 3 + k + len(bends)] = bends < segment
    row[3 + k + len(bends) :] = np.flatnonzero(chain.corner[1:]) + 1 <= segment
    return row


def _support(chain: Chain, d: Array) -> Feet:
    """The chain's farthest point along a unit vector, as a foot whose left normal is -d."""
    at = chain.poses
    reach, segment, along = at.start @ d, np.arange(len(chain)), np.zeros(len(chain))
    # Within a convex arc the farthest point is where the edge runs a quarter turn ahead of d.
    ahead = math.atan2(d[1], d[0]) + math.pi / 2
    turn = (ahead - at.heading) % (2 * math.pi)
    arcs = np.flatnonzero((chain.curvatures > 0) & (turn < chain.sweeps))
    way = turn[arcs] / chain.curvatures[arcs]
    reach = np.concatenate([reach, point_at(chain, arcs, way) @ d])
    segment, along = np.concatenate([segment, arcs]), np.concatenate([along, way])
    best = int(np.argmax(reach))
    k, s = segment[best : best + 1], along[best : best + 1]
    return Feet(k, s, point_at(chain, k, s), -d[None, :], np.zeros(1))
