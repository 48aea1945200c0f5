"""A chain of lines and arcs in its own parameters: tangent-continuous by construction.

Start point, start heading, then length and sweep of each segment, and a turn at each node that is a
sharp corner. Headings and points follow by integration, so every joint without a turn is tangent to
the last bits, whatever the parameters. Headings are sums of parameters: with curvatures instead of
the sweeps they would be sums of products, and a fit would creep, since a heading's second-order
error acts on all that comes after. Curvature is signed: positive bends to the left.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.outline import Arc, Line, Outline, Point

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True)
class Poses:
    """Where the segments of a chain begin and end: (K, 2) points, (K,) headings."""

    start: Array
    heading: Array
    end: Array
    end_heading: Array


@dataclass(frozen=True)
class Chain:
    """K segments, run from the start point on.

    Attributes
    ----------
    start, heading : mm and rad, where the first segment begins and where it points.
    lengths, curvatures : (K,) mm and 1/mm; curvature 0 is a line.
    turns : (K,) rad, left turn at the start of each segment; 0 where the joint is tangent. An open
        chain has none at its own start.
    straight : (K,) segments whose curvature is held at 0.
    corner : (K,) nodes whose turn is free.
    closed : whether the last segment ends where the first begins.
    """

    start: Point
    heading: float
    lengths: Array
    curvatures: Array
    turns: Array
    straight: NDArray[np.bool_]
    corner: NDArray[np.bool_]
    closed: bool

    def __len__(self) -> int:
        return len(self.lengths)

    @property
    def free(self) -> int:
        """Free parameters, closure counted off."""
        count = 3 + len(self) + int((~self.straight).sum()) + int(self.corner[1:].sum())
        return count - ((2 if self.corner[0] else 3) if self.closed else 0)

    @cached_property
    def poses(self) -> Poses:
        """The chain integrated."""
        sweep = self.sweeps
        turned = self.turns.copy()
        turned[0] = 0.0
        heading = self.heading + np.cumsum(turned) + np.concatenate([[0.0], np.cumsum(sweep)[:-1]])
        chord = self.lengths * np.sinc(sweep / (2 * math.pi))
        middle = heading + sweep / 2
        step = chord[:, None] * np.column_stack([np.cos(middle), np.sin(middle)])
        end = np.array(self.start) + np.cumsum(step, axis=0)
        start = np.vstack([self.start, end[:-1]])
        return Poses(start, heading, end, heading + sweep)

    @cached_property
    def middles(self) -> tuple[Array, Array]:
        """Middle points of the segments and unit tangents there, both (K, 2)."""
        quarter = self.poses.heading + self.sweeps / 4
        half = self.lengths / 2 * np.sinc(self.sweeps / (4 * math.pi))
        middle = self.poses.start + half[:, None] * directions(quarter)
        return middle, directions(quarter + self.sweeps / 4)

    @property
    def sweeps(self) -> Array:
        """(K,) rad turned along each segment."""
        sweeps: Array = self.curvatures * self.lengths
        return sweeps

    def values(self) -> Array:
        """The parameters in the order of the columns of `jacobian`."""
        turns = self.turns[1:][self.corner[1:]]
        head = (*self.start, self.heading)
        return np.concatenate([head, self.lengths, self.sweeps[~self.straight], turns])

    def with_values(self, values: Array) -> "Chain":
        """The same chain with other parameters."""
        k = len(self)
        bends = int((~self.straight).sum())
        sweeps, turns = np.zeros(k), np.zeros(k)
        sweeps[~self.straight] = values[3 + k : 3 + k + bends]
        turns[1:][self.corner[1:]] = values[3 + k + bends :]
        lengths = values[3 : 3 + k].copy()
        if self.closed and self.corner[0]:
            whole = 2 * math.pi * round(self.total_turn() / (2 * math.pi))
            turns[0] = whole - (sweeps.sum() + turns.sum())
        return replace(
            self,
            start=(float(values[0]), float(values[1])),
            heading=float(values[2]),
            lengths=lengths,
            curvatures=sweeps / lengths,
            turns=turns,
        )

    @cached_property
    def generators(self) -> tuple[Array, Array, Array, Indices]:
        """For each parameter: shift, turn, pivot, and the first segment that moves as a whole."""
        at = self.poses
        k = len(self)
        bends = np.flatnonzero(~self.straight)
        corners = np.flatnonzero(self.corner[1:]) + 1
        end_tangent = directions(at.end_heading)
        end_normal = left(end_tangent)
        slip = _slip(self.curvatures, self.lengths)
        rise = _versine(self.curvatures, self.lengths)
        bend = (slip[:, None] * end_tangent + rise[:, None] * end_normal) / self.lengths[:, None]
        scale = (at.end - at.start) / self.lengths[:, None]
        origin = np.array([self.start])
        move = np.vstack(
            [[[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]], scale, bend[bends], np.zeros((len(corners), 2))]
        )
        turn = np.concatenate(
            [[0.0, 0.0, 1.0], np.zeros(k), np.ones(len(bends)), np.ones(len(corners))]
        )
        pivot = np.vstack([origin, origin, origin, at.end, at.end[bends], at.start[corners]])
        first = np.concatenate([[0, 0, 0], np.arange(k) + 1, bends + 1, corners])
        return move, turn, pivot, first

    def total_turn(self) -> float:
        """Rad turned from start to end, the turn at a closed chain's start included."""
        return float(self.sweeps.sum() + self.turns.sum())


