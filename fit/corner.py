"""One corner from its contour: side, corner and side fitted in one go, with an uncertainty.

Nobody has to say where the corner ends: the sides are part of the shape, and more of them does no
harm. Least squares (or, robustly, Tukey's biweight after Cauchy's weights) finds the shape; one
generalised step under the noise model then gives the estimate and its covariance.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.failure import NoFit
from snugline.fit.families import FAMILIES, Family
from snugline.fit.family import middle
from snugline.fit.noise import (
    LEAST,
    NoiseModel,
    belonging,
    biweights,
    cauchy_weights,
    estimate_noise,
    robust_scale,
    whiten,
)
from snugline.fit.section import Systematic

Array = NDArray[np.float64]

POSE = 4  # apex x, apex y, direction, turn
TURN_DEVIATION = math.radians(
    0.5
)  # how far a drawn angle is off as made: common practice, no source
FEW = 256  # points enough to come close to the solution
MANY = 2000  # points from which that saves time
ROUNDS, SETTLED = 50, 10
TURNS = 0.02, math.pi - 0.02  # radians between which a turn is a corner
ARC_ODDS = 2.0  # cutters and punches leave arcs: common practice, no source
DECISIVE = math.e  # odds: 2 ln(odds) of 2 is where evidence begins (Kass, Raftery 1995)


@dataclass(frozen=True)
class CornerFit:
    """A fitted corner.

    Attributes
    ----------
    family : what the corner is, by the best of the families tried.
    apex : (x, y) mm, where the lines of the sides meet.
    direction : heading of the incoming side; the outline turns left by `turn` from it.
    params : (K,) the family's parameters in mm (an exponent has no unit).
    covariance : (4 + K, 4 + K) of apex x, apex y, direction, turn and params, with the errors
        that all points share.
    dof : (4 + K,) effective degrees of freedom of these variances.
    noise : model of the noise along the contour.
    weights : (N,) robust weights; zero where a point was set aside.
    residuals : (N,) mm, positive outside the part.
    ranking : families with their weights, the best first; they sum to 1.
    """

    family: Family
    apex: tuple[float, float]
    direction: float
    turn: float
    params: Array
    covariance: Array
    dof: Array
    noise: NoiseModel
    weights: Array
    residuals: Array
    ranking: tuple[tuple[str, float], ...]

    @property
    def too_close_to_call(self) -> bool:
        """Whether the data leave it open which family the corner is of."""
        weights = [weight for _, weight in self.ranking]
        return len(weights) > 1 and weights[0] < DECISIVE * weights[1]

    @property
    def u(self) -> Array:
        """(K,) standard uncertainties of the parameters."""
        return np.asarray(np.sqrt(np.diag(self.covariance)[POSE:]))

    @property
    def u95(self) -> Array:
        """(K,) expanded uncertainties, by Student's t."""
        from scipy.special import stdtrit

        return np.asarray(stdtrit(self.dof[POSE:], 0.975) * self.u)

    def to_local(self, points: Array) -> Array:
        """Points (N, 2) in the corner's local axes (see `snugline.fit.families`)."""
        c, s = math.cos(self.direction - math.pi / 2), math.sin(self.direction - math.pi / 2)
        moved = points - np.array(self.apex)
        return np.asarray(moved @ np.array([[c, -s], [s, c]]))


def fit_corner(
    points: Array,
    sigma: Array,
    breaks: Sequence[int] = (),
    *,
    families: Sequence[Family] = FAMILIES,
    turn: float = math.pi / 2,
    turn_deviation: float = TURN_DEVIATION,
    robust: bool = True,
    systematic: Systematic | None = None,
) -> CornerFit | NoFit:
    """Fit side + corner + side and choose the family.

    Parameters
    ----------
    points : (N, 2) mm, in order with the part on the left, at least some of either side.
    sigma : (N,) mm, standard uncertainty normal to the edge; only the ratios matter.
    breaks : indices where a gap lies before the point.
    families : those to choose from; with one only it is fitted as it is.
    turn, turn_deviation : the nominal turn angle and the standard deviation of the corners made so.
    robust : set aside points that do not belong (a shadow, a burr).
    systematic : errors that all points share; they are added to the covariance.

    Returns
    -------
    The fit, or a `NoFit` with the reason where the points determine no corner.

    Raises
    ------
    FitError : arguments of the wrong shape, or not finite.
    """
    points, sigma = _checked(points, sigma)
    if not families:
        raise FitError("no family to choose from", "families", "name at least one corner family")
    centre = points.mean(axis=0)
    data = _Data(
        points[:, 0] - centre[0], points[:, 1] - centre[1], 1 / sigma, turn, turn_deviation
    )
    pose = _start_pose(data)
    if isinstance(pose, NoFit):
        return pose
    tried = [_approach(data, family, pose, robust) for family in families]
    near = [n for n in tried if n]
    weights = _common_weights(near)
    if weights is not None and _clumped(weights):
        # Many neighbours stand off together: it may be they that are right.
        near = [_elsewhere(data, n) for n in near]
        weights = _common_weights(near)
    settled = [_descend(data, n.family, n.state, lambda z: weights, n.seen) for n in near]
    fits = [fit for fit in settled if fit]
    if not fits:
        return next(fit for fit in (*tried, *settled) if isinstance(fit, NoFit))
    best, noise, ranking = _choose(data, fits, sigma, breaks)
    return _finished(data, best, noise, ranking, centre, sigma, breaks, systematic)


