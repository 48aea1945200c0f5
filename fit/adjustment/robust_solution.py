"""Solving the adjustment: robustly first, then with whitened residuals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import (
    Block,
    Equations,
    Normals,
    normals_of,
    prior_normals,
    weighted,
    whitened,
)
from snugline.fit.contour_noise import (
    CAUCHY,
    NoiseModel,
    belonging,
    cauchy_weights,
    estimate_noise,
    robust_scale,
)
from snugline.fit.section import Section

Array = NDArray[np.float64]

# What no observation determines is held where it is by this much (1/mm²): it shows as an
# uncertainty of a metre, and pulls at nothing, since it holds the step and not the value.
HOLD = 1e-6

ALONE = 0.1  # share of what is known of a parameter that must be left when outliers are cut
GROSS = 10.0  # robust standard deviations
NARROWING = 3  # rounds in which the loss is narrowed
CONVERGED = 1.0  # of a log-likelihood: no start needs to be better


@dataclass(frozen=True)
class RobustFit:
    """Unknowns that minimise Cauchy's loss, and how well that went."""

    x: Array
    cost: float
    scales: tuple[float, ...]  # per section, in units of the stated sigma


def robust_fit(
    equations: Equations,
    x: Array,
    *,
    scales: Sequence[float] | None = None,
    give_up: float = math.inf,
    rounds: int = 15,
) -> RobustFit:
    """Levenberg-Marquardt with Cauchy's weights from a start `x`.

    Parameters
    ----------
    scales : spread of each section's scaled residuals; estimated again in each round when None.
    give_up : a cost at which, after a few rounds, no more is hoped for.
    """
    sections = range(len(equations.sections))
    low, high = bounds(equations)
    damping, cost = 1e-4, math.inf
    blocks = [equations.points_block(x, k) for k in sections]
    spread = [1.0] * len(blocks)
    for done in range(rounds):
        narrowing = scales is None and done < NARROWING
        if scales is not None:
            spread = list(scales)
        else:
            # From wide to narrow: a narrow loss at once would settle on one part of the contour.
            share = 0.4**done if narrowing else 0.0
            spread = [max(_spread(b.residual), share * _wide_spread(b.residual)) for b in blocks]
        cost = _cost(equations, x, blocks, spread)
        total = prior_normals(equations, x)
        for block, scale in zip(blocks, spread, strict=True):
            weights = cauchy_weights(block.residual / scale) / scale**2
            total += normals_of(weighted(block, weights), equations.size)
        for i in range(len(equations.rows)):
            total += normals_of(equations.reading_block(x, i), equations.size)
        for _ in range(8):
            step = solve(total.matrix, -total.gradient, damping=damping)
            trial = np.clip(x + step, low, high)
            if reasonable(equations, trial):
                promised = -float(step @ total.gradient) / 2
                if promised < CONVERGED and not narrowing:
                    return RobustFit(trial, cost - promised, tuple(spread))
                trial_blocks = [equations.points_block(trial, k) for k in sections]
                trial_cost = _cost(equations, trial, trial_blocks, spread)
                if trial_cost <= cost:
                    break
            damping = max(damping, 1e-6) * 8
        else:
            if narrowing:
                continue
            break
        x, blocks, cost, damping = trial, trial_blocks, trial_cost, damping / 6
        if done >= 2 and cost > give_up:
            break
    return RobustFit(x, cost, tuple(spread))


@dataclass(frozen=True)
class ResidualNoise:
    """What the points' residuals are like, section by section.

    Attributes
    ----------
    models : the whitening model.
    weights : (N,) robust weights.
    scales : robust standard deviation of the residuals divided by their stated sigma.
    """

    models: tuple[NoiseModel, ...]
    weights: tuple[Array, ...]
    scales: tuple[float, ...]