@dataclass(frozen=True)
class Feet:
    """Points dropped on a chain.

    Attributes
    ----------
    segment : (N,) index of the segment.
    along : (N,) mm from the segment's start.
    foot, normal : (N, 2), the foot and the left normal there.
    distance : (N,) mm, positive to the left.
    """

    segment: Indices
    along: Array
    foot: Array
    normal: Array
    distance: Array


def directions(angle: Array) -> Array:
    """Unit vectors at the angles, (N, 2)."""
    return np.column_stack([np.cos(angle), np.sin(angle)])


def left(vectors: Array) -> Array:
    """The vectors turned a quarter to the left."""
    return np.column_stack([-vectors[:, 1], vectors[:, 0]])


def point_at(chain: Chain, segment: Indices, along: Array) -> Array:
    """Points (N, 2) at `along` mm from the segments' starts."""
    half = chain.curvatures[segment] * along / 2
    chord = along * np.sinc(half / math.pi)
    way: Array = chord[:, None] * directions(chain.poses.heading[segment] + half)
    return chain.poses.start[segment] + way


def drop(
    chain: Chain, points: Array, segment: Indices | None = None, near: Indices | None = None
) -> Feet:
    """Feet of points (N, 2) on the nearest segments, or on the circles and lines of `segment`.

    near : (N,) segments that the points were on before; the nearest is sought among these and
        their neighbours.
    """
    at, k = chain.poses, len(chain)
    if segment is None:
        if near is None or k < 4:
            among = np.broadcast_to(np.arange(k), (len(points), k))
        elif chain.closed:
            among = (near[:, None] + np.array([-1, 0, 1])) % k
        else:
            among = np.clip(near[:, None] + np.array([-1, 0, 1]), 0, k - 1)
        along, gap = _local(chain, points[:, None, :], among)
        over = np.maximum(np.maximum(-along, along - chain.lengths[among]), 0.0)
        best = np.argmin(gap * gap + over * over, axis=1)
        rows = np.arange(len(points))
        segment, along, gap = among[rows, best], along[rows, best], gap[rows, best]
    else:
        along, gap = _local(chain, points, segment)
    heading = at.heading[segment] + chain.curvatures[segment] * along
    normal = left(directions(heading))
    return Feet(segment, along, points - gap[:, None] * normal, normal, gap)


def _local(chain: Chain, points: Array, segment: Indices) -> tuple[Array, Array]:
    """Arc length from the segment's start and signed distance; from its middle, where angles start.

    With A = v - kappa (u^2 + v^2) / 2 the distance 2 A / (1 + sqrt(1 - 2 kappa A)) holds for lines
    and arcs alike.
    """
    middle, facing = chain.middles
    kappa = chain.curvatures[segment]
    x = points[..., 0] - middle[segment, 0]
    y = points[..., 1] - middle[segment, 1]
    u = x * facing[segment, 0] + y * facing[segment, 1]
    v = y * facing[segment, 0] - x * facing[segment, 1]
    power = v - kappa * (u * u + v * v) / 2
    gap = 2 * power / (1 + np.sqrt(np.maximum(1 - 2 * kappa * power, 0.0)))
    bent = np.abs(kappa) > 1e-12
    angle = np.arctan2(kappa * u, 1 - kappa * v)
    along = np.where(bent, angle / np.where(bent, kappa, 1.0), u) + chain.lengths[segment] / 2
    return along, gap