@dataclass(frozen=True)
class _Data:
    """Centred points, reciprocal sigmas, and what is known of the turn."""

    x: Array
    y: Array
    inverse_sigma: Array
    turn: float
    turn_deviation: float

    def only(self, kept: slice | NDArray[np.intp]) -> "_Data":
        x, y, inverse = self.x[kept], self.y[kept], self.inverse_sigma[kept]
        return replace(self, x=x, y=y, inverse_sigma=inverse)


@dataclass(frozen=True)
class _Solved:
    """A shape with its scaled residuals (N,), their derivatives (K, N) and robust weights."""

    family: Family
    state: Array
    z: Array
    rows: Array
    weights: Array | None


def _checked(points: Array, sigma: Array) -> tuple[Array, Array]:
    points = np.asarray(points, dtype=float)
    sigma = np.asarray(sigma, dtype=float)
    mend = "give points (N, 2) in order and a sigma for each"
    if points.ndim != 2 or points.shape[1] != 2 or sigma.shape != (len(points),):
        raise FitError(f"points {points.shape} with sigma {sigma.shape}", "corner points", mend)
    if not (np.isfinite(points).all() and np.isfinite(sigma).all()):
        raise FitError("a coordinate or a sigma is not finite", "corner points", mend)
    if len(sigma) and sigma.min() <= 0:
        raise FitError("a sigma is zero or negative", "corner points", mend)
    return points, sigma


def _start_pose(data: _Data) -> Array | NoFit:
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
        return NoFit(f"the contour turns by {math.degrees(turn):.1f} degrees, which is no corner")
    along = ((x1 - x0) * s1 - (y1 - y0) * c1) / math.sin(turn)
    return np.array([x0 + along * c0, y0 + along * s0, math.atan2(s0, c0), turn])


def _evaluate(data: _Data, family: Family, state: Array) -> tuple[Array, Array]:
    """Scaled residuals (N,) and their derivatives (4 + K, N)."""
    ax, ay, direction, turn = state[:POSE].tolist()
    c, s = math.sin(direction), -math.cos(direction)  # local x and y axes in the points' axes
    dx, dy = data.x - ax, data.y - ay
    local = np.empty((2, len(dx)))
    qx, qy = local
    np.add(dx * c, dy * s, out=qx)
    np.subtract(dy * c, dx * s, out=qy)
    d = family.distance(local.T, state[POSE:], turn)
    nx, ny = d.normal.T
    rows = np.empty((len(state), len(dx)))
    np.subtract(ny * s, nx * c, out=rows[0])
    np.add(nx * s, ny * c, out=rows[1])
    np.negative(rows[1], out=rows[1])
    np.subtract(nx * qy, ny * qx, out=rows[2])
    rows[3] = d.by_turn
    rows[POSE:] = d.by_params.T
    rows *= data.inverse_sigma
    return d.value * data.inverse_sigma, rows


Weighting = Callable[[Array], Array | None]


@dataclass(frozen=True)
class _Near:
    """A family's state close to the solution, all distances there, and which points belong."""

    family: Family
    state: Array
    seen: tuple[Array, Array] | None
    weights: Array | None


