"""Noise along a contour: robust weights, a whitening model and how far to trust it.

Edge noise is correlated along the contour (blur, paper, lighting); intervals that ignore it are
several times too short. Here residuals are averaged over blocks about as long as the distance
over which they stay alike, and the block means follow an autoregressive model of order one, exact
across gaps. Higher orders were tried, chosen by AICc or BIC: on smooth noise they are
ill-conditioned, and their intervals held 85 to 92 % of the time instead of 95 %.

The model's level is then set to what the slowest waves of the whitened residuals show (projections
on cosines: Mueller 2007, J. Econometrics 141; Lazarus et al. 2018, J. Bus. Econ. Stat. 36), as a
radius feels slow waves and no others. This holds for any kernel, and gives the degrees of freedom.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

ENOUGH = 2048  # blocks that lose nothing of a part's shape
ALIKE = 0.55  # blocks grow while neighbouring means correlate by more than this
LEAST = 0.05  # sigmas: points nearer than that are never outliers to each other
CUT = 3.5  # robust standard deviations of one point
WIDTH, SURE, RAISED = 16, 5.0, 1.5  # points averaged; deviations that make and that bound a stretch
DECAY = 0.3  # share of the two-step decay in the persistence
# What a contour states of its noise is known as well as this many residuals would tell it: over
# photos the ratio of found to stated spreads by a factor of 1.4 (40 scenes of
# benchmarks/unseen_kinds.py, seed 7000), and 1 / (2 x 0.35^2) is 4.
STATED_DOF = 4.0
CAUCHY, BIWEIGHT = 2.385, 4.685  # 95 % efficient on normal residuals (Holland, Welsch 1977)


@dataclass(frozen=True)
class NoiseModel:
    """The noise of scaled residuals (residual / sigma) of one fit.

    Attributes
    ----------
    scale : standard deviation of one scaled residual; 1 where the sigmas are right.
    block : points averaged into one row.
    persistence : correlation of neighbouring block means, below 1.
    deviation : standard deviation of a block mean.
    effective : how many independent points the data are worth.
    dof : degrees of freedom of the variances that the model states.
    """

    scale: float
    block: int
    persistence: float
    deviation: float
    effective: float
    dof: float

    @property
    def slow(self) -> float:
        """Variance per scaled residual of the slow waves: what an average over many feels."""
        ratio = (1 + self.persistence) / (1 - self.persistence)
        return self.deviation**2 * ratio * self.block

    def drawn_to(self, stated: float) -> "NoiseModel":
        """With its slow waves drawn towards a stated variance, by the degrees of freedom of both.

        The inverse of the posterior mean of the precision under a scaled inverse chi-squared prior
        (Gelman et al., Bayesian Data Analysis, 2.6; from memory). Residuals show only what the
        shape does not follow; what hangs together over a corner passes into its radius.
        """
        dof = STATED_DOF + self.dof
        level = (STATED_DOF * stated + self.dof * self.slow) / dof
        deviation = self.deviation * math.sqrt(level / self.slow) if self.slow > 0 else 0.0
        return replace(self, deviation=deviation, dof=dof)

    def quantile(self, confidence: float = 0.95) -> float:
        """Student's t quantile, two-sided: U95 = quantile() * u."""
        from scipy.special import stdtrit

        return float(stdtrit(self.dof, 0.5 + confidence / 2))


def robust_scale(z: Array) -> float:
    """Standard deviation of normal residuals by their median absolute value about zero."""
    k = len(z) // 2
    return float(np.partition(np.abs(z), k)[k]) / 0.6744897501960817


def cauchy_weights(z: Array) -> Array:
    """Weights of residuals in standard deviations; nothing is ever quite let go."""
    return 1 / (1 + (z / CAUCHY) ** 2)


def biweights(z: Array) -> Array:
    """Tukey's biweight of residuals in standard deviations; zero beyond 4.685."""
    inside = np.maximum(1 - (z / BIWEIGHT) ** 2, 0.0)
    return inside * inside


