"""Noise along a contour: robust weights, an autoregressive model, whitening.

Edge noise is correlated along the contour (blur, paper, lighting). Ignoring it makes intervals
several times too short. Residuals are averaged over blocks shorter than the correlation, which
keeps the model well-conditioned for smooth noise, and the block means get an autoregressive
model. A whitened row has unit variance and is uncorrelated with the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Starts = tuple[NDArray[np.intp], NDArray[np.bool_]]

MAX_ORDER = 6
CAUCHY, BIWEIGHT = 2.385, 4.685  # 95 % efficient on normal residuals (Holland, Welsch 1977)


@dataclass(frozen=True)
class NoiseModel:
    """The noise of scaled residuals (residual / sigma) of one fit.

    Attributes
    ----------
    scale : standard deviation of one scaled residual; 1 where the sigmas are right.
    block : points averaged into one row.
    predictors : for order 0, 1, ..., p the coefficients that predict a block mean from the last.
    deviations : (p + 1,) standard deviation of each prediction's error.
    effective : how many independent points the data are worth.
    dof : degrees of freedom of the variances that the model states.
    """

    scale: float
    block: int
    predictors: tuple[Array, ...]
    deviations: Array
    effective: float
    dof: float

    @property
    def order(self) -> int:
        return len(self.predictors) - 1

    def quantile(self, confidence: float = 0.95) -> float:
        """Student's t quantile, two-sided: U95 = quantile() * u."""
        from scipy.special import stdtrit

        return float(stdtrit(self.dof, 0.5 + confidence / 2))


def robust_scale(z: Array) -> float:
    """Standard deviation by the median absolute value about zero, for normal noise."""
    return float(np.median(np.abs(z))) / 0.6744897501960817


def cauchy_weights(z: Array) -> Array:
    """Weights of scaled residuals that never let go: convex enough to start from."""
    weights: Array = 1 / (1 + (z / CAUCHY) ** 2)
    return weights


def biweights(z: Array) -> Array:
    """Tukey's biweight: zero beyond 4.685 standard deviations."""
    weights: Array = np.maximum(1 - (z / BIWEIGHT) ** 2, 0.0) ** 2
    return weights