def _approach(data: _Data, family: Family, pose: Array, robust: bool) -> _Near | NoFit:
    c, s = math.sin(pose[2]), -math.cos(pose[2])
    dx, dy = data.x - pose[0], data.y - pose[1]
    local = np.stack([dx * c + dy * s, dy * c - dx * s]).T
    params = family.start(local, 1 / data.inverse_sigma, float(pose[3]))
    if isinstance(params, NoFit):
        return params
    state = np.concatenate([pose, params])
    if not robust and len(data.x) < MANY:
        return _Near(family, state, None, None)
    few = data.only(slice(None, None, max(1, len(data.x) // FEW)))
    if not robust:
        near = _descend(few, family, state, _equal)
        return near if isinstance(near, NoFit) else _Near(family, near.state, None, None)
    near = _descend(few, family, state, _cauchy)
    near = near and _descend(few, family, near.state, _biweight)
    return near if isinstance(near, NoFit) else _seen(data, family, near.state)


def _seen(data: _Data, family: Family, state: Array) -> _Near:
    seen = _evaluate(data, family, state)
    return _Near(family, state, seen, belonging(seen[0]))


def _elsewhere(data: _Data, near: _Near) -> _Near:
    """The best of what is found when each fifth of the contour in turn is left out at the start."""
    few = data.only(slice(None, None, max(1, len(data.x) // FEW)))
    n = len(few.x)

    def trimmed(state: Array) -> float:
        z2 = _evaluate(few, near.family, state)[0] ** 2
        return float(np.partition(z2, n * 4 // 5)[: n * 4 // 5].sum())

    states = [near.state]
    for start in np.linspace(0, n - n // 5, 9).astype(int):
        rest = few.only(np.r_[0:start, start + n // 5 : n])
        pose = _start_pose(rest)
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
    """Whether outliers are more than a few and mostly beside each other."""
    out = weights == 0
    return bool(out.mean() > 0.04 and 2 * np.count_nonzero(out[1:] & out[:-1]) > out.sum())


def _equal(z: Array) -> None:
    return None


def _cauchy(z: Array) -> Array:
    return cauchy_weights(z / max(robust_scale(z), LEAST))


def _biweight(z: Array) -> Array:
    return biweights(z / max(robust_scale(z), LEAST))


def _descend(
    data: _Data,
    family: Family,
    state: Array,
    weighting: Weighting,
    seen: tuple[Array, Array] | None = None,
) -> _Solved | NoFit:
    """Levenberg-Marquardt, reweighted in each round, until no point moves by its sigma.

    That last step is taken as linear: 0.05 mm squared over a radius of 6 mm is nothing.
    `seen` are the distances and derivatives at the start, where they are known.
    """
    low = np.array([b[0] for b in family.bounds])
    high = np.array([b[1] for b in family.bounds])
    damping, size = 0.0, len(state)
    z, rows = seen or _evaluate(data, family, state)
    weights = weighting(z)
    for count in range(ROUNDS):
        weighted = rows if weights is None else rows * weights
        square = float(z @ z) if weights is None else float((weights * z) @ z)
        mass = len(z) if weights is None else float(weights.sum())
        scale2 = max(square / max(mass - size, 1), 1e-20)
        prior = scale2 / data.turn_deviation**2
        cost = square + prior * (state[3] - data.turn) ** 2
        normal = weighted @ rows.T
        gradient = weighted @ z
        normal[3, 3] += prior
        gradient[3] += prior * (state[3] - data.turn)
        diagonal = normal.diagonal().copy()
        if not diagonal.min() > 0:
            return NoFit(f"the contour does not determine a {family.name} and both its sides")
        for _ in range(12):
            damped = normal + np.diag(diagonal * damping) if damping else normal
            try:
                trial = state - np.linalg.solve(damped, gradient)
            except np.linalg.LinAlgError:
                damping = max(10 * damping, 1e-6)
                continue
            if size > POSE:
                trial[POSE:] = np.minimum(np.maximum(trial[POSE:], low), high)
            if TURNS[0] < trial[3] < TURNS[1]:
                shift = (trial - state) @ rows
                if damping < 0.01 and np.abs(shift).max() < 1:
                    return _Solved(family, trial, z + shift, rows, weights)
                new_z, new_rows = _evaluate(data, family, trial)
                new = float(new_z @ new_z) if weights is None else float((weights * new_z) @ new_z)
                if new + prior * (trial[3] - data.turn) ** 2 <= cost * (1 + 1e-9):
                    break
            damping = max(10 * damping, 1e-4)
        else:
            return _Solved(family, state, z, rows, weights)
        state, z, rows = trial, new_z, new_rows
        damping = damping / 10 if damping > 1e-9 else 0.0
        if count < SETTLED:  # hard weights can flip for ever
            weights = weighting(z)
    return NoFit(f"the {family.name} fit did not settle in {ROUNDS} rounds")


def _choose(
    data: _Data, fits: list[_Solved], sigma: Array, breaks: Sequence[int]
) -> tuple[_Solved, NoiseModel, tuple[tuple[str, float], ...]]:
    """The family of the least whitened BIC, the noise at it, and the weights of all.

    All families are judged by one noise model, from the one that leaves the least slow noise: a
    wrong family's misfit would pass for noise. Of equal evidence an arc is twice as likely.
    """
    noises = [_noise(fit, sigma, breaks) for fit in fits]
    if len(fits) == 1:
        return fits[0], noises[0], ((fits[0].family.name, 1.0),)
    least = int(np.argmin([noise.slow for noise in noises]))
    reference = _noise(fits[least], sigma, breaks, _extent(data, fits[least]))
    square = []
    for fit in fits:
        normal = _whitened_normal(data, fit, reference, breaks, ())
        size = len(fit.state)
        pull = normal[:size, size]
        step = np.linalg.lstsq(normal[:size, :size], pull)[0]
        square.append(normal[size, size] - pull @ step)
    excess = np.array(square) - min(square)
    params = np.array([len(fit.state) - POSE for fit in fits])
    bic = excess + params * math.log(len(sigma) / reference.block)
    bic -= 2 * np.log([ARC_ODDS if fit.family.name == "arc" else 1.0 for fit in fits])
    weight = np.exp(-(bic - bic.min()) / 2)
    weight /= weight.sum()
    order = np.argsort(-weight)
    ranking = tuple((fits[k].family.name, float(weight[k])) for k in order)
    return fits[order[0]], noises[order[0]], ranking


def _noise(
    fit: _Solved, sigma: Array, breaks: Sequence[int], feature: float = math.inf
) -> NoiseModel:
    design = (fit.rows * sigma).T
    return estimate_noise(fit.z * sigma, sigma, breaks, fit.weights, design, feature)


def _extent(data: _Data, fit: _Solved) -> float:
    """Length of a fit's corner in points."""
    length = float(np.sum(np.hypot(np.diff(data.x), np.diff(data.y))))
    reach = sum(fit.family.reach(fit.state[POSE:], float(fit.state[3])))
    return max(0.8 * reach / length * len(data.x), 2.0)


def _whitened_normal(
    data: _Data,
    fit: _Solved,
    noise: NoiseModel,
    breaks: Sequence[int],
    more: Sequence[Array],
) -> Array:
    """Normal equations of the whitened derivatives, residuals and `more` rows, with the prior."""
    size = len(fit.state)
    white = whiten(noise, np.vstack([fit.rows, fit.z, *more]).T, breaks, fit.weights)
    normal = white.T @ white
    off = (fit.state[3] - data.turn) / data.turn_deviation
    normal[3, 3] += data.turn_deviation**-2
    normal[3, size] += off / data.turn_deviation
    normal[size, 3] += off / data.turn_deviation
    normal[size, size] += off * off
    return normal


def _shared_rows(data: _Data, fit: _Solved, centre: Array, systematic: Systematic) -> list[Array]:
    """Scaled residuals that one standard deviation of each shared error makes."""
    x, y = data.x + centre[0], data.y + centre[1]
    return [
        systematic.offset * data.inverse_sigma,
        -systematic.scale_x * fit.rows[0] * x,
        -systematic.scale_y * fit.rows[1] * y,
    ]


def _finished(
    data: _Data,
    best: _Solved,
    noise: NoiseModel,
    ranking: tuple[tuple[str, float], ...],
    centre: Array,
    sigma: Array,
    breaks: Sequence[int],
    systematic: Systematic | None,
) -> CornerFit | NoFit:
    """One generalised least-squares step, and the covariance with what all points share."""
    size = len(best.state)
    shared = [] if systematic is None else _shared_rows(data, best, centre, systematic)
    normal = _whitened_normal(data, best, noise, breaks, shared)
    try:
        covariance = np.linalg.inv(normal[:size, :size])
    except np.linalg.LinAlgError:
        covariance = np.full((size, size), np.nan)
    if not covariance.diagonal().min() > 0:
        return NoFit(f"the contour does not determine a {best.family.name} and both its sides")
    step = -covariance @ normal[:size, size]
    state = best.state + step
    for k, (low, high) in enumerate(best.family.bounds, start=POSE):
        state[k] = min(max(state[k], low), high)
    residuals = (best.z + step @ best.rows) * sigma
    common = covariance @ normal[:size, size + 1 :]
    random = covariance.diagonal()
    covariance = covariance + common @ common.T
    # Welch-Satterthwaite: the shared errors are stated, only the noise is estimated.
    dof = noise.dof * (covariance.diagonal() / random) ** 2
    weights = np.ones(len(sigma)) if best.weights is None else best.weights
    return CornerFit(
        best.family,
        (float(state[0] + centre[0]), float(state[1] + centre[1])),
        float(state[2]),
        float(state[3]),
        state[POSE:],
        covariance,
        dof,
        noise,
        weights,
        residuals,
        ranking,
    )
