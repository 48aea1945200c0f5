"""Sub-pixel edges: light sampled across an edge, and a blurred step fitted to it.

Everything here works in linear light. In gamma-coded values blur moves an edge towards the dark
side; the sRGB curve is therefore undone for each pixel before anything is interpolated or averaged.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from cv2.typing import MatLike
from numpy.typing import NDArray
from scipy.special import ndtr

from snugline.trace.image.linear_light import linear_luminance_table, linear_table

Floats = NDArray[np.float64]

# Red and blue less luma, from bytes: ITU-R BT.601 luma, as JPEG (JFIF) and HEIC have it.
_LUMA = np.array([0.299, 0.587, 0.114])
_COLOUR = (np.array([[1, 0, 0], [0, 0, 1]]) - _LUMA).astype(np.float32) / 255
# Places that are sampled at a time, so that what is in between stays in the cache.
_BLOCK = 16_384
_ITERATIONS = 8  # at most
# Share of the samples' distance below which a step has converged: the step after that is smaller by
# far.
_STILL = 1e-3
# Limits of one step of the iteration, beyond which the model is linear no longer.
_LONGEST_MOVE = 1.5  # samples that the position moves
_LEAST_BLUR = 0.3  # samples
_WIDEST_BLUR = 0.5  # of the profile's length
# A fit that ends this near to the profile's ends, in shares of it, has run out of it.
_END_MARGIN = 0.02
_FEWEST_SAMPLES = 6  # two more than the unknowns
# How a photo shows a sharp edge is looked at this far to either side of it. The blur is taken
# between the quarter and the three-quarter level, which lie 2 x 0.6745 standard deviations apart in
# a normal distribution; a halo stands beside the edge on the pale side.
REACH_PX = 7.0
ACROSS_PX = np.arange(-REACH_PX, REACH_PX + 0.1, 0.5)
_QUARTERS, _QUARTERS_APART = (0.25, 0.75), 1.349
_OVERSHOOT = slice(14, 23)


def sample_light(rgb: NDArray[np.uint8], x: Floats, y: Floats) -> NDArray[np.float32]:
    """Luminance and colour at sub-pixel places, bilinear between pixels; NaN outside the picture.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, sRGB-coded.
    x, y : arrays of one shape, pixels; pixel centres are at whole numbers.

    Returns
    -------
    light : (3, ...) linear luminance, then two colour differences of the *coded* values (red and
        blue less luma, 0 to 1): those are what photo formats store at half the resolution, and
        only there is that blur symmetric.
    """
    return _bilinear(rgb, x, y, lambda pixels: [_luminance(pixels), _colour(pixels)])


def sample_luminance(rgb: NDArray[np.uint8], x: Floats, y: Floats) -> NDArray[np.float32]:
    """Linear luminance (...) at sub-pixel places; see `sample_light`."""
    light: NDArray[np.float32] = _bilinear(rgb, x, y, lambda pixels: [_luminance(pixels)])[0]
    return light


def sample_rgb(rgb: NDArray[np.uint8], x: Floats, y: Floats) -> NDArray[np.float32]:
    """Linear light (3, ...) of the three channels at sub-pixel places; see `sample_light`."""
    return _bilinear(rgb, x, y, lambda pixels: cv2.split(cv2.LUT(pixels, linear_table())))


def _bilinear(
    rgb: NDArray[np.uint8],
    x: Floats,
    y: Floats,
    planes_of: Callable[[NDArray[np.uint8]], Sequence[MatLike]],
) -> NDArray[np.float32]:
    """(C, ...) of what `planes_of` makes of pixels (1, N, 3): C planes of N in all."""
    width, rows = rgb.shape[1], rgb.reshape(-1, 3)

    def block(x: Floats, y: Floats) -> NDArray[np.float32]:
        left, top = np.floor(x), np.floor(y)
        fx, fy = (x - left).astype(np.float32), (y - top).astype(np.float32)
        inside = (left >= 0) & (top >= 0) & (left < width - 1) & (top < len(rgb) - 1)
        first = np.where(inside, top * width + left, 0).astype(np.int64)

        def planes(step: int) -> NDArray[np.float32]:
            pixels = rows.take(first + step, axis=0)
            return np.concatenate(planes_of(pixels[None]), dtype=np.float32)

        def across(step: int) -> NDArray[np.float32]:
            return _between(planes(step), planes(step + 1), fx)

        light = _between(across(0), across(width), fy)
        light[:, ~inside] = np.nan
        return light

    count = max(1, x.size // _BLOCK)
    parts = zip(np.array_split(x.ravel(), count), np.array_split(y.ravel(), count), strict=True)
    return np.concatenate([block(*part) for part in parts], axis=1).reshape(-1, *x.shape)


def _between(
    low: NDArray[np.float32], high: NDArray[np.float32], share: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Interpolated in place; both arguments are used up."""
    high -= low
    high *= share
    low += high
    return low


