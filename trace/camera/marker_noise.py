"""The noise of marker edges, from their residuals, and which edges are rejected as outliers.

The points on one edge of a marker are off together too (paper that is not flat, a printer's steps,
what the lens model lacks): a variance component of its own, estimated from the edges' means, keeps
many points of one edge from counting as many independent observations.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.robust_scale import SIGMA_PER_MAD

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# What no model of lens and paper explains: no observation is assumed to be better than this.
_MODEL_FLOOR_PX = 0.01
# A marker of whose points more than the second share are off by more than the first, in limits of
# the weights, is off as a whole; where less than that weight is left, the model is off.
_OFF, _OFF_SHARE = 0.75, 0.3
_TUKEY = 4.685  # 95 % efficiency for normal residuals: Holland and Welsch 1977, from memory


@dataclass(frozen=True)
class Places:
    """How the N points of one photo are grouped.

    Attributes
    ----------
    sigma : (N,) px, each point's own.
    edge : (N,) which edge of a marker it lies on, counted from 0.
    marker : (N,) which marker.
    """

    sigma: Floats
    edge: Ints
    marker: Ints


def places_of(sigma: Floats, marker: Ints, outward: Floats) -> Places:
    """Group points by marker and by the side of it that `outward` (N, 2) points from."""
    # The quadrants' borders lie where no printed marker's side points.
    turn = np.arctan2(outward[:, 1], outward[:, 0]) + 0.4
    quadrant = np.floor(turn * 2 / np.pi).astype(np.int64) % 4
    edge = np.unique(marker * 4 + quadrant, return_inverse=True)[1]
    return Places(sigma, edge, np.unique(marker, return_inverse=True)[1])


@dataclass(frozen=True)
class MarkerNoise:
    """Noise of one photo besides each point's own sigma, px: of points alone, of whole edges."""

    place: float
    edge: float

    def precision(self, at: Places, weights: Floats) -> Floats:
        """(N,) px^-2 that a point counts with: the n points of an edge weigh as their mean does.

        n points of variance v + n b each have the weight of a mean of variance v / n + b.
        """
        count = np.bincount(at.edge)[at.edge]
        return weights / (at.sigma**2 + self.place**2 + count * self.edge**2)

    def spread(self, at: Places) -> Floats:
        """(N,) px, standard deviation of a point's residual."""
        return np.sqrt(at.sigma**2 + self.place**2 + self.edge**2)


def edge_freedom(at: Places, weights: Floats) -> float:
    """Degrees of freedom of the inlying edges: a shift each, and a turn where points allow it."""
    return float(np.minimum(np.bincount(at.edge[weights > 0]), 2).sum())


def found_noise(residuals: Floats, weights: Floats, at: Places, taken: float) -> MarkerNoise:
    """The two parts of a photo's noise, from its (N,) residuals.

    `taken` is the share of the edges' degrees of freedom that the adjusted unknowns absorb.
    """
    inlier = weights > 0
    r, edge = residuals[inlier], at.edge[inlier]
    own = float(np.mean(at.sigma[inlier] ** 2)) if inlier.any() else 0.0
    count = np.bincount(edge)
    seen = count > 0
    freedom = len(r) - int(seen.sum())
    if freedom <= 0.4 * len(r):  # hardly two points to an edge: the parts cannot be separated
        return MarkerNoise(_excess(robust_spread(r) ** 2 / (1 - taken) - own), 0.0)
    mean = np.bincount(edge, weights=r) / np.maximum(count, 1)
    alone = robust_spread(r - mean[edge]) ** 2 * len(r) / freedom
    between = robust_spread(mean[seen]) ** 2 / (1 - taken)
    shared = float(between - alone * np.mean(1 / count[seen]))
    return MarkerNoise(_excess(alone - own), float(np.sqrt(max(shared, 0.0))))


def _excess(variance: float) -> float:
    """Noise in px beyond the points' own sigma."""
    return float(np.sqrt(max(variance, _MODEL_FLOOR_PX**2)))


def robust_spread(residuals: Floats) -> float:
    """Robust standard deviation: the median absolute value, then the rms of what is near."""
    if len(residuals) == 0:
        return 1.0
    spread = SIGMA_PER_MAD * float(np.median(np.abs(residuals)))
    near = np.abs(residuals) < 3 * spread
    if near.sum() > 10:
        # Cutting at 3 sigma takes 1.3 % off the standard deviation.
        spread = max(spread * 0.5, float(np.sqrt(np.mean(residuals[near] ** 2))) * 1.013)
    return spread


def tukey_weights(residuals: Floats, noise: MarkerNoise, at: Places) -> Floats:
    """(N,) biweights; a marker most of whose points are off is rejected as a whole.

    So is a curled corner of the sheet, whose single edges may look good.
    """
    z = residuals / (_TUKEY * noise.spread(at))
    weights = np.where(np.abs(z) < 1, (1 - z * z) ** 2, 0.0)
    far = np.bincount(at.marker, weights=(np.abs(z) >= _OFF).astype(np.float64))
    bad = far > _OFF_SHARE * np.bincount(at.marker)
    weights[bad[at.marker]] = 0.0
    if weights.sum() < _OFF_SHARE * len(weights):
        # The model is off, not the markers: do not throw away the photo.
        return np.where(np.abs(z) < 3, 1 / (1 + z * z), 0.05)
    return weights