def jacobian(chain: Chain, feet: Feet) -> Array:
    """Derivatives of the distances by the parameters, (N, M).

    A parameter moves all that comes after it as one rigid body: a translation and a turn about the
    node at the end of its segment. Its own segment a length scales and a sweep bends, up to the
    foot.
    """
    move, turn, pivot, first = chain.generators
    # n . (move + turn J (foot - pivot)), J the quarter turn, as products of matrices.
    centre = np.mean(feet.foot, axis=0)
    push = move - turn[:, None] * left(pivot - centre)
    spin = np.sum(feet.normal * left(feet.foot - centre), axis=1)
    columns: Array = -(feet.normal @ push.T + spin[:, None] * turn)
    columns[feet.segment[:, None] < first] = 0.0
    k = len(chain)
    length = chain.lengths[feet.segment]
    reach = feet.foot - chain.poses.start[feet.segment]
    scaled = np.sum(feet.normal * reach, axis=1) / length
    bent = _versine(chain.curvatures[feet.segment], feet.along) / length
    columns[np.arange(len(scaled)), 3 + feet.segment] -= scaled
    place = np.cumsum(~chain.straight) - 1
    row = np.flatnonzero(~chain.straight[feet.segment])
    columns[row, 3 + k + place[feet.segment[row]]] -= bent[row]
    return columns


def closure(chain: Chain) -> tuple[Array, Array]:
    """What is missing to a closed chain, (2 or 3,) in mm and rad, and its derivatives."""
    at = chain.poses
    move, turn, pivot, _ = chain.generators
    lever = at.end[-1] - pivot
    shift = move + turn[:, None] * np.column_stack([-lever[:, 1], lever[:, 0]])
    shift[0] = shift[1] = 0.0
    gap = np.array([*(at.end[-1] - at.start[0]), 0.0])
    rows = np.vstack([shift.T, turn])
    rows[2, 2] = 0.0
    if chain.corner[0]:
        return gap[:2], rows[:2]
    total = chain.total_turn()
    gap[2] = total - 2 * math.pi * round(total / (2 * math.pi))
    return gap, rows


def _versine(kappa: Array, along: Array) -> Array:
    """(1 - cos(kappa s)) / kappa^2, the rise at s for a change of curvature."""
    half = np.sinc(kappa * along / (2 * math.pi))
    rise: Array = along * along * half * half / 2
    return rise


def _slip(kappa: Array, along: Array) -> Array:
    """(kappa s - sin(kappa s)) / kappa^2, the shift along the tangent for a change of curvature."""
    angle = kappa * along
    small = np.abs(angle) < 1e-3
    safe = np.where(small, 1.0, angle)
    exact = (safe - np.sin(safe)) / safe**2
    return along * along * np.where(small, angle / 6, exact)


def segments_of(chain: Chain) -> tuple[Line | Arc, ...]:
    """The chain as lines and arcs that share their end points to the last bit."""
    if chain.closed and len(chain) == 1:
        chain = halved(chain)
    at = chain.poses
    nodes = [(float(x), float(y)) for x, y in np.vstack([at.start, at.end[-1:]])]
    if chain.closed:
        nodes[-1] = nodes[0]
    normals = left(directions(at.heading))
    made: list[Line | Arc] = []
    for i in range(len(chain)):
        kappa = float(chain.curvatures[i])
        if kappa == 0.0:
            made.append(Line(nodes[i], nodes[i + 1]))
            continue
        centre = at.start[i] + normals[i] / kappa
        sweep = float(chain.sweeps[i])
        made.append(
            Arc(nodes[i], nodes[i + 1], (float(centre[0]), float(centre[1])), abs(1 / kappa), sweep)
        )
    return tuple(made)


def halved(chain: Chain) -> Chain:
    """A full circle as two half arcs, since one arc cannot begin where it ends."""
    half = chain.lengths[0] / 2
    return replace(
        chain,
        lengths=np.array([half, half]),
        curvatures=np.repeat(chain.curvatures, 2),
        turns=np.zeros(2),
        straight=np.zeros(2, dtype=bool),
        corner=np.zeros(2, dtype=bool),
    )


def outline_of(chain: Chain) -> Outline:
    """A closed chain as an outline."""
    return Outline(segments_of(chain))