def _luminance(pixels: NDArray[np.uint8]) -> MatLike:
    light = cv2.LUT(pixels, linear_luminance_table()[None])
    return cv2.transform(light, np.ones((1, 3), np.float32))


def _colour(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    differences: NDArray[np.float32] = _COLOUR @ pixels[0].T.astype(np.float32)
    return differences


@dataclass(frozen=True)
class Steps:
    """Blurred steps fitted to N profiles.

    Attributes
    ----------
    position : (N,) where the step lies, in the unit of the samples' places.
    blur : (N,) standard deviation of the blur.
    low, high : (N,) levels before and after the step (along increasing place).
    covariance : (N, 4, 4) of low, high, position and blur, from the profile's own residuals.
    residual : (N,) rms of the residuals.
    good : (N,) the fit converged to a step within the profile.
    """

    position: Floats
    blur: Floats
    low: Floats
    high: Floats
    covariance: Floats
    residual: Floats
    good: NDArray[np.bool_]

    @property
    def sigma(self) -> Floats:
        """(N,) standard uncertainty of the position."""
        return np.sqrt(np.maximum(self.covariance[:, 2, 2], 0))


def step_response(profiles: Floats) -> tuple[float, float]:
    """Blur, px, and halo, by what share of the step sharpening overshoots.

    `profiles` (N, 29) are light at ACROSS_PX over a sharp edge, from its dark to its pale side.
    """
    profile = np.nanmedian(profiles, axis=0)
    low, high = profile[:4].mean(), profile[-4:].mean()
    share = (profile - low) / max(high - low, 1e-6)
    place = []
    for level in _QUARTERS:
        k = int(np.argmax(share[4:-4] >= level)) + 3
        place.append(0.5 * (k + (level - share[k]) / (share[k + 1] - share[k] + 1e-9)))
    return float((place[1] - place[0]) / _QUARTERS_APART), float(share[_OVERSHOOT].max() - 1)


def fit_steps(
    profiles: Floats, places: Floats, blur: float = 1.0, blur_sigma: float = np.inf
) -> Steps:
    """Fit `low + (high - low) * Phi((place - position) / blur)` to every profile at once.

    Gauss-Newton from the position of the steepest change, until a profile's position converges. The
    blur may carry a prior (`blur` +- `blur_sigma`), which keeps low-contrast steps from running
    away.

    Parameters
    ----------
    profiles : (N, T) linear light; NaN samples are left out.
    places : (T,) ascending, places of the samples along the normal.
    """
    n = len(profiles)
    known = np.isfinite(profiles)
    scale = np.maximum(np.max(np.where(known, profiles, 0.0), axis=1), 1e-6)
    values = np.where(known, profiles, 0.0) / scale[:, None]
    w = known.astype(np.float64)
    span = places[-1] - places[0]
    step = np.median(np.diff(places))
    slope = np.abs(np.diff(values, axis=1)) * w[:, 1:] * w[:, :-1]
    found = np.zeros((n, 4))  # low, contrast, position, blur
    found[:, 2] = 0.5 * (places[1:] + places[:-1])[np.argmax(slope, axis=1)]
    found[:, 3] = blur
    rise = ndtr((places - found[:, 2:3]) / blur)
    found[:, 0], found[:, 1] = _levels(values, rise, w)
    moving = np.arange(n)
    for _ in range(_ITERATIONS):
        left_out, system, right = _equations(
            found[moving], values[moving], w[moving], places, blur, blur_sigma
        )
        solved = np.linalg.solve(_damped(system), right[..., None])[..., 0]
        position, width = found[moving, 2], found[moving, 3]
        move = np.clip(solved[:, 2], -_LONGEST_MOVE * step, _LONGEST_MOVE * step)
        wider = np.clip(solved[:, 3], -0.5 * width, width)
        found[moving, :2] += solved[:, :2]
        found[moving, 2] = np.clip(position + move, places[0], places[-1])
        found[moving, 3] = np.clip(width + wider, _LEAST_BLUR * step, _WIDEST_BLUR * span)
        moving = moving[np.abs(move) > _STILL * step]
        if not len(moving):
            break
    left_out, system, _ = _equations(found, values, w, places, blur, blur_sigma)
    count = w.sum(axis=1)
    noise = np.sum(w * left_out**2, axis=1) / np.maximum(count - 4, 1)
    covariance = np.linalg.inv(_damped(system)) * noise[:, None, None]
    # To the two levels in the profile's own unit, from the lower one and the contrast.
    unit = np.zeros((n, 4, 4))
    unit[:, 0, 0] = unit[:, 1, 0] = unit[:, 1, 1] = scale
    unit[:, 2, 2] = unit[:, 3, 3] = 1.0
    low, contrast, position, width = found.T
    margin = _END_MARGIN * span
    good = (
        (np.abs(position - places[0]) > margin)
        & (np.abs(position - places[-1]) > margin)
        & (count >= _FEWEST_SAMPLES)
        & np.isfinite(position)
    )
    return Steps(
        position,
        width,
        low * scale,
        (low + contrast) * scale,
        unit @ covariance @ unit.transpose(0, 2, 1),
        np.sqrt(noise) * scale,
        good,
    )


def _equations(
    found: Floats, values: Floats, w: Floats, places: Floats, blur: float, blur_sigma: float
) -> tuple[Floats, Floats, Floats]:
    """Residuals (N, T), normal matrices (N, 4, 4) and right-hand sides (N, 4)."""
    low, contrast, position, width = found.T[..., None]
    z = (places - position) / width
    rise = ndtr(z)
    slope = np.exp(-0.5 * z * z) * (contrast / (width * -np.sqrt(2 * np.pi)))
    basis = np.stack([np.ones_like(z), rise, slope, slope * z], axis=1)
    left_out = values - low - contrast * rise
    weighted = basis * w[:, None, :]
    system = weighted @ basis.transpose(0, 2, 1)
    right = (weighted @ left_out[..., None])[..., 0]
    if np.isfinite(blur_sigma):
        # The prior is weighed against samples of the residual's own size.
        noise = np.sum(w * left_out**2, axis=1) / np.maximum(w.sum(axis=1) - 4, 1) + 1e-10
        pull = noise / blur_sigma**2
        system[:, 3, 3] += pull
        right[:, 3] += pull * (blur - width[:, 0])
    return left_out, system, right


def _damped(system: Floats) -> Floats:
    """Normal matrices that can be inverted where a profile has no step."""
    damp = 1e-9 * np.max(np.einsum("nkk->nk", system), axis=1) + 1e-12
    result: Floats = system + damp[:, None, None] * np.eye(4)
    return result


def _levels(values: Floats, step_up: Floats, w: Floats) -> tuple[Floats, Floats]:
    """The two levels that fit best for a given step, by weighted regression."""
    total = np.maximum(w.sum(axis=1), 1e-12)
    mean_s = np.sum(w * step_up, axis=1) / total
    mean_v = np.sum(w * values, axis=1) / total
    ds = step_up - mean_s[:, None]
    slope = np.sum(w * ds * values, axis=1) / np.maximum(np.sum(w * ds * ds, axis=1), 1e-12)
    return mean_v - slope * mean_s, slope
