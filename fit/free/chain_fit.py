"""Geometric least squares of a whole chain at once, closure held exactly, with covariance.

Minimises the sum of squared orthogonal distances over their variances. Gauss-Newton steps in the
null space of the closure conditions, damped after Levenberg and Marquardt.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from snugline.fit.free.chain_moves import part
from snugline.fit.geometry.arc_chain import Array, Chain, Feet, closure, drop, jacobian, point_at

_LARGEST_BEND = 0.5  # rad that one step may add to a segment's sweep


@dataclass(frozen=True)
class ChainFit:
    """A chain and how the points lie about it.

    Attributes
    ----------
    residuals : (N,) mm, distances of the points, positive to the left.
    sigma : (N,) mm, what they were weighted by.
    chi2 : sum of squared residuals over sigma.
    converged : whether the last step was within a millionth of the parameters' uncertainties.
    """

    chain: Chain
    feet: Feet
    sigma: Array
    chi2: float
    converged: bool

    @property
    def residuals(self) -> Array:
        return self.feet.distance


def refine(
    chain: Chain, points: Array, sigma: Array, steps: int = 30, hopeless: float = math.inf
) -> ChainFit:
    """The chain of the same kind that fits the points (N, 2) best.

    Parameters
    ----------
    sigma : (N,) mm; weights are 1 / sigma^2.
    steps : most steps taken; a search that compares chains needs few.
    hopeless : stop once chi-square is not expected to fall below this.
    """
    chain = close(chain, np.ones(len(chain.values())))
    feet = drop(chain, points)
    cost = _chi2(feet, sigma)
    damping, converged = 1e-3, False
    for count in range(steps):
        step, scale, predicted = _step(chain, feet, sigma, damping)
        converged = predicted < 1e-7 * (1.0 + cost)
        if count > 2 and cost - predicted > hopeless:
            break
        trial = close(chain.with_values(chain.values() + step * _reach(chain, step)), scale)
        trial_feet = drop(trial, points, near=feet.segment)
        trial_cost = _chi2(trial_feet, sigma)
        if trial_cost <= cost * (1 + 1e-12):
            chain, feet, cost = trial, trial_feet, trial_cost
            damping = max(damping / 10, 1e-12)
            if converged:
                break
        elif converged or damping > 1e6:
            break
        else:
            damping = max(damping * 10, 1e-6)
    if not chain.closed:
        chain, feet = _cut_to(chain, feet)
    return ChainFit(chain, feet, sigma, cost, converged)


def _cut_to(chain: Chain, feet: Feet) -> tuple[Chain, Feet]:
    """An open chain less what lies before its first and after its last point: nothing shows it."""
    first, last = int(feet.segment.min()), int(feet.segment.max())
    if (first, last) != (0, len(chain) - 1):
        chain = part(chain, first, last + 1)
        feet = replace(feet, segment=feet.segment - first)
    lengths = chain.lengths.copy()
    lengths[-1] = feet.along[feet.segment == len(chain) - 1].max()
    before = float(feet.along[feet.segment == 0].min())
    if not before < lengths[0] or not lengths[-1] > 0:
        return chain, feet
    lengths[0] -= before
    start = point_at(chain, np.array([0]), np.array([before]))[0]
    cut = replace(
        chain,
        start=(float(start[0]), float(start[1])),
        heading=chain.heading + before * float(chain.curvatures[0]),
        lengths=lengths,
    )
    along = np.where(feet.segment == 0, feet.along - before, feet.along)
    return cut, replace(feet, along=along)


def close(chain: Chain, scale: Array) -> Chain:
    """The nearest chain that closes, near being measured with the parameters times `scale`."""
    if not chain.closed:
        return chain
    for _ in range(12):
        gap, rows = closure(chain)
        if float(np.abs(gap).max()) < 1e-13:
            break
        step = -(np.linalg.pinv(rows / scale, rcond=1e-12) @ gap) / scale
        chain = chain.with_values(chain.values() + step * _reach(chain, step))
    return chain


def covariance(chain: Chain, feet: Feet, sigma: Array) -> Array:
    """Covariance of the parameters for independent errors `sigma`, closure held, (M, M)."""
    design = jacobian(chain, feet) / sigma[:, None]
    scale = _scale(design)
    basis = null_space(chain, scale)
    _, s, vt = np.linalg.svd((design / scale) @ basis, full_matrices=False)
    keep = s > s[0] * 1e-11
    half = basis @ (vt[keep].T / s[keep]) / scale[:, None]
    whole: Array = half @ half.T
    return whole


def _chi2(feet: Feet, sigma: Array) -> float:
    return float(np.sum((feet.distance / sigma) ** 2))


def _step(chain: Chain, feet: Feet, sigma: Array, damping: float) -> tuple[Array, Array, float]:
    """The damped step, the parameters' scale, and the chi-square that the undamped model saves."""
    design = jacobian(chain, feet) / sigma[:, None]
    scale = _scale(design)
    design /= scale
    normal, slope = design.T @ design, design.T @ (feet.distance / sigma)
    basis = null_space(chain, scale)
    normal, slope = basis.T @ normal @ basis, basis.T @ slope
    normal[np.diag_indices_from(normal)] *= 1 + damping
    normal[np.diag_indices_from(normal)] += 1e-13 * np.trace(normal) + 1e-300
    move = -np.linalg.solve(normal, slope)
    return basis @ move / scale, scale, float(-move @ slope)


def _scale(design: Array) -> Array:
    scale: Array = np.linalg.norm(design, axis=0)
    # No point feels the length of a last line; only the closure does, and it counts as a shift.
    scale[scale < 1e-9 * scale.max()] = np.hypot(scale[0], scale[1])
    return scale


def null_space(chain: Chain, scale: Array) -> Array:
    """Directions of the parameters times `scale` that keep a closed chain closed, (M, .).

    Of an open one, those that leave its ends where they are along the edge: no point tells where
    they are, and a last arc that is all but straight would run on for metres.
    """
    if not chain.closed:
        held = np.eye(len(scale))
        across = np.array([-math.sin(chain.heading), math.cos(chain.heading)]) * scale[:2]
        held[:2, 1] = across / np.linalg.norm(across)
        return np.delete(held, [0, 2 + len(chain)], axis=1)
    rows = closure(chain)[1] / scale
    rows = rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-300)
    _, s, vt = np.linalg.svd(rows)
    basis: Array = vt[int((s > 1e-9).sum()) :].T
    return basis


def _reach(chain: Chain, step: Array) -> float:
    """The share of a step that keeps lengths positive and sweeps tame."""
    k = len(chain)
    shrink = -step[3 : 3 + k] / (0.7 * chain.lengths)
    bend = np.zeros(k)
    bend[~chain.straight] = step[3 + k : 3 + k + int((~chain.straight).sum())]
    bend = np.abs(bend) / _LARGEST_BEND
    return 1.0 / max(1.0, float(shrink.max()), float(bend.max()))
