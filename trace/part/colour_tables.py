"""What colours and what grain sheet, shaded sheet and part have: densities over tables.

A colour is a tone and two hues. Tones are square roots of light over sheet: there a photo's noise
is nearly the same everywhere. Hues are differences of tone, bent so that near grey, where it
matters, the table is fine. Constants without another reason were chosen on the scenes and shared
photos of `benchmarks/segmentation.py`.
"""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.part.sheet_view import Mask, Picture, grey_of

_TONES = 96  # bins, up to a tone of 1.5: 2.25 times the sheet's light
_TONE_STEP = 1.0 / 64  # about lit sheet's own spread
_HUES = 41  # bins, in odd number, so that grey has one
_HUE_BEND = 0.1  # hue at which the bins are four times as wide as at grey
GRAINS = 32  # bins, of the logarithm of the texture
# Keeps a dark pixel's hue, a ratio, from being noise.
_DARK_TONE = 0.1
_GRAINS_PER_E = 8  # bins of grain for a factor e of the texture
_LEAST_TEXTURE = 0.05  # that counts

# Lit sheet, in its spread in this photo:
_LIT_TONE = 2  # width in tone
_LIT_HUE = 1.5  # width in hue
_LIT_LEAST = 0.015  # least width in tone
# By how much a second lamp or a near side tints a shadow that takes all light, in hue.
_TINT = 0.1
# Shadows are mostly lighter than this tone (a tenth of the light).
_DARKEST_SHADE = 0.3
_RARE = 1e-3  # how often they are darker

# The part's colours: shares
_AS_SEEN = 0.9
_SPREAD = 0.05  # spread to tones nearby, where the light on the part varies
_TRACE = 0.05  # everywhere
# and how far the first two are spread, in bins of tone and of hue.
_NEAR = (0.8, 0.8)
_WIDE = (4, 2)
# The hues that shadows have in this photo:
_SHADOW_SPREAD = (3, 1)  # spread, in bins of tone and of hue
_SHADOW_PIXELS = 20.0  # pixels at which they count as much as the expected ones
_SHADOW_SHARE = 0.7  # that they replace at most
# A Gaussian is cut off at this many standard deviations.
_CUT_AT = 2.5

# The odds of a texture:
_GRAIN_SMOOTH = 1.0  # bins
_GRAIN_FLOOR = 0.02  # of each share
_GRAIN_LIMIT = 3  # of the log odds


def bins_of(tone: Picture) -> NDArray[np.intp]:
    """(h, w) each pixel's bin in the flattened table of colours."""
    red, green, blue = cv2.split(tone)
    grey = grey_of(tone)
    scale = 1 / (grey + _DARK_TONE)
    place = np.zeros(grey.shape, np.int32)
    for other in (red, blue):
        hue = (other - green) * scale
        bent = hue / (np.abs(hue) + _HUE_BEND)
        place = place * _HUES + ((bent + 1) * (_HUES / 2)).astype(np.int32)
    tones = np.clip(grey / _TONE_STEP, 0, _TONES - 1).astype(np.int32)
    return np.asarray(place * _TONES + tones, np.intp)


def sheet_colours(spread: float, shaded: float) -> Picture:
    """Density of lit and, to a share of `shaded`, darkened sheet over the table of colours."""
    grey = ((np.arange(_TONES, dtype=np.float32) + 0.5) * _TONE_STEP)[None, None]
    bent = ((np.arange(_HUES, dtype=np.float32) + 0.5) / (_HUES / 2) - 1)[:, None, None]
    hue = _HUE_BEND * bent / (1 - np.abs(bent))
    step = _HUE_BEND / np.square(1 - np.abs(bent)) * 2 / _HUES
    bin_area = step * step.swapaxes(0, 1)
    square = hue**2 + hue.swapaxes(0, 1) ** 2 - hue * hue.swapaxes(0, 1)
    wide = np.hypot(max(_LIT_TONE * spread, _LIT_LEAST), _TONE_STEP / 2)
    tight = np.float32(_LIT_HUE * spread)
    neutral = np.exp(-0.5 * square / tight**2) * bin_area
    lit = np.exp(-0.5 * ((grey - 1) / wide) ** 2) * neutral
    # Shadows mostly keep the sheet's hue; a second lamp or a near side tints some of them.
    tint = np.hypot(tight, _TINT * np.clip(1 - grey, 0, 1))
    tinted = np.exp(-0.5 * square / tint**2) / tint**2 * bin_area
    usual = (grey > _DARKEST_SHADE) & (grey < 1.0)
    shade = (neutral / tight**2 + tinted) * np.where(usual, 1.0, _RARE)
    return np.asarray((1 - shaded) * lit / lit.sum() + shaded * shade / shade.sum(), np.float32)