def noise_at(equations: Equations, x: Array) -> ResidualNoise:
    """Model each section's residuals at a fit."""
    blocks = [equations.points_block(x, k) for k in range(len(equations.sections))]
    scales = [_spread(block.residual) for block in blocks]
    weights = _weights(blocks, scales, len(equations.shape.names))
    own = len(equations.shape.names) + 3  # shape and pose: what the section itself determines
    models = [
        estimate_noise(
            block.residual * measured.noise,
            measured.noise,
            measured.breaks,
            weight,
            block.jacobian[:, :own] * measured.noise[:, None],
        )
        for block, measured, weight in zip(blocks, equations.sections, weights, strict=True)
    ]
    stated = [stated_slow(measured.section) for measured in equations.sections]
    models = [m.drawn_to(slow) if slow else m for m, slow in zip(models, stated, strict=True)]
    return ResidualNoise(tuple(models), tuple(weights), tuple(scales))


def stated_slow(section: Section) -> float:
    """Variance per point of slow waves of noise that falls off over a length; 0: none is stated."""
    if not section.correlation_mm > 0:
        return 0.0
    step = np.linalg.norm(np.diff(section.points, axis=0), axis=1)
    return 1 / math.tanh(float(np.median(step)) / section.correlation_mm / 2)


def _weights(blocks: Sequence[Block], scales: Sequence[float], count: int) -> list[Array]:
    """Weights 1 and 0 of every section's points; the first `count` columns are the shape's.

    Hard weights: those of an M-estimator would need its own, larger, covariance. A stretch that
    alone determines a parameter contradicts nothing: where too little is left of any, the section
    keeps all but its gross outliers, and what the fit has left behind counts as its noise.
    """
    scaled = [block.residual / scale for block, scale in zip(blocks, scales, strict=True)]
    weights = [belonging(z) for z in scaled]
    reach = [block.jacobian[:, :count] ** 2 for block in blocks]
    known = sum(r.sum(axis=0) for r in reach)
    left = sum(w @ r for w, r in zip(weights, reach, strict=True))
    lost = left < ALONE * known
    if lost.any():
        for weight, z, r in zip(weights, scaled, reach, strict=True):
            if (r[:, lost].sum(axis=0) > ALONE * known[lost]).any():
                weight[np.abs(z) < GROSS] = 1.0
    return weights


@dataclass(frozen=True)
class WhitenedFit:
    """A least-squares fit with its normal equations kept group by group.

    Attributes
    ----------
    x : the unknowns.
    sections, readings : normal equations of each group, at `x`.
    prior : that of the shared errors.
    """

    x: Array
    sections: tuple[Normals, ...]
    readings: tuple[Normals, ...]
    prior: Normals

    @property
    def total(self) -> Normals:
        total = self.prior
        for group in (*self.sections, *self.readings):
            total += group
        return total

    @property
    def covariance(self) -> Array:
        return inverse(self.total.matrix)

    def moved(self, step: Array) -> "WhitenedFit":
        """The fit after a step that leaves the linear equations valid."""
        return WhitenedFit(
            self.x + step,
            tuple(group.moved(step) for group in self.sections),
            tuple(group.moved(step) for group in self.readings),
            self.prior.moved(step),
        )


def whitened_fit(
    equations: Equations,
    x: Array,
    noise: ResidualNoise,
    *,
    factors: Sequence[float] | None = None,
    trust: float = 0.1,
    rounds: int = 8,
) -> WhitenedFit:
    """Gauss-Newton on whitened residuals, weights and noise held.

    Parameters
    ----------
    factors : what each section's information is multiplied with.
    trust : a last step that is to lower the sum of squares by less than this is taken on the word
        of the linear equations: in standard uncertainties it is below the root of it.
    """
    low, high = bounds(equations)
    information = [1.0] * len(equations.sections) if factors is None else factors
    fit = linearised(equations, x, noise, information)
    for _ in range(rounds):
        total = fit.total
        step = solve(total.matrix, -total.gradient)
        wanted = fit.x + step
        trial = np.clip(wanted, low, high)
        inside = np.array_equal(trial, wanted) and reasonable(equations, trial)
        if inside and -float(step @ total.gradient) < trust:
            return fit.moved(step)
        scale = 1.0
        while scale > 1e-3:
            trial = np.clip(fit.x + scale * step, low, high)
            if reasonable(equations, trial):
                nearer = linearised(equations, trial, noise, information)
                if nearer.total.square <= total.square:
                    break
            scale /= 4
        else:
            break
        settled = total.square - nearer.total.square < trust / 10
        fit = nearer
        if settled:
            break
    return fit