def belonging(z: Array) -> Array:
    """Weights 1 for residuals that belong and 0 for outliers, single ones and stretches.

    A hard cut at 3.5 robust standard deviations costs 0.7 % of efficiency on clean normal noise. A
    shadow or a burr is cut with its flanks, as far as the average over neighbours is raised.
    """
    limit = CUT * max(robust_scale(z), LEAST)
    far = np.abs(z) > limit
    if len(z) >= 8 * WIDTH:
        total = np.cumsum(np.concatenate([[0.0], np.clip(z, -limit, limit)]))
        sums = np.abs(total[WIDTH:] - total[:-WIDTH])
        scale = max(robust_scale(sums), LEAST * WIDTH)
        count = np.cumsum(np.concatenate([[0], far]))
        sure = 2 * (count[WIDTH:] - count[:-WIDTH]) >= WIDTH
        raised = np.pad(
            sure | (sums > RAISED * scale), (WIDTH // 2, WIDTH - WIDTH // 2 - 1), "edge"
        )
        sure |= sums > SURE * scale
        if sure.any():
            change = np.diff(raised.astype(np.int8), prepend=0, append=0)
            start, end = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
            seeds = np.cumsum(np.concatenate([[0], np.pad(sure, (WIDTH // 2, WIDTH))]))
            cut = seeds[end] > seeds[start]
            stretch = np.zeros(len(z) + 1, dtype=np.int8)
            stretch[start[cut]], stretch[end[cut]] = 1, -1
            far |= np.cumsum(stretch[:-1]) > 0
    return (~far).astype(float)


def estimate_noise(
    residuals: Array,
    sigma: Array,
    breaks: Sequence[int] = (),
    weights: Array | None = None,
    design: Array | None = None,
    feature: float = math.inf,
) -> NoiseModel:
    """Model the noise of a least-squares fit's residuals.

    Parameters
    ----------
    residuals : (N,) mm, in order along the contour.
    sigma : (N,) mm, stated standard uncertainties; only their ratios matter.
    breaks : indices where a gap lies before the point, ascending.
    weights : (N,) robust weights between 0 and 1.
    design : (N, K) derivatives of the residuals by the fitted parameters. Give it: without it
        the model cannot allow for what the fit took out of the noise and underestimates it.
    feature : length in points of the finest shape to be judged; waves down to half of it count.
    """
    taken = 0 if design is None else design.shape[1]
    rows = np.empty((taken + 1, len(residuals)))
    if design is not None:
        np.divide(design.T, sigma, out=rows[:-1])
    np.divide(residuals, sigma, out=rows[-1])
    return estimate_scaled(rows, breaks, weights, feature)


def estimate_scaled(
    rows: Array,
    breaks: Sequence[int] = (),
    weights: Array | None = None,
    feature: float = math.inf,
) -> NoiseModel:
    """As `estimate_noise`, from rows (K + 1, N) divided by sigma, the residuals last."""
    return modelled(rows, breaks, weights, feature)[0]


def modelled(
    rows: Array,
    breaks: Sequence[int] = (),
    weights: Array | None = None,
    feature: float = math.inf,
) -> tuple[NoiseModel, Array]:
    """The model by `estimate_scaled`, and the rows as it whitens them, (K + 1, M)."""
    z, taken = rows[-1], len(rows) - 1
    square, mass = (z @ z, len(z)) if weights is None else (weights @ (z * z), weights.sum())
    scale = float(np.sqrt(square / max(mass, 1e-300)))
    block = _block_length(z if weights is None else z * np.sqrt(weights))
    means = _block_means(rows, breaks, block, weights)
    z = means.rows[-1]
    count = len(z)
    variance = float(z @ z) / max(count - taken, 1)
    if variance == 0:
        dof = float(max(count - taken, 1))
        return NoiseModel(scale, block, 0.0, 1e-12, float(count), dof), means.rows / 1e-12
    persistence = _persistence(z, means.steps, taken)
    white = _whitened(means, persistence)
    # The deviation is such that the slow waves of the whitened rows get variance 1.
    level, dof = _slow_level(white, math.ceil(4 * rows.shape[1] / feature))
    effective = count * (1 - persistence) / (1 + persistence) * variance / level
    effective = float(min(max(effective, 1.0), count))
    deviation = math.sqrt(level)
    white /= deviation
    return NoiseModel(scale, block, persistence, deviation, effective, dof), white


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
    weights : (N,) robust weights; a block that lost more than half of them is left out.

    Returns
    -------
    (M,) or (M, K) with M about N / block; rows of unit variance under the model. Residuals and
    derivatives whitened alike give the generalised least-squares fit.
    """
    flat = np.ascontiguousarray(np.atleast_2d(rows.T))
    white = _whitened(_block_means(flat, breaks, model.block, weights), model.persistence)
    white /= model.deviation
    return white[0] if rows.ndim == 1 else white.T


class _Means(NamedTuple):
    """Block means (K, M) and the blocks since the last seen one of the same run (0: its first)."""

    rows: Array
    steps: Indices


def _block_length(z: Array) -> int:
    """The longest block, by doubling, at which neighbouring means are still much alike."""
    best = block = max(1, len(z) // ENOUGH)
    if block > 1:
        z = z[: len(z) // block * block].reshape(-1, block).mean(axis=1)
    while len(z) >= 64:
        if float(z[1:] @ z[:-1]) > ALIKE * float(z @ z):
            best = block
        even = len(z) & ~1
        z = (z[:even:2] + z[1:even:2]) / 2
        block *= 2
    return best


def _lengths(start: Indices, end: int) -> Indices:
    lengths = np.empty_like(start)
    np.subtract(start[1:], start[:-1], out=lengths[:-1])
    lengths[-1] = end - start[-1]
    return lengths


def _block_means(rows: Array, breaks: Sequence[int], block: int, weights: Array | None) -> _Means:
    n = rows.shape[1]
    starts, numbers = [], []
    for a, b in pairwise([0, *breaks, n]):
        number = np.arange(max(1, round((b - a) / block)))
        starts.append(a + number * (b - a) // len(number))
        numbers.append(number)
    start, number = np.concatenate(starts), np.concatenate(numbers)
    steps = np.minimum(number, 1)
    size = _lengths(start, n)
    if weights is None:
        if len(start) == n:
            return _Means(rows, steps)
        return _Means(np.add.reduceat(rows, start, axis=1) / size, steps)
    mass = np.add.reduceat(weights, start)
    sums = np.add.reduceat(rows * weights, start, axis=1)
    seen = mass > 0.5 * size
    if not seen.any():
        seen = mass > 0
    if seen.all():
        return _Means(sums / mass, steps)
    place = np.flatnonzero(seen)
    run = np.cumsum(number == 0)[seen]
    steps = np.diff(place, prepend=place[:1])
    steps[1:][run[1:] != run[:-1]] = 0
    return _Means(sums[:, seen] / mass[seen], steps)


def _persistence(z: Array, steps: Indices, taken: int) -> float:
    """Correlation of neighbouring means, between what one step and what two steps show.

    Both are raised for what the fit took out of the slow waves: to first order a fit of K
    parameters lowers a correlation r by K (1 + r) / M if all its derivatives are slower than the
    noise; a corner's are not, and half of that is put back. Averaging over blocks raises the
    one-step correlation of exponential noise above the decay from the first to the second step;
    the one whitens too strongly, the other leaves slow waves. Both shares are by measured coverage
    and efficiency (benchmarks/intervals.py, benchmarks/corner_bounds.py).
    """
    one = steps == 1
    at = np.flatnonzero(one)
    if len(at) == 0:
        return 0.0
    own = float(z @ z) / len(z)
    lost = min(0.5 * taken / len(z), 0.5)

    def raised(products: Array) -> float:
        return (float(products.mean()) / own + lost) / (1 - lost)

    first = min(max(raised(z[at] * z[at - 1]), -0.5), 0.98)
    at = at[one[at - 1]]
    if first < 0.3 or len(at) == 0:
        return first
    decay = min(max(raised(z[at] * z[at - 2]) / first, 0.0), first)
    return first + DECAY * (decay - first)


def _whitened(means: _Means, persistence: float) -> Array:
    """Innovations of unit variance where block means have unit variance."""
    rows, steps = means
    if persistence == 0:
        return rows.copy()
    white = np.empty_like(rows)
    white[:, 0] = rows[:, 0]
    if np.count_nonzero(steps == 1) == len(steps) - 1:  # one run without holes
        np.multiply(rows[:, :-1], -persistence, out=white[:, 1:])
        white[:, 1:] += rows[:, 1:]
        white[:, 1:] *= 1 / np.sqrt(1 - persistence**2)
        return white
    carried = np.where(steps[1:] > 0, persistence ** np.maximum(steps[1:], 1), 0.0)
    white[:, 1:] = (rows[:, 1:] - carried * rows[:, :-1]) / np.sqrt(1 - carried**2)
    return white


@lru_cache(maxsize=64)
def _cosines(bins: int, waves: int) -> Array:
    """The slowest cosines, (bins, waves), orthonormal: the cosine transform of type 2."""
    at = np.arange(bins)[:, None] + 0.5
    cosines: Array = np.cos(np.pi / bins * at * np.arange(waves)) * math.sqrt(2 / bins)
    cosines[:, 0] /= math.sqrt(2)
    return cosines


def _slow_level(white: Array, at_least: int) -> tuple[float, float]:
    """Variance of whitened residuals by their slowest cosines, and its degrees of freedom.

    `white` holds the K whitened derivatives and, last, the residuals. What the fit takes out of
    each cosine is known exactly and put back. Bins carry the cosines as stairs, which keeps unit
    variance and saves time.
    """
    taken, count = len(white) - 1, white.shape[1]
    waves = int(min(max(count / 10, taken + 8), taken + 30))
    waves = min(max(waves, taken + at_least), count)
    bins = min(count, 1 << (4 * waves).bit_length())
    start = np.arange(bins) * count // bins
    coarse = np.add.reduceat(white, start, axis=1) / np.sqrt(_lengths(start, count))
    cosines = coarse @ _cosines(bins, waves)
    slow, dof = cosines[-1], float(waves)
    if taken:
        gram = white[:-1] @ white.T
        size = np.sqrt(np.maximum(gram.diagonal(), 1e-300))
        values, axes = np.linalg.eigh(gram[:, :-1] / size / size[:, None])
        sound = values > 1e-12 * values[-1]  # columns that repeat others take out nothing more
        basis = (axes[:, sound] / np.sqrt(values[sound])).T / size
        taken_out = basis @ cosines[:-1]
        slow = slow - (basis @ gram[:, -1]) @ taken_out
        dof -= float(np.sum(taken_out**2))
    dof = max(dof, 1.0)
    return float(slow @ slow) / dof, dof
