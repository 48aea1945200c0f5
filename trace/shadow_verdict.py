"""Was a shadow taken for a strip of the part? Just inside the edge it looks like the sheet, darker.

A hard shadow as dark as the part can be joined to it without any border between. But it has the
sheet's hue and the sheet's smoothness: where the part's own face has a hue or a grain and a strip
along its edge has none, the strip is not the part's.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.camera import Camera
from snugline.trace.edge import sample_light
from snugline.trace.lift import PartSides, lift
from snugline.trace.profile import crease_px
from snugline.trace.silhouette import Silhouette, right_normals

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Px inside the edge, less what wall and rounding take up: of the strip, of the part's face; px
# outside of it: of the sheet.
_STRIP, _FACE, _SHEET = (3.0, 5.0, 7.0), (28.0, 38.0, 48.0, 58.0), (8.0, 11.0)
_CALM_MM = 2.5
# Grain is what changes over so many points along the edge.
_LAG = 3
# Shares of the light: hues and grains that are told apart, and how like the sheet's, of what the
# face has more than it, a strip's must be.
_HUE, _GRAIN, _LIKE = 0.05, 0.02, 0.4
# A strip lighter than this share of the sheet's light lies in no shadow that would be taken.
_LIT = 0.9


def in_shadow(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    silhouette: Silhouette,
    mm_per_px: float,
) -> Mask:
    """(N,) whether what lies just inside the edge looks like sheet in a shadow.

    Parameters
    ----------
    rgb : (H, W, 3) uint8.
    mm_per_px : on the sheet.
    """
    pixels, closed = silhouette.pixels, silhouette.closed
    mode = "wrap" if closed else "nearest"
    normals = right_normals(pixels, closed)
    slope = lift(camera, pixels, sides, closed, smooth=8).slope
    crease = crease_px(sides, slope, 1 / mm_per_px)
    step = float(np.median(np.linalg.norm(np.diff(pixels, axis=0), axis=1)))
    calm = _CALM_MM / mm_per_px / step

    def seen(places: tuple[float, ...], start: Floats) -> tuple[Floats, Floats, Floats]:
        """Light (N,), hue (N, 2) and grain (N,), the latter as shares of the light."""
        away = start[:, None] + np.array(places)
        x, y = (pixels[:, k, None] + normals[:, k, None] * away for k in (0, 1))
        light, *colour = np.nan_to_num(sample_light(rgb, x, y).astype(np.float64), nan=0.0)
        level = gaussian_filter1d(light.mean(axis=1), calm, mode=mode)
        share = np.maximum(level, 1e-3)
        # Colour differences are coded; so must be what they are shares of.
        hue = np.column_stack([c.mean(axis=1) for c in colour])
        hue = gaussian_filter1d(hue, calm, axis=0, mode=mode) / share[:, None] ** (1 / 2.2)
        second = light[2 * _LAG :] - 2 * light[_LAG:-_LAG] + light[: -2 * _LAG]
        square = np.pad(np.mean(second**2, axis=1), _LAG, mode="edge")
        grain = np.sqrt(gaussian_filter1d(square, calm, mode=mode)) / share
        return level, hue, grain

    strip_light, strip_hue, strip_grain = seen(tuple(-p for p in _STRIP), -crease)
    _, face_hue, face_grain = seen(tuple(-p for p in _FACE), -crease)
    sheet_light, sheet_hue, sheet_grain = seen(_SHEET, np.zeros(len(pixels)))
    of_face = np.linalg.norm(face_hue - sheet_hue, axis=1)
    of_strip = np.linalg.norm(strip_hue - sheet_hue, axis=1)
    pale = (of_face > _HUE) & (of_strip < _LIKE * of_face)
    more = face_grain - sheet_grain
    smooth = (more > _GRAIN) & (strip_grain - sheet_grain < _LIKE * more)
    return np.asarray((pale | smooth) & (strip_light < _LIT * sheet_light))
