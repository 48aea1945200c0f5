"""Finding side + corner + side: a start from the contour's ends, robust weights, least squares.

All points are looked at only when some of them have brought the shape near. Rows are kept as one
array (4 + K + 1, N): the derivatives of the scaled residuals by pose and parameters and, last, the
scaled residuals themselves, so that one product gives all normal equations.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.contour_noise import LEAST, belonging, biweights, cauchy_weights, robust_scale
from snugline.fit.corners.corner_families import Family
from snugline.fit.corners.corner_family import middle
from snugline.fit.failure import NoFit

Array = NDArray[np.float64]

POSE = 4  # apex x, apex y, direction, turn
FEW = 256  # points enough to come close to the solution
MANY = 2000  # points from which that saves time
ROUNDS, SETTLED = 30, 10  # rounds in all, and with weights that still change
TURNS = 0.02, math.pi - 0.02  # radians between which a turn is a corner


@dataclass(frozen=True)
class Contour:
    """Centred points, reciprocal sigmas, and what is known of the turn."""

    x: Array
    y: Array
    inverse_sigma: Array
    turn: float
    turn_deviation: float

    def only(self, kept: slice | NDArray[np.intp]) -> "Contour":
        x, y, inverse = self.x[kept], self.y[kept], self.inverse_sigma[kept]
        return replace(self, x=x, y=y, inverse_sigma=inverse)

    def few(self) -> "Contour":
        return self.only(slice(None, None, max(1, len(self.x) // FEW)))


@dataclass(frozen=True)
class Solved:
    """A shape with its rows (4 + K + 1, N), the scaled residuals last, and robust weights."""

    family: Family
    state: Array
    rows: Array
    weights: Array | None


Weighting = Callable[[Array], Array | None]


@dataclass(frozen=True)
class _Near:
    """A family's state close to the solution, all rows there, and which points belong."""

    family: Family
    state: Array
    rows: Array | None
    weights: Array | None


def search(data: Contour, families: Sequence[Family], robust: bool) -> list[Solved] | NoFit:
    """Least-squares shapes of the families that fit at all, with the same weights for all."""
    pose = start_pose(data)
    if isinstance(pose, NoFit):
        return pose
    tried = [_approach(data, family, pose, robust) for family in families]
    near = [n for n in tried if n]
    weights = _common_weights(near)
    if weights is not None and _clumped(weights):
        # Many neighbours deviate together: they may be the ones that are right.
        near = [_elsewhere(data, n) for n in near]
        weights = _common_weights(near)
    settled = [_descend(data, n.family, n.state, lambda z: weights, n.rows) for n in near]
    fits = [fit for fit in settled if fit]
    return fits or next(fit for fit in (*tried, *settled) if isinstance(fit, NoFit))