def linearised(
    equations: Equations, x: Array, noise: ResidualNoise, factors: Sequence[float]
) -> WhitenedFit:
    """Normal equations of every group at `x`."""
    sections = []
    for k, measured in enumerate(equations.sections):
        block = equations.points_block(x, k)
        rows = whitened(block, noise.models[k], measured.breaks, noise.weights[k])
        sections.append(normals_of(rows, equations.size).times(factors[k]))
    readings = [
        normals_of(equations.reading_block(x, i), equations.size)
        for i in range(len(equations.rows))
    ]
    return WhitenedFit(x, tuple(sections), tuple(readings), prior_normals(equations, x))


def solve(matrix: Array, right: Array, damping: float = 0.0) -> Array:
    """Solve normal equations scaled to a unit diagonal, what is undetermined held."""
    diagonal = np.diagonal(matrix) + HOLD
    scale = 1 / np.sqrt(diagonal)
    scaled = (matrix + np.diag(np.full(len(matrix), HOLD) + damping * diagonal)) * np.outer(
        scale, scale
    )
    solution: Array = np.linalg.solve(_regular(scaled), right * scale) * scale
    return solution


def inverse(matrix: Array) -> Array:
    """Covariance of the unknowns; what is undetermined gets a metre."""
    scale = 1 / np.sqrt(np.diagonal(matrix) + HOLD)
    scaled = (matrix + HOLD * np.eye(len(matrix))) * np.outer(scale, scale)
    result: Array = np.linalg.inv(_regular(scaled)) * np.outer(scale, scale)
    return (result + result.T) / 2


def _regular(scaled: Array) -> Array:
    """A matrix of unit diagonal made regular by what its entries are rounded to.

    Where two unknowns that points tell well stand for each other, `HOLD` is lost in the rounding.
    """
    regular: Array = scaled + len(scaled) * np.finfo(float).eps * np.eye(len(scaled))
    return regular


def bounds(equations: Equations) -> tuple[Array, Array]:
    """Limits of the unknowns: those of the corner families where one parameter is one of theirs."""
    shape = equations.shape
    low, high = np.full(equations.size, -np.inf), np.full(equations.size, np.inf)
    for k, corner in enumerate(shape.corners):
        rows = shape.corner_rows(k)
        for row, (least, most) in zip(range(rows.start, rows.stop), corner.bounds, strict=True):
            tied = np.flatnonzero(shape.ties[row])
            if len(tied) == 1 and shape.ties[row, tied[0]] == 1:
                low[tied[0]], high[tied[0]] = least, most
    return low, high


def reasonable(equations: Equations, x: Array) -> bool:
    """Whether the sides are longer than what their corners take of them."""
    shape = equations.shape
    params = x[: len(shape.names)]
    feet = shape.inner(params)[: shape.sides]
    if not np.all(np.isfinite(x)) or np.any(feet <= 0):
        return False
    reaches = shape.reaches(params)
    lengths = shape.side_lengths(params)
    for k in range(shape.sides):
        if reaches[k - 1][1] > 0.52 * lengths[k] or reaches[k][0] > 0.52 * lengths[k]:
            return False
    return True


def cauchy_cost(z: Array) -> float:
    """Cauchy's loss of residuals in standard deviations."""
    return CAUCHY**2 / 2 * float(np.sum(np.log1p((z / CAUCHY) ** 2)))


def _wide_spread(scaled: Array) -> float:
    """Standard deviation by the 95 % quantile: wide where a part of the points lies far off."""
    return float(np.quantile(np.abs(scaled), 0.95)) / 1.96


def _spread(scaled: Array) -> float:
    return max(robust_scale(scaled), 1e-6)


def _cost(
    equations: Equations, x: Array, blocks: Sequence[Block], scales: Sequence[float]
) -> float:
    cost = prior_normals(equations, x).square / 2
    for block, scale in zip(blocks, scales, strict=True):
        cost += cauchy_cost(block.residual / scale)
    for i in range(len(equations.rows)):
        cost += float(equations.reading_block(x, i).residual[0] ** 2) / 2
    return cost
