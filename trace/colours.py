"""How likely a colour is to be sheet's, a shadow's on it, or the part's.

Colours are counted in a table of brightness and two hues (differences of tone over brightness). The
sheet's share of it is known beforehand, the part's is learned from the photo.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from snugline.trace.tones import Floats, Mask, Picture, grey

Bins = NDArray[np.intp]

_TONES, _TONE_STEP = 96, 1.0 / 64
# Hues are bent so that the table is fine near grey, where it matters.
_HUES, _HUE_BEND = 41, 0.1
_SHAPE = (_TONES, _HUES, _HUES)
_GRAINS = 32

# A shadow of a tone less than this, a tenth of the light, is not met on a bench.
DEEPEST_SHADOW = 0.3


def colour_bins(tone: Picture) -> Bins:
    """(h, w) places of the colours (h, w, 3) in the table, as flat indices."""
    brightness = grey(tone)
    scale = 1 / (brightness + 0.1)
    place = np.clip(brightness / _TONE_STEP, 0, _TONES - 1).astype(np.intp)
    for channel in (0, 2):
        hue = (tone[..., channel] - tone[..., 1]) * scale
        bent = hue / (np.abs(hue) + _HUE_BEND)
        place = place * _HUES + ((bent + 1) * (_HUES / 2)).astype(np.intp)
    return np.asarray(place)


def uniform() -> Floats:
    """The density of a part of which nothing is known."""
    return np.full(_SHAPE, 1.0 / np.prod(_SHAPE))


def sheet_colours(spread: float, shaded: float) -> Floats:
    """Density of lit sheet whose tone has this spread and, to a share of `shaded`, of shadows."""
    brightness = ((np.arange(_TONES) + 0.5) * _TONE_STEP)[:, None, None]
    bent = (np.arange(_HUES) + 0.5) / (_HUES / 2) - 1
    hue = _HUE_BEND * bent / (1 - np.abs(bent))
    width = _HUE_BEND / np.square(1 - np.abs(bent)) * 2 / _HUES
    area = width[:, None] * width[None, :]
    square = hue[:, None] ** 2 + hue[None, :] ** 2 - hue[:, None] * hue[None, :]
    wide = np.hypot(max(2 * spread, 0.015), _TONE_STEP / 2)
    tight = 1.5 * spread
    lit = np.exp(-0.5 * ((brightness - 1) / wide) ** 2 - 0.5 * square / tight**2) * area
    # Shadows mostly keep the sheet's hue; a second lamp or a near wall tints some of them.
    tint = np.hypot(tight, 0.1 * np.clip(1 - brightness, 0, 1))
    neutral, tinted = (np.exp(-0.5 * square / s**2) / s**2 * area for s in (tight, tint))
    possible = (brightness > DEEPEST_SHADOW) & (brightness < 1)
    shade = (neutral + tinted) * np.where(possible, 1.0, 1e-3)
    return np.asarray((1 - shaded) * lit / lit.sum() + shaded * shade / shade.sum())


def could_be_shade(tone: Picture) -> Picture:
    """1 where a colour could be sheet in a shadow, tinted even as by a warm lamp in daylight."""
    brightness = grey(tone)
    scale = 1 / (brightness + 0.1)
    a = (tone[..., 0] - tone[..., 1]) * scale
    b = (tone[..., 2] - tone[..., 1]) * scale
    widest = 0.02 + 0.45 * np.clip(1 - brightness, 0, 0.6)
    possible = (brightness > 0.8 * DEEPEST_SHADOW) & (brightness < 1)
    return np.asarray((possible & (a * a + b * b - a * b < widest**2)).astype(np.float32))


def part_colours(bins: Bins, where: Mask) -> Floats:
    """Density of the part's colours, learned from those in a mask; sums to 1.

    Mostly as they are, a little of it spread to tones nearby, since the light on the part varies,
    and a trace everywhere.
    """
    count = _count(bins, where)
    count /= max(float(count.sum()), 1.0)
    near = gaussian_filter(count, 0.8, truncate=3)
    wide = gaussian_filter(near, (4, 2, 2), truncate=2)
    return np.asarray(0.9 * near + 0.05 * wide + 0.05 / count.size, np.float64)


def with_own_hues(sheet: Floats, bins: Bins, where: Mask) -> Floats:
    """The sheet's colours with, tone by tone, the hues that its shadows have in this photo.

    How often a tone occurs stays as it was: there is always far less shadow than lit sheet.
    """
    table = gaussian_filter(_count(bins, where), (3, 1, 1), truncate=2.5)
    seen = table.sum(axis=(1, 2), keepdims=True)
    trust = 0.7 * seen / (seen + 20.0)
    own = table * (sheet.sum(axis=(1, 2), keepdims=True) / np.maximum(seen, 1e-9))
    return np.asarray((1 - trust) * sheet + trust * own)


def grain_bins(texture: Picture) -> Bins:
    """(h, w) classes of texture, eight to a factor of e."""
    grade = 8 * np.log(np.maximum(texture, 0.05)) + _GRAINS / 2
    return np.asarray(np.clip(grade, 0, _GRAINS - 1).astype(np.intp))


def grain_odds(grain: Bins, part: Mask, sheet: Mask) -> Picture:
    """Logarithm of the odds that a class of texture is the part's, from how often each has it."""
    share = []
    for where in (part, sheet):
        count = np.bincount(grain[where], minlength=_GRAINS).astype(np.float64)
        share.append(gaussian_filter(count, 1.0) / max(count.sum(), 1) + 0.02)
    return np.asarray(np.clip(np.log(share[0] / share[1]), -3, 3).astype(np.float32))


def _count(bins: Bins, where: Mask) -> NDArray[np.float32]:
    count = np.bincount(bins[where], minlength=int(np.prod(_SHAPE)))
    return count.astype(np.float32).reshape(_SHAPE)
