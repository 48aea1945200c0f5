"""Linear light: the sRGB curve undone, since an edge found in gamma-coded values is biased.

Display P3, which phones write, has the sRGB curve and other primaries; only the weights of
the luminance differ a little then, which moves no edge.
"""

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Weights of R, G and B in luminance: IEC 61966-2-1 (the second row of its RGB to XYZ matrix).
LUMINANCE_WEIGHTS = (0.2126, 0.7152, 0.0722)

# The curve of sRGB, IEC 61966-2-1.
_CODED_TOE = 0.04045  # below this coded value it is a line
_LIGHT_TOE = 0.0031308  # the same as light
_TOE_SLOPE = 12.92  # of coded value over light
_OFFSET = 0.055  # above it a power of the coded value moved by this
_SCALE = 1.055  # and divided by this
_GAMMA = 2.4


def srgb_to_linear(values: Any) -> NDArray[np.float64]:
    """Linear light in 0 to 1 from sRGB values in 0 to 1 (IEC 61966-2-1)."""
    values = np.asarray(values, dtype=np.float64)
    linear: NDArray[np.float64] = np.where(
        values <= _CODED_TOE, values / _TOE_SLOPE, ((values + _OFFSET) / _SCALE) ** _GAMMA
    )
    return linear


def linear_to_srgb(values: Any) -> NDArray[Any]:
    """Values of sRGB in 0 to 1 from linear light in 0 to 1 (IEC 61966-2-1); float32 stays that."""
    values = np.asarray(values)
    values = values.astype(np.float32 if values.dtype == np.float32 else np.float64, copy=False)
    coded: NDArray[Any] = np.where(
        values <= _LIGHT_TOE,
        values * _TOE_SLOPE,
        _SCALE * np.maximum(values, 0) ** (1 / _GAMMA) - _OFFSET,
    )
    return coded


@cache
def linear_table() -> NDArray[np.float32]:
    """(256,) float32: linear light of a byte, 0 to 1."""
    table = srgb_to_linear(np.arange(256) / 255).astype(np.float32)
    table.setflags(write=False)
    return table


@cache
def linear_luminance_table() -> NDArray[np.float32]:
    """(256, 3) float32: what a byte of R, G or B adds to the luminance, which runs from 0 to 1."""
    table = np.outer(srgb_to_linear(np.arange(256) / 255), LUMINANCE_WEIGHTS).astype(np.float32)
    table.setflags(write=False)
    return table
