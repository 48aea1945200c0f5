"""Expectation propagation for a few normal unknowns seen through sides, values and slips.

An observation is a sum of unknowns plus an offset with normal noise; either its sign was seen, or
its value was. With a small probability it carries no information.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SWEEPS = 60
_SETTLED = 1e-7
_WIDE = 0.5  # mm; standard deviation of a value without information
_LEAST = 1e-9  # precision of a site without information
_DAMPING = 0.8


@dataclass(frozen=True)
class Sites:
    """The observations.

    Attributes
    ----------
    rows : (N, D) weights of the unknowns.
    offset : (N,) added to their sum.
    noise : (N,) standard deviation.
    value : (N,) what was seen; NaN where only the sum being above zero was.
    cut : the cut that each belongs to.
    slip : probability that one carries no information.
    """

    rows: Floats
    offset: Floats
    noise: Floats
    value: Floats
    cut: tuple[int, ...]
    slip: float

    @property
    def measured(self) -> NDArray[np.bool_]:
        return np.isfinite(self.value)


@dataclass(frozen=True)
class Posterior:
    """Mean and covariance of the unknowns; per observation how likely it is right, and its
    residual in units of its noise (NaN where no value was seen).
    """

    mean: Floats
    covariance: Floats
    right: Floats
    residual: Floats

    def scatter(self, measured: NDArray[np.bool_]) -> float:
        """The Birge ratio of the measured values, weighed by how likely each is right."""
        weight, residual = self.right[measured], self.residual[measured]
        count = float(weight.sum())
        if count < 2:
            return 1.0
        return math.sqrt(float(weight @ residual**2) / (count - 1))


def posterior(sites: Sites, prior_u: Floats, prior_mean: Floats) -> Posterior:
    """Moments of the unknowns' posterior; they do not depend on the order of the observations."""
    count = len(sites.rows)
    precision, shift, right = np.full(count, _LEAST), np.zeros(count), np.ones(count)

    def solved() -> tuple[Floats, Floats]:
        known = np.diag(prior_u**-2) + (sites.rows.T * precision) @ sites.rows
        covariance = np.asarray(np.linalg.inv(known), dtype=np.float64)
        start = prior_mean / prior_u**2
        return covariance @ (start + sites.rows.T @ shift), covariance

    mean, covariance = solved()
    for sweep in range(_SWEEPS):
        before = mean
        step = 1.0 if sweep == 0 else _DAMPING
        for i in range(count):
            row = sites.rows[i]
            spread = float(row @ covariance @ row)
            # Take this observation out, put it back exactly, keep the first two moments.
            rest = 1 / max(1 / spread - precision[i], 1e-6)
            rest_mean = rest * (float(row @ mean) / spread - shift[i])
            slope, bend, right[i] = _moments(sites, i, rest_mean + sites.offset[i], rest)
            new_spread = max(rest + rest * rest * bend, 1e-12)
            new_mean = rest_mean + rest * slope
            wanted = max(1 / new_spread - 1 / rest, _LEAST)
            new_shift = (wanted + 1 / rest) * new_mean - rest_mean / rest
            change = step * (wanted - precision[i])
            precision[i] += change
            shift[i] += step * (new_shift - shift[i])
            across = covariance @ row
            covariance = covariance - np.outer(across, across) * (change / (1 + change * spread))
            mean = covariance @ (prior_mean / prior_u**2 + sites.rows.T @ shift)
        mean, covariance = solved()
        if np.abs(mean - before).max(initial=0.0) < _SETTLED:
            break
    with np.errstate(invalid="ignore"):
        residual = (sites.value - sites.offset - sites.rows @ mean) / sites.noise
    return Posterior(mean, covariance, right, residual)


def _moments(sites: Sites, i: int, mean: float, spread: float) -> tuple[float, float, float]:
    """Derivatives of log Z by the mean, first and second, and the probability of being right."""
    wide = spread + sites.noise[i] ** 2
    value = float(sites.value[i])
    if math.isfinite(value):
        off = value - mean
        own = (1 - sites.slip) * _density(off, wide)
        total = own + sites.slip * _density(value, _WIDE**2)
        right = own / max(total, 1e-300)
        slope = right * off / wide
        return slope, -right / wide + right * (1 - right) * (off / wide) ** 2, right
    size = math.sqrt(wide)
    z = mean / size
    above = (1 - sites.slip) * math.erfc(-z / math.sqrt(2)) / 2
    total = above + sites.slip / 2
    slope = (1 - sites.slip) * _density(z, 1.0) / (size * total)
    return slope, -z / size * slope - slope * slope, above / total


def _density(x: float, variance: float) -> float:
    return math.exp(-x * x / (2 * variance)) / math.sqrt(2 * math.pi * variance)