def part_colours(bins: NDArray[np.intp], where: Mask) -> Picture:
    """Density of the part's colours, estimated from those in a mask; sums to 1."""
    count = _counted(bins, where)
    near = _spread_out(count / max(float(count.sum()), 1.0), *_NEAR)
    wide = _spread_out(near, *_WIDE)
    return np.asarray(_AS_SEEN * near + _SPREAD * wide + _TRACE / count.size, np.float32)


def with_shadow_hues(base: Picture, bins: NDArray[np.intp], where: Mask) -> Picture:
    """The sheet's colours with, tone by tone, the hues that its shadows have in this photo.

    How often a tone occurs stays as it was: there is always far less shadow than lit sheet.
    """
    table = _spread_out(_counted(bins, where), *_SHADOW_SPREAD)
    seen = table.sum(axis=(0, 1))
    trust = seen / (seen + _SHADOW_PIXELS)
    expected = base.sum(axis=(0, 1))
    share = _SHADOW_SHARE * expected * trust / np.maximum(seen, 1e-9)
    return np.asarray(base * (1 - _SHADOW_SHARE * trust) + table * share, np.float32)


def grains_of(texture: Picture) -> NDArray[np.intp]:
    """(h, w) each pixel's bin of texture."""
    fineness = _GRAINS_PER_E * np.log(np.maximum(texture, _LEAST_TEXTURE)) + GRAINS / 2
    grain: NDArray[np.intp] = np.clip(fineness, 0, GRAINS - 1).astype(np.intp)
    return grain


def grain_evidence(grain: NDArray[np.intp], part: Mask, sheet: Mask) -> Picture:
    """(GRAINS,) log odds that a texture is the part's, from how often it and the sheet have it."""
    shares = []
    for mask in (part, sheet):
        count = np.bincount(grain[mask], minlength=GRAINS).astype(np.float64)
        smooth = gaussian_filter1d(count, _GRAIN_SMOOTH)
        shares.append(smooth / max(smooth.sum(), 1) + _GRAIN_FLOOR)
    odds = np.clip(np.log(shares[0] / shares[1]), -_GRAIN_LIMIT, _GRAIN_LIMIT)
    return np.asarray(odds.astype(np.float32))


def _counted(bins: NDArray[np.intp], where: Mask) -> Picture:
    """How often each colour occurs in a mask."""
    count = np.bincount(bins[where], minlength=_HUES * _HUES * _TONES)
    return count.astype(np.float32).reshape(_HUES, _HUES, _TONES)


def _spread_out(table: Picture, tones: float, hues: float) -> Picture:
    """A table of colours blurred by this many of its bins."""
    size = 2 * round(_CUT_AT * hues) + 1
    table = cv2.GaussianBlur(table, (size, size), hues, borderType=cv2.BORDER_REFLECT)  # type: ignore[assignment]
    size = 2 * round(_CUT_AT * tones) + 1
    flat = table.reshape(-1, _TONES)
    flat = cv2.GaussianBlur(flat, (size, 1), tones, borderType=cv2.BORDER_REFLECT)  # type: ignore[assignment]
    return flat.reshape(table.shape)
