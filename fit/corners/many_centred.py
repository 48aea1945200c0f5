"""Corners of several arcs that follow each other without a kink.

Arc i has its own radius and a fixed share of the turn. The chain is the envelope of its
normals: centre i + 1 lies on the normal at joint i, and both ends touch the sides.
"""

import math
from dataclasses import dataclass

import numpy as np

from snugline.fit.corners.corner_family import (
    SMALLEST,
    Array,
    Distance,
    apex_gap,
    as_point,
    outgoing,
)
from snugline.fit.failure import NoFit
from snugline.fit.geometry.outline import Arc, Line


@dataclass(frozen=True)
class ManyCentredFamily:
    """Tangent arcs; `which` names each arc's radius among the parameters, `shares` its turn."""

    name: str
    parameters: tuple[str, ...]
    which: tuple[int, ...]
    shares: tuple[float, ...]

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]:
        return ((SMALLEST, 1e5),) * len(self.parameters)

    def _joints(self) -> Array:
        """Share of the turn that is done at the start of each arc, and at the end: 0 to 1."""
        joints: Array = np.concatenate([[0.0], np.cumsum(self.shares)])
        return joints

    def _centres(self, turn: float) -> tuple[Array, Array]:
        """Centres by the radii (arcs, 2, parameters), linear in them, and their change by turn."""
        joints = self._joints()
        pick = np.eye(len(self.parameters))[list(self.which)]  # (arcs, parameters)
        change = pick[:-1] - pick[1:]  # R_i - R_i+1
        angle = joints[1:-1] * turn
        normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        by_turn = np.stack([-np.sin(angle), np.cos(angle)], axis=1) * joints[1:-1, None]
        hops = normal[:, :, None] * change[:, None, :]
        hops_by_turn = by_turn[:, :, None] * change[:, None, :]
        # The first centre (-R_0, height) is such that the last one lies R_m from the other side.
        rest = turn - angle
        total = (
            pick[0] * math.cos(turn)
            - pick[-1]
            - np.sum(np.cos(rest)[:, None] * change, axis=0, initial=0.0)
        )
        total_by_turn = -pick[0] * math.sin(turn) + np.sum(
            (np.sin(rest) * (1 - joints[1:-1]))[:, None] * change, axis=0, initial=0.0
        )
        sin, cos = math.sin(turn), math.cos(turn)
        height = total / sin
        height_by_turn = total_by_turn / sin - total * cos / sin**2
        first = np.stack([-pick[0], height])[None]
        first_by_turn = np.stack([np.zeros(len(pick[0])), height_by_turn])[None]
        return (
            np.cumsum(np.concatenate([first, hops]), axis=0),
            np.cumsum(np.concatenate([first_by_turn, hops_by_turn]), axis=0),
        )

    def distance(self, points: Array, params: Array, turn: float) -> Distance:
        linear, linear_by_turn = self._centres(turn)
        centres, centres_by_turn = linear @ params, linear_by_turn @ params
        angle = self._joints() * turn
        direction, side_normal = outgoing(turn)
        arc = np.zeros(len(points), dtype=np.intp)
        for i in range(1, len(self.which)):  # past the normal at joint i, seen from its centres
            moved = points - centres[i]
            arc[moved[:, 1] * math.cos(angle[i]) > moved[:, 0] * math.sin(angle[i])] = i
        from_centre = points - centres[arc]
        r = np.sqrt(np.sum(from_centre**2, axis=1))
        normal = from_centre / np.maximum(r, 1e-300)[:, None]
        which = np.array(self.which)[arc]
        value = r - params[which]
        by_params = -np.einsum("ni,nik->nk", normal, linear[arc])
        by_params[np.arange(len(points)), which] -= 1
        by_turn = -np.sum(normal * centres_by_turn[arc], axis=1)
        late = points @ np.array([-math.sin(turn / 2), math.cos(turn / 2)]) > 0
        before = ~late & (points[:, 1] < centres[0, 1])
        after = late & ((points - centres[-1]) @ direction > 0)
        for on_side, n, turning in ((before, np.array([1.0, 0.0]), 0.0), (after, side_normal, 1.0)):
            on = points[on_side]
            value[on_side] = on @ n
            normal[on_side] = n
            by_params[on_side] = 0
            by_turn[on_side] = turning * (on @ direction)
        return Distance(value, normal, by_params, by_turn)

    def start(self, points: Array, sigma: Array, turn: float) -> Array | NoFit:
        gap = apex_gap(points, turn)
        if isinstance(gap, NoFit):
            return gap
        radius = max(gap / (1 / math.cos(turn / 2) - 1), 1e-3)
        return np.full(len(self.parameters), radius)

    def reach(self, params: Array, turn: float) -> tuple[float, float]:
        centres = self._centres(turn)[0] @ params
        return -float(centres[0, 1]), float(centres[-1] @ outgoing(turn)[0])

    def chain(self, params: Array, turn: float, tolerance: float) -> tuple[Line | Arc, ...]:
        centres = self._centres(turn)[0] @ params
        angle = self._joints() * turn
        radii = params[list(self.which)]
        start = (0.0, float(centres[0, 1]))
        arcs = []
        for i, (centre, radius) in enumerate(zip(centres, radii, strict=True)):
            end = as_point(
                centre + radius * np.array([math.cos(angle[i + 1]), math.sin(angle[i + 1])])
            )
            sweep = float(angle[i + 1] - angle[i])
            arcs.append(Arc(start, end, as_point(centre), float(radius), sweep))
            start = end
        return tuple(arcs)


DOUBLE_ARC = ManyCentredFamily("double arc", ("first radius", "second radius"), (0, 1), (0.5, 0.5))
THREE_CENTRED = ManyCentredFamily(
    "three-centred arc", ("outer radius", "middle radius"), (0, 1, 0), (0.25, 0.5, 0.25)
)