def start_pose(data: Contour) -> Array | NoFit:
    """Apex, direction and turn from the ends of the contour."""
    n = len(data.x)
    if n < 12:
        return NoFit(f"{n} points are too few for two sides and a corner")
    end = max(4, n * 3 // 20)
    lines = []
    for a in (0, n - end):
        x, y = data.x[a : a + end], data.y[a : a + end]
        third = end // 3
        x0, y0 = middle(x[:third]), middle(y[:third])
        x1, y1 = middle(x[-third:]), middle(y[-third:])
        length = math.hypot(x1 - x0, y1 - y0)
        if length == 0:
            return NoFit("the points at one end of the contour coincide")
        lines.append(((x0 + x1) / 2, (y0 + y1) / 2, (x1 - x0) / length, (y1 - y0) / length))
    (x0, y0, c0, s0), (x1, y1, c1, s1) = lines
    turn = math.atan2(c0 * s1 - s0 * c1, c0 * c1 + s0 * s1)
    if not 0.05 < turn < math.pi - 0.05:
        return NoFit(
            f"the contour turns by {math.degrees(turn):.1f} degrees, which is not a corner"
        )
    along = ((x1 - x0) * s1 - (y1 - y0) * c1) / math.sin(turn)
    return np.array([x0 + along * c0, y0 + along * s0, math.atan2(s0, c0), turn])


def _local_x(pose: Array) -> tuple[float, float]:
    """The local x axis in the points' axes."""
    direction = float(pose[2])
    return math.sin(direction), -math.cos(direction)


def to_local(data: Contour, pose: Array) -> Array:
    """The points (N, 2) in the local axes of a corner at `pose`."""
    c, s = _local_x(pose)
    dx, dy = data.x - float(pose[0]), data.y - float(pose[1])
    local = np.empty((2, len(dx)))
    np.add(dx * c, dy * s, out=local[0])
    np.subtract(dy * c, dx * s, out=local[1])
    return local.T


def _evaluate(data: Contour, family: Family, state: Array) -> Array:
    """Rows (4 + K + 1, N) at a state."""
    local = to_local(data, state)
    d = family.distance(local, state[POSE:], float(state[3]))
    c, s = _local_x(state)
    (qx, qy), (nx, ny) = local.T, d.normal.T
    rows = np.empty((len(state) + 1, len(qx)))
    np.subtract(ny * s, nx * c, out=rows[0])
    np.subtract(nx * -s, ny * c, out=rows[1])
    np.subtract(nx * qy, ny * qx, out=rows[2])
    rows[3] = d.by_turn
    rows[POSE:-1] = d.by_params.T
    rows[-1] = d.value
    rows *= data.inverse_sigma
    return rows


def _approach(data: Contour, family: Family, pose: Array, robust: bool) -> _Near | NoFit:
    params = family.start(to_local(data, pose), 1 / data.inverse_sigma, float(pose[3]))
    if isinstance(params, NoFit):
        return params
    state = np.concatenate([pose, params])
    if not robust and len(data.x) < MANY:
        return _Near(family, state, None, None)
    few = data.few()
    if not robust:
        near = _descend(few, family, state, _equal)
        return near if isinstance(near, NoFit) else _Near(family, near.state, None, None)
    near = _descend(few, family, state, _cauchy)
    near = near and _descend(few, family, near.state, _biweight)
    return near if isinstance(near, NoFit) else _seen(data, family, near.state)


def _seen(data: Contour, family: Family, state: Array) -> _Near:
    rows = _evaluate(data, family, state)
    return _Near(family, state, rows, belonging(rows[-1]))


def _elsewhere(data: Contour, near: _Near) -> _Near:
    """The best of what is found when each fifth of the contour in turn is left out at the start."""
    few = data.few()
    n = len(few.x)

    def trimmed(state: Array) -> float:
        z2 = _evaluate(few, near.family, state)[-1] ** 2
        return float(np.partition(z2, n * 4 // 5)[: n * 4 // 5].sum())

    states = [near.state]
    for start in np.linspace(0, n - n // 5, 9).astype(int):
        rest = few.only(np.r_[0:start, start + n // 5 : n])
        pose = start_pose(rest)
        if isinstance(pose, NoFit):
            continue
        first = np.concatenate([pose, near.state[POSE:]])
        found = _descend(rest, near.family, first, _cauchy)
        found = found and _descend(few, near.family, found.state, _biweight)
        if not isinstance(found, NoFit):
            states.append(found.state)
    return _seen(data, near.family, min(states, key=trimmed))


def _common_weights(near: Sequence[_Near]) -> Array | None:
    """The outliers by the family that has the fewest: the others would cut off what they misfit."""
    weights = max((n.weights for n in near if n.weights is not None), key=np.sum, default=None)
    return None if weights is None or weights.all() else weights


def _clumped(weights: Array) -> bool:
    """Whether outliers are more than a few and mostly next to each other."""
    out = weights == 0
    return bool(out.mean() > 0.04 and 2 * np.count_nonzero(out[1:] & out[:-1]) > out.sum())


def _equal(z: Array) -> None:
    return None


def _cauchy(z: Array) -> Array:
    return cauchy_weights(z / max(robust_scale(z), LEAST))


def _biweight(z: Array) -> Array:
    return biweights(z / max(robust_scale(z), LEAST))


def _descend(
    data: Contour,
    family: Family,
    state: Array,
    weighting: Weighting,
    rows: Array | None = None,
) -> Solved | NoFit:
    """Levenberg-Marquardt, reweighted in each round, until no point moves by its sigma.

    That last step is taken as linear: 0.05 mm squared over a radius of 6 mm is nothing. `rows` are
    those at the start, where they are known; their residuals may be overwritten.
    """
    damping, size = 0.0, len(state)
    if rows is None:
        rows = _evaluate(data, family, state)
    weights = weighting(rows[-1])
    for count in range(ROUNDS):
        normal = (rows if weights is None else rows * weights) @ rows.T
        mass = rows.shape[1] if weights is None else float(weights.sum())
        scale2 = max(float(normal[-1, -1]) / max(mass - size, 1), 1e-20)
        prior = scale2 / data.turn_deviation**2
        off = float(state[3]) - data.turn
        normal[3, 3] += prior
        normal[3, -1] += prior * off
        cost = normal[-1, -1] + prior * off * off
        diagonal = normal.diagonal()[:-1].copy()
        if not diagonal.min() > 0:
            return NoFit(f"the contour does not determine a {family.name} and both its sides")
        for _ in range(12):
            damped = normal[:-1, :-1] + np.diag(diagonal * damping) if damping else normal[:-1, :-1]
            try:
                trial = state - np.linalg.solve(damped, normal[:-1, -1])
            except np.linalg.LinAlgError:
                damping = max(10 * damping, 1e-6)
                continue
            for k, (low, high) in enumerate(family.bounds, start=POSE):
                trial[k] = min(max(trial[k], low), high)
            if TURNS[0] < trial[3] < TURNS[1]:
                shift = (trial - state) @ rows[:-1]
                if damping < 0.01 and max(shift.max(), -shift.min()) < 1:
                    rows[-1] += shift
                    return Solved(family, trial, rows, weights)
                moved = _evaluate(data, family, trial)
                z = moved[-1]
                new = float(z @ z) if weights is None else float((weights * z) @ z)
                if new + prior * (trial[3] - data.turn) ** 2 <= cost * (1 + 1e-9):
                    break
            damping = max(10 * damping, 1e-4)
        else:
            return Solved(family, state, rows, weights)
        state, rows = trial, moved
        damping = damping / 10 if damping > 1e-9 else 0.0
        if count < SETTLED:  # hard weights can flip for ever
            weights = weighting(rows[-1])
    return NoFit(f"the {family.name} fit did not settle in {ROUNDS} rounds")
