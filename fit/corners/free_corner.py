"""The free corner: any tangent-continuous curve of bounded curvature from side to side.

A chain of arcs of equal length. Arc i takes the share p_i / sum(p) of the turn, and the mean of the
bends p_i, in mm, is the curve's length over its turn: an arc's are all its radius, a flat piece has
0, one that bends the other way is negative. Curvature by equal steps of length, not of turn, is
what lets a corner be flat or hollow somewhere.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snugline.fit.corners.corner_family import (
    LARGEST,
    SMALLEST,
    Array,
    Distance,
    apex_gap,
    outgoing,
)
from snugline.fit.failure import NoFit
from snugline.fit.geometry.arc_chain import (
    Chain,
    Feet,
    directions,
    drop,
    jacobian,
    left,
    segments_of,
)
from snugline.fit.geometry.outline import Arc, Line

SIDE = 100.0  # mm of either side that is part of the chain; its line goes on
BEND = "bend"  # the parameters' names begin with it; they are not sizes of the part
SHARP = 1.0  # mm, the bends of a curve about to be fitted where a square corner does not
FLAT = 1e-9  # rad: a piece that turns by less is drawn as a line


@dataclass(frozen=True)
class FreeFamily:
    """`pieces` arcs of equal length, each with a bend of its own."""

    pieces: int
    name: str = "free"

    @property
    def parameters(self) -> tuple[str, ...]:
        return tuple(f"{BEND} {k + 1}" for k in range(self.pieces))

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]:
        return ((-LARGEST, LARGEST),) * self.pieces

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        chain = self._chain(params, turn)
        feet = drop(chain, points)
        by_chain = jacobian(chain, feet)
        moves = self._moves(chain, params, turn)
        value = -feet.distance  # the chain counts to the left
        by_own = -by_chain @ moves
        return Distance(value, -feet.normal, by_own[:, :-1], by_own[:, -1])

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        gap = apex_gap(points, turn)
        if isinstance(gap, NoFit):
            return gap
        radius = max(gap / (1 / math.cos(turn / 2) - 1), 1e-3)
        return np.full(self.pieces, radius)

    def like(self, chain: Sequence[Line | Arc], turn: float) -> Array:
        """Bends of the curve that turns, piece by piece, as much as a corner of another family."""
        if not chain:
            return np.full(self.pieces, SHARP)
        lengths = np.array([segment.length for segment in chain])
        sweeps = [segment.sweep if isinstance(segment, Arc) else 0.0 for segment in chain]
        way = np.concatenate([[0.0], np.cumsum(lengths)])
        # A corner with edges turns at its ends, too.
        turned = np.concatenate([[0.0], np.cumsum(sweeps)]) + (turn - sum(sweeps)) / 2
        nodes = np.interp(np.linspace(0, way[-1], self.pieces + 1), way, turned)
        nodes[[0, -1]] = 0.0, turn
        bends: Array = np.diff(nodes) * self.pieces * way[-1] / turn**2
        return bends

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        chain = self._chain(params, turn)
        end = chain.poses.end[-2]
        return -float(chain.poses.end[0, 1]), float(end @ outgoing(turn)[0])

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        return segments_of(self._chain(params, turn))[1:-1]

    def _chain(self, params: Array, turn: float) -> Chain:
        """Side, pieces and side; the outgoing side's line passes through the apex."""
        n = self.pieces
        total = max(float(params.sum()), SMALLEST)
        sweeps, length = turn * params / total, turn * total / n**2
        sweeps[np.abs(sweeps) < FLAT] = 0.0
        heading = math.pi / 2 + np.cumsum(sweeps) - sweeps / 2
        across = directions(heading) @ outgoing(turn)[1]
        before = length * float(np.sinc(sweeps / (2 * math.pi)) @ across) / math.sin(turn)
        lengths = np.full(n + 2, length)
        lengths[[0, -1]] = SIDE
        straight = np.zeros(n + 2, dtype=bool)
        straight[[0, -1]] = True
        return Chain(
            (0.0, -before - SIDE),
            math.pi / 2,
            lengths,
            np.concatenate([[0.0], sweeps / length, [0.0]]),
            np.zeros(n + 2),
            straight,
            np.zeros(n + 2, dtype=bool),
            closed=False,
        )

    def _moves(self, chain: Chain, params: Array, turn: float) -> Array:
        """Derivatives of the chain's values by the bends and, last, by the turn."""
        n = self.pieces
        total = max(float(params.sum()), SMALLEST)
        moves = np.zeros((len(chain.values()), n + 1))
        moves[4 : 4 + n, :-1] = turn / n**2
        moves[4 : 4 + n, -1] = total / n**2
        bends = slice(5 + n, 5 + 2 * n)
        moves[bends, :-1] = turn * (np.eye(n) / total - params[:, None] / total**2)
        moves[bends, -1] = params / total
        # The start slides along the incoming side such that the outgoing line keeps to the apex.
        node = chain.poses.start[-1:]
        normal = left(directions(chain.poses.heading[-1:]))
        foot = Feet(np.array([n + 1]), np.zeros(1), node, normal, np.zeros(1))
        row = jacobian(chain, foot)[0]
        wanted = np.zeros(n + 1)
        wanted[-1] = -float(node[0] @ outgoing(turn)[0])
        moves[1] = (wanted - row @ moves) / row[1]
        return moves


FREE = FreeFamily(6)
LEAVES_ASIDE = 0.25  # share of a corner's points set aside that shows it to be of another family
MARGIN = 1.2  # share of its reach over which a corner's misfit may show


def corner_waves(points: Array, reach: tuple[float, float], turn: float) -> Array:
    """Half sines along a corner, one for each of the free curve's pieces, (pieces, N).

    To first order they represent all that the free curve could make of a corner of another family
    which takes `reach` of its sides. `points` (N, 2) are in local axes; off the corner all are 0.
    """
    along = points[:, 1] * math.cos(turn / 2) - points[:, 0] * math.sin(turn / 2)
    first, last = (MARGIN * r * math.cos(turn / 2) for r in (-reach[0], reach[1]))
    share = (along - first) / max(last - first, SMALLEST)
    order = math.pi * np.arange(1, FREE.pieces + 1)
    return np.where((share > 0) & (share < 1), np.sin(order[:, None] * share), 0.0)
