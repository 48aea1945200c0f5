"""The light on the sheet: a smooth field per colour channel, fitted to pixels known to be sheet.

Divided by its field, lit sheet is 1 in all channels wherever it lies, so that one rule judges
the whole window: light falling off across the sheet, vignetting and the lamp's colour are gone.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.robust_scale import SIGMA_PER_MAD

Floats = NDArray[np.float64]

# Where a marker's white surround is sampled: the quad's sides scaled about its middle. 1.25 of a
# 14 mm tag lies 1.75 mm outside it, within the one cell of white that every marker needs.
QUIET_ZONE = 1.25
_ALONG = (0.0, 0.2, 0.4, 0.6, 0.8)
_BLOCK = 8  # px; see `LightField.over`
# Samples are weighted by Tukey's biweight:
_ROUNDS, _STILL = 12, 1e-4  # at most, and until no weight changes by more
_TUKEY = 4.7  # limit in standard deviations, rounded from 4.685
_LEAST_SPREAD = 0.004  # of the logarithm: about that of the rounding to bytes
_COUNTS = 0.1  # weight from which a sample counts as lit sheet
_LEAST_LIGHT = 1e-5  # before a logarithm or a division
_RIDGE = 1e-6  # for each sample: keeps terms that no sample determines at zero

# A marker is covered where its dark border cannot be seen:
_BORDER_AT = 0.86  # scale: the middle of the border module of an 8 x 8 marker (7 / 8), nearly
_BORDER_DARK = 0.4  # of the white: darker samples show the border
_BORDER_SHARE = 0.08  # of the samples; with fewer dark ones the marker is covered
_REMAP_ROWS = 30_000  # pieces of work that OpenCV's remap can hold: below 2^15


@dataclass(frozen=True)
class LightField:
    """Logarithm of the sheet's linear light as a polynomial of the pixel's place.

    Attributes
    ----------
    coefficients : (D + 1, D + 1, C), of y^i x^j; zero where i + j > D.
    centre, scale : pixels; the polynomial's variables are (pixel - centre) / scale.
    spread : (C,) standard deviation of the logarithm about the field, robust.
    """

    coefficients: Floats
    centre: Floats
    scale: float
    spread: Floats

    def at(self, points: Floats) -> Floats:
        """Linear light at points (N, 2); (N, C)."""
        degree = len(self.coefficients) - 1
        x, y = ((points - self.centre) / self.scale).T
        basis = _powers(y, degree)[:, :, None] * _powers(x, degree)[:, None, :]
        log = basis.reshape(len(points), -1) @ self.coefficients.reshape((degree + 1) ** 2, -1)
        return np.exp(log)

    def over(self, left: int, top: int, width: int, height: int) -> NDArray[np.float32]:
        """Linear light over a rectangle of pixels; (height, width, C).

        Evaluated for every 8 x 8 pixels and interpolated, which a smooth field does not show.
        """
        across, down = -(-width // _BLOCK) + 1, -(-height // _BLOCK) + 1
        x = left + _BLOCK * np.arange(across)
        y = top + _BLOCK * np.arange(down)
        light = self.at(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(np.float64))
        light = light.reshape(down, across, -1).astype(np.float32)
        # Places k / 8 of the coarse picture.
        to_coarse = np.array([[1 / _BLOCK, 0, 0], [0, 1 / _BLOCK, 0]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        placed = cv2.warpAffine(light, to_coarse, (width, height), flags=flags)
        return np.asarray(placed, np.float32).reshape(height, width, -1)


def fit_light(points: Floats, light: Floats, degree: int) -> LightField:
    """Fit the field to samples (N, 2) in pixels and (N, C) in linear light.

    The samples are judged in the logarithm, by Tukey's biweight with a scale from the median
    absolute deviation, so that samples on a part, a shadow or print lose their weight; with fewer
    than three samples a coefficient, the degree is lowered.
    """
    centre = points.mean(axis=0)
    scale = float(max(np.ptp(points, axis=0).max() / 2, 1.0))
    while degree > 0 and len(points) < 3 * (degree + 1) * (degree + 2) // 2:
        degree -= 1
    x, y = ((points - centre) / scale).T
    i, j = np.nonzero(np.add.outer(np.arange(degree + 1), np.arange(degree + 1)) <= degree)
    basis = _powers(y, degree)[:, i] * _powers(x, degree)[:, j]
    log = np.log(np.maximum(light, _LEAST_LIGHT))
    tone = log.mean(axis=1)
    # Start from the brighter half: what lies on the sheet darkens it far more often than not.
    weight = (tone >= np.median(tone)).astype(np.float64)
    ridge = _RIDGE * len(points) * np.eye(len(i))
    for _ in range(_ROUNDS):
        weighted = basis * weight[:, None]
        solution = np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ log)
        residual = log - basis @ solution
        size = np.sqrt(np.mean(residual**2, axis=1))
        typical = SIGMA_PER_MAD * float(np.median(size[weight > 0]))
        limit = _TUKEY * max(typical, _LEAST_SPREAD)
        before, weight = weight, np.square(np.clip(1 - np.square(size / limit), 0, None))
        if np.abs(weight - before).max() < _STILL:
            break
    inside = weight > _COUNTS
    spread = SIGMA_PER_MAD * np.median(np.abs(residual[inside]), axis=0)
    coefficients = np.zeros((degree + 1, degree + 1, log.shape[1]))
    coefficients[i, j] = solution
    return LightField(coefficients, centre, scale, spread)


def quiet_zone_points(quads: Floats) -> Floats:
    """Points (N, 2) in the white round markers (M, 4, 2): five along each side of each."""
    middle = quads.mean(axis=1, keepdims=True)
    outer = middle + QUIET_ZONE * (quads - middle)
    following = np.roll(outer, -1, axis=1)
    along = np.array(_ALONG)[:, None, None, None]
    return np.asarray((outer * (1 - along) + following * along).reshape(-1, 2))


def light_at(picture: NDArray[np.float32], points: Floats) -> Floats:
    """Bilinear values at points (N, 2), and only of those in the picture."""
    xy = points.astype(np.float32)
    values = [
        cv2.remap(picture, p[None, :, 0], p[None, :, 1], cv2.INTER_LINEAR)[0]
        for p in np.array_split(xy, len(xy) // _REMAP_ROWS + 1)
    ]
    return np.concatenate(values).astype(np.float64)


def in_picture(points: Floats, shape: tuple[int, ...], margin: float = 0) -> NDArray[np.bool_]:
    """(N,) whether points (N, 2) lie in a picture, at least `margin` px from its border."""
    x, y = points.T
    return np.asarray(
        (x >= margin) & (y >= margin) & (x <= shape[1] - 1 - margin) & (y <= shape[0] - 1 - margin)
    )


def is_covered(picture: NDArray[np.float32], quad: Floats) -> bool:
    """Whether a marker's dark border cannot be seen against its white surround."""
    outside = quiet_zone_points(quad[None])
    middle = quad.mean(axis=0)
    inside = middle + _BORDER_AT / QUIET_ZONE * (outside - middle)
    ratio = light_at(picture, inside).mean(axis=1) / np.maximum(
        light_at(picture, outside).mean(axis=1), _LEAST_LIGHT
    )
    return bool(np.mean(ratio < _BORDER_DARK) < _BORDER_SHARE)


def _powers(value: Floats, degree: int) -> Floats:
    return np.vander(value, degree + 1, increasing=True)
