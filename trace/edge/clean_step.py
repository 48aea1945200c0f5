"""Where a plain step of light stands near a line, to hundredths of a pixel.

Light is even or slopes on either side of an edge, and the photo's blur goes over it: with the place
given, that is linear in four unknowns, the same for every row. Grain, shadow, print and a halo are
none of that; what they leave unexplained widens the stated sigma.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from snugline.trace.edge.learned_edge import ABOUT_PX
from snugline.trace.image.step_edge import sample_luminance

Floats = NDArray[np.float64]

# A row is looked at this far to either side, px, at every half px: enough for a slope beside a blur
# of one px, and no farther than narrow things beside the edge.
REACH = 4.0
_PLACES = np.arange(-REACH, REACH + 0.1, 0.5)
GRID_PX = 0.1  # px between candidates, a fraction of any blur
# As far as one learned edge reaches.
_CANDIDATES = np.arange(-ABOUT_PX, ABOUT_PX + GRID_PX / 2, GRID_PX)
POOLED = 2.0  # rows, standard deviation, over which what is seen of them is pooled
# Errors over what the residuals alone say, on photos: half-shades and halos are not noise.
_TIMES = 8.0


def clean_step(
    rgb: NDArray[np.uint8], line: Floats, normals: Floats, blur: float, closed: bool
) -> tuple[Floats, Floats]:
    """(N,) px outwards of a line where a step of light stands, and its sigma; inf where none is."""
    x, y = (line[:, k, None] + normals[:, k, None] * _PLACES for k in (0, 1))
    light = sample_luminance(rgb, x, y).astype(np.float64)
    known = np.isfinite(light).all(axis=1)
    mode = "wrap" if closed else "nearest"
    calm = gaussian_filter1d(np.nan_to_num(light), POOLED, axis=0, mode=mode)
    shapes = _orthonormal(round(blur, 1))
    explained = (calm @ shapes).reshape(len(line), len(_CANDIDATES), -1)
    left = np.sum(calm**2, axis=1)[:, None] - np.sum(explained**2, axis=2)
    best = np.argmin(left[:, 1:-1], axis=1) + 1
    before, here, after = (left[np.arange(len(line)), best + k] for k in (-1, 0, 1))
    bend = np.maximum(before - 2 * here + after, 1e-12)
    found = known & (best > 1) & (best < len(_CANDIDATES) - 2)
    shift = np.clip(0.5 * (before - after) / bend, -1, 1)
    free = len(_PLACES) - explained.shape[2] - 1
    sigma = _TIMES * GRID_PX * np.sqrt(2 * np.maximum(here, 0) / free / bend)
    return _CANDIDATES[best] + GRID_PX * shift, np.where(found, sigma, np.inf)


@lru_cache(maxsize=16)
def _orthonormal(blur: float) -> Floats:
    """(T, G * 4) for each candidate: level and slope within and outside, blurred, made orthonormal.

    A blurred ramp is x Phi(x / b) + b phi(x / b).
    """
    away = _PLACES - _CANDIDATES[:, None]
    z = away / blur
    outside, bell = ndtr(z), blur * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    ramp = away * outside + bell
    shapes = np.stack([np.ones_like(z), outside, ramp, away - ramp], axis=-1)
    return np.asarray(np.linalg.qr(shapes)[0].transpose(1, 0, 2).reshape(len(_PLACES), -1))
