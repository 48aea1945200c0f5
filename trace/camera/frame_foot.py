"""Where the background ends at the bottom edge of something that lies on it, seen from above.

Three things meet there in a few pixels: the background, darkened towards the bottom edge; the side,
where the camera sees it; the upper face. A single step fitted to that is off by the width of the
side. So the three are fitted together, with that width known from the thickness and a first pose.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

Floats = NDArray[np.float64]

_BLURS = np.geomspace(0.6, 2.4, 10)
_SHIFT_STEP = 0.2
# Shares of the contrast: the noise of a mean profile, and how much side and shading vary. They
# keep the fit from trading the luminance of the side for its position.
_NOISE, _WALL, _SHADE = 0.007, 0.12, 0.5
_LEAST_RMS = 0.003
# Length of a cast shadow, in thicknesses. A shorter one, of a lamp overhead, looks like a side.
_SHADOWS = (0.7, 0.85, 1.0, 1.2, 1.5, 2.0)
_PENUMBRAS = (0.08, 0.3)  # blur of its outline, in lengths: a lamp, a window


@dataclass(frozen=True)
class GroundEnds:
    """Where the background ends in N profiles.

    Attributes
    ----------
    place : (N,) px across; NaN where none is found.
    sigma : (N,) px, each profile's own.
    doubt : px; how far alternative models of the light, which explain the profiles nearly as well,
        would move all of them.
    """

    place: Floats
    sigma: Floats
    doubt: float


def ground_ends(profiles: Floats, across: Floats, foot: float, rise: float) -> GroundEnds:
    """Find where the visible background ends.

    Parameters
    ----------
    profiles : (N, T) in units of the contrast, from the background to the face.
    across : (T,) px, in steps of 1.
    foot : px from the face's edge to the bottom edge; negative where the side is in sight, else the
        background ends at the face's edge and its darkest part is hidden.
    rise : thickness in px.
    """
    # The median of all profiles gives what they share: roughly where, and whether a shadow is cast.
    whole = np.median(profiles, axis=0)[None]
    shifts = np.arange(-8.0, 8.01, 2 * _SHIFT_STEP)
    shadows = [None, *product(_SHADOWS, _PENUMBRAS)] if rise > 0.5 else [None]
    readings = []
    for shadow in shadows:
        fit = _Model(across, shifts, foot, rise, shadow).fit(whole)
        if np.isfinite(fit.place[0]) and (shadow is None or fit.shadow[0] < 0):  # it darkens
            readings.append((max(fit.rms[0], _LEAST_RMS), fit.place[0], shadow))
    if not readings:
        nowhere = np.full(len(profiles), np.nan)
        return GroundEnds(nowhere, nowhere, np.inf)
    # A shadow must explain much to be accepted.
    least, middle, shadow = min(readings, key=lambda r: r[0] if r[2] is None else r[0] / 0.6)
    doubt = max(abs(r[1] - middle) for r in readings if r[0] < 1.5 * least)
    near = middle + np.arange(-2.0, 2.01, _SHIFT_STEP)
    fit = _Model(across, near, foot, rise, shadow).fit(profiles)
    return GroundEnds(fit.place, fit.sigma, float(doubt))


@dataclass(frozen=True)
class _Fit:
    """Places of N profiles with sigma, rms residual, and the light of a cast shadow."""

    place: Floats
    sigma: Floats
    rms: Floats
    shadow: Floats


class _Model:
    """Background, side and face for each shift and blur of a grid; the levels are linear in it.

    Half of an even sky is hidden at the bottom of a side; at the distance d from it the share
    d / hypot(d, rise) of that half is back. A cast shadow is a blurred step on the background.
    """

    def __init__(
        self,
        across: Floats,
        shifts: Floats,
        foot: float,
        rise: float,
        shadow: tuple[float, float] | None,
    ) -> None:
        wall, hidden = max(-foot, 0.0), max(foot, 0.0)
        # Fine positions, 0 where the visible background ends; the side and the face follow.
        step = 0.1
        fine = np.arange(across[0] - shifts[-1] - 12, across[-1] - shifts[0] + 12, step)
        ground = np.clip(0.5 - fine / step, 0, 1)
        distance = np.maximum(hidden - fine, 0)
        columns, priors = [np.ones_like(fine), ground], [0.0, 0.0]
        if rise > 0.5:
            columns.append(ground * (1 - distance / np.hypot(distance, rise)))
            priors.append(_NOISE / _SHADE)
        if wall > 0.5:
            columns.append(np.clip(0.5 - (fine - wall) / step, 0, 1) - ground)
            priors.append(_NOISE / _WALL)
        if shadow:
            length = shadow[0] * rise
            columns.append(ground * ndtr((length - distance) / (shadow[1] * length)))
            priors.append(_NOISE / _SHADE)
        stack = np.array(columns)
        designs = np.zeros((len(_BLURS), len(shifts), len(across) + len(columns), len(columns)))
        places = (across - shifts[:, None] - fine[0]) / step
        low = places.astype(np.int64)
        share = places - low
        for i, blur in enumerate(_BLURS):
            blurred = gaussian_filter1d(stack, blur / step, axis=1, mode="nearest")
            values = blurred[:, low] * (1 - share) + blurred[:, low + 1] * share
            designs[i, :, : len(across)] = np.moveaxis(values, 0, 2)
        designs[:, :, len(across) :] = np.diag(priors)  # pseudo-readings of 0
        self.shifts = shifts
        self.samples = len(across)
        self.has_shadow = shadow is not None
        self.step = float(shifts[1] - shifts[0])
        self.basis, self.triangle = np.linalg.qr(designs)

    def fit(self, profiles: Floats) -> _Fit:
        """The shift of least residual for each of (N, T) profiles, refined by a paraboloid."""
        explained = np.einsum("bstk,nt->nbsk", self.basis[:, :, : self.samples], profiles)
        rss = np.sum(profiles**2, axis=1)[:, None, None] - np.sum(explained**2, axis=3)
        rss = np.maximum(rss, 1e-12)
        n = np.arange(len(rss))
        b, s = np.unravel_index(rss.reshape(len(rss), -1).argmin(axis=1), rss.shape[1:])
        shadow = np.zeros(len(rss))
        if self.has_shadow:
            levels = np.linalg.solve(self.triangle[b, s], explained[n, b, s][..., None])
            shadow = levels[:, -1, 0]
        move, inverse = _least(rss, b, s)
        rms = np.sqrt(rss[n, b, s] / self.samples)
        # Half the second derivative of the residual weighs against its own variance.
        sigma = self.step * rms * np.sqrt(2 * inverse * self.samples / (self.samples - 6))
        at_rim = (s == 0) | (s == rss.shape[2] - 1)
        place = np.where(at_rim, np.nan, self.shifts[s] + self.step * move)
        return _Fit(place, sigma, rms, shadow)


def _least(rss: Floats, b: NDArray[np.int64], s: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Steps from (b, s) along s to the paraboloid's least value; and d2/ds2 of its inverse."""
    n = np.arange(len(rss))
    b, s = np.clip(b, 1, rss.shape[1] - 2), np.clip(s, 1, rss.shape[2] - 2)
    near = np.array([[rss[n, b + i, s + j] for j in (-1, 0, 1)] for i in (-1, 0, 1)])
    slope_b, slope_s = (near[2, 1] - near[0, 1]) / 2, (near[1, 2] - near[1, 0]) / 2
    bb = near[2, 1] - 2 * near[1, 1] + near[0, 1]
    ss = near[1, 2] - 2 * near[1, 1] + near[1, 0]
    bs = (near[2, 2] - near[2, 0] - near[0, 2] + near[0, 0]) / 4
    determinant = bb * ss - bs**2
    # Where blur and shift cannot be separated, the shift alone is refined.
    joint = (bb > 0) & (determinant > 0.02 * bb * ss)
    safe = np.where(joint, determinant, 1.0)
    lone = np.maximum(ss, 1e-12)
    move = np.where(joint, (bs * slope_b - bb * slope_s) / safe, -slope_s / lone)
    inverse = np.where(joint, bb / safe, 1 / lone)
    return np.clip(move, -1, 1), np.maximum(inverse, 0)