def estimate_noise(
    residuals: Array,
    sigma: Array,
    breaks: Sequence[int] = (),
    weights: Array | None = None,
    design: Array | None = None,
) -> NoiseModel:
    """Model the noise of a least-squares fit's residuals.

    Parameters
    ----------
    residuals : (N,) mm, in order along the contour.
    sigma : (N,) mm, stated standard uncertainties; only their ratios matter.
    breaks : indices where a gap lies before the point, ascending.
    weights : (N,) robust weights between 0 and 1.
    design : (N, K) derivatives of the residuals by the fitted parameters; with it the model
        is freed of the bias from the fit having taken K parameters out of the noise.
    """
    z = residuals / sigma
    w = np.ones(len(z)) if weights is None else weights
    block = _block_length(z, w, breaks)
    starts, first = _blocks(len(z), breaks, block)
    means, first = _averages(z[:, None], w, starts, first, block)
    n = len(means)
    grid = np.arange(n) + MAX_ORDER * np.cumsum(first)  # runs apart, so that no lag crosses a gap
    series = np.zeros(grid[-1] + 1)
    series[grid] = means[:, 0]
    taken = 0
    basis = None
    if design is not None:
        rows, _ = _averages(design / sigma[:, None], w, *_blocks(len(z), breaks, block), block)
        basis = np.zeros((len(series), design.shape[1]))
        basis[grid] = np.linalg.qr(rows)[0]
        taken = design.shape[1]
    highest = max(0, min(MAX_ORDER, (n - taken) // 8))
    mask = np.zeros(len(series))
    mask[grid] = 1
    gamma = _autocovariance(series, mask, basis, highest)
    predictors, deviations, order = _levinson(gamma, n - taken)
    predictors, deviations = predictors[: order + 1], deviations[: order + 1]
    persistence = 1 - float(predictors[-1].sum())
    long_run = deviations[-1] ** 2 / persistence**2
    scale2 = float(np.sum(w * z * z) / max(np.sum(w) * (1 - taken / len(z)), 1e-300))
    effective = n * gamma[0] / long_run
    # Relative variance of the estimated long-run variance (delta method on the coefficients).
    spread = 2 / max(n - taken, 1)
    if order:
        lag = np.abs(np.subtract.outer(np.arange(order), np.arange(order)))
        ones = np.ones(order)
        spread += 4 * long_run / n * float(ones @ np.linalg.solve(gamma[lag], ones))
    dof = max(2 / spread, 1.0)
    return NoiseModel(
        float(np.sqrt(scale2)), block, predictors, deviations, float(min(effective, n)), dof
    )


def whiten(
    model: NoiseModel,
    rows: Array,
    breaks: Sequence[int] = (),
    weights: Array | None = None,
) -> Array:
    """Whitened block means of rows that are scaled by 1 / sigma.

    Parameters
    ----------
    rows : (N,) residuals or (N, K) derivatives, both divided by the points' sigma.
    breaks : as for `estimate_noise`.
    weights : (N,) robust weights; a block that lost half of them counts as a gap.

    Returns
    -------
    (M,) or (M, K) with M about N / block; each row of unit variance under the model.
    """
    flat = rows[:, None] if rows.ndim == 1 else rows
    starts, first = _blocks(len(flat), breaks, model.block)
    w = np.ones(len(flat)) if weights is None else weights
    x, first = _averages(flat, w, starts, first, model.block)
    n = len(x)
    index = np.arange(n)
    since = index - np.maximum.accumulate(np.where(first, index, 0))  # rows since the run began
    order = model.order
    out = np.empty_like(x)
    out[order:] = _predicted(x, model.predictors[order], order) / model.deviations[order]
    for p in range(order):  # exact treatment of each run's first rows: lower orders
        k = np.flatnonzero(since == p)
        error = x[k] - sum(c * x[k - 1 - j] for j, c in enumerate(model.predictors[p]))
        out[k] = error / model.deviations[p]
    return out[:, 0] if rows.ndim == 1 else out


def _predicted(x: Array, coefficients: Array, order: int) -> Array:
    error = x[order:].copy()
    for j, c in enumerate(coefficients):
        error -= c * x[order - 1 - j : len(x) - 1 - j]
    return error


def _block_length(z: Array, w: Array, breaks: Sequence[int]) -> int:
    """Half to all of the distance over which the correlation falls to one half."""
    u = z * w
    total = float(u @ u)
    block = 1
    while block < len(z) // 32:
        product, weight = u[block:] * u[:-block], w[block:] * w[:-block]
        for b in breaks:
            product[max(b - block, 0) : b] = 0
            weight[max(b - block, 0) : b] = 0
        if product.sum() * np.sum(w * w) <= 0.5 * total * weight.sum():
            break
        block *= 2
    return max(1, block // 2)


def _blocks(
    n: int, breaks: Sequence[int], block: int
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Starts of blocks of nearly equal length in every run, and which of them begin a run."""
    edges = [0, *breaks, n]
    starts, first = [], []
    for a, b in pairwise(edges):
        count = max(1, round((b - a) / block))
        starts.append(a + (np.arange(count) * (b - a)) // count)
        begin = np.zeros(count, dtype=bool)
        begin[0] = True
        first.append(begin)
    return np.concatenate(starts), np.concatenate(first)


def _averages(
    rows: Array, w: Array, starts: NDArray[np.intp], first: NDArray[np.bool_], block: int
) -> tuple[Array, NDArray[np.bool_]]:
    """Weighted block means, without the blocks that lost half their weight; which begin a run."""
    sums = np.add.reduceat(rows * w[:, None], starts, axis=0)
    mass = np.add.reduceat(w, starts)
    size = np.diff(starts, append=len(rows))
    seen = mass >= 0.5 * size
    if seen.all():
        return sums / mass[:, None], first
    gap = first | np.concatenate([[True], ~seen[:-1]])
    return sums[seen] / mass[seen][:, None], gap[seen]


def _autocovariance(series: Array, mask: Array, basis: Array | None, highest: int) -> Array:
    """Autocovariances at lags 0 to `highest`, corrected for what the fit took out.

    The fit's residuals are M e with M = I - Q Q'; their expected lag sums under a model are
    compared with the model's own, and the difference added until the two agree.
    """
    n = float(mask.sum())
    length = 1 << int(2 * len(series) - 1).bit_length()

    def lags(spectrum: NDArray[Any]) -> Array:
        out: Array = np.fft.irfft(spectrum, length)[: highest + 1]
        return out

    seen = lags(np.abs(np.fft.rfft(series, length)) ** 2) / n
    if basis is None:
        return seen
    pairs = lags(np.abs(np.fft.rfft(mask, length)) ** 2) / n
    transformed = np.fft.rfft(basis, length, axis=0)
    gamma = seen / np.maximum(pairs, 0.5)
    for _ in range(2):
        predictors, deviations, order = _levinson(gamma, n - basis.shape[1])
        filter_ = np.concatenate([[1.0], -predictors[order]])
        spectrum = deviations[order] ** 2 / np.abs(np.fft.rfft(filter_, length)) ** 2
        own = lags(spectrum.astype(complex))
        moved = np.fft.irfft(spectrum[:, None] * transformed, length, axis=0)[: len(series)]
        moved *= mask[:, None]
        inner = basis.T @ moved
        moved -= basis @ (inner / 2)  # the H S H term, shared between the two crossed ones
        crossed = np.sum(np.conj(transformed) * np.fft.rfft(moved, length, axis=0), axis=1)
        expected = own * pairs - 2 * lags(crossed.real.astype(complex)) / n
        gamma = seen + own - expected
        gamma[0] = max(gamma[0], 0.5 * seen[0], 1e-300)
    return gamma


def _levinson(gamma: Array, n: float) -> tuple[tuple[Array, ...], Array, int]:
    """Predictors of every order by Levinson's recursion and the order that AICc prefers.

    Reflection coefficients are kept inside the unit circle, so no model is non-stationary.
    """
    limit = 1 - 1 / max(n, 2.0)
    predictors = [np.empty(0)]
    variances = [max(float(gamma[0]), 1e-300)]
    for p in range(1, len(gamma)):
        last = predictors[-1]
        reflection = (gamma[p] - float(last @ gamma[p - 1 : 0 : -1])) / variances[-1]
        reflection = min(max(reflection, -limit), limit)
        predictors.append(np.append(last - reflection * last[::-1], reflection))
        variances.append(variances[-1] * (1 - reflection**2))
    orders = np.arange(len(variances))
    penalty = 2 * (orders + 1) * n / np.maximum(n - orders - 2, 1)
    order = int(np.argmin(n * np.log(variances) + penalty))
    return tuple(predictors), np.sqrt(variances), order
