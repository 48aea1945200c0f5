"""Was a shadow mistaken for a strip of the part? Just inside the edge it looks like shaded sheet.

A hard shadow as dark as the part can merge with it without any border between. But it has the
sheet's hue and the sheet's smoothness: where the part's own face has a hue or a grain and a strip
along its edge has none, the strip does not belong to the part.
"""

import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.step_edge import sample_light
from snugline.trace.verdict.edge_strips import Beside

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Where the strips are sampled, px:
_STRIP = (3.0, 5.0, 7.0)  # inside the edge, less the width of side and rounding
_FACE = (28.0, 38.0, 48.0, 58.0)  # the same, for the part's face
_SHEET = (8.0, 11.0)  # outside the edge
# Grain is what changes over this many points along the edge.
_LAG = 3
# By how much, as shares of the luminance, the face must exceed the sheet to count:
_HUE = 0.05  # in hue
_GRAIN = 0.02  # in grain
_LIKE = 0.4  # share of that excess which a shaded strip may have at most
# The same at the edge itself, where the part's side may be in the strip: hue, and the shares of hue
# and grain. Of 394 unseen scenes (seed 6100) 16 have 8 mm as smooth as that, 15 of them an edge off
# by over 0.3 mm; of 23 that have as little hue, 15.
_NEAR = (0.03, 0.3, 0.1)
# A strip lighter than this share of the sheet is not in a shadow dark enough to be mistaken.
_LIT = 0.9
_LEAST_LIGHT = 1e-3  # shares of less light are noise
_CODING = 2.2  # the sRGB curve's power, nearly: coded differences are shares of coded light


def in_shadow(edge: Beside) -> Mask:
    """(N,) whether a strip looks like shaded sheet: that behind side and rounding, or that just
    inside the edge, which may be the part's side.
    """

    def seen(places: tuple[float, ...], start: Floats) -> tuple[Floats, Floats, Floats]:
        """Luminance (N,), hue (N, 2) and grain (N,), the latter as shares of the luminance."""
        away = start[:, None] + np.array(places)
        seen_there = sample_light(edge.rgb, *edge.places(away)).astype(np.float64)
        light, *colour = np.nan_to_num(seen_there, nan=0.0)
        level = edge.calmed(light.mean(axis=1))
        share = np.maximum(level, _LEAST_LIGHT)
        # Colour differences are coded; so must be what they are shares of.
        hue = np.column_stack([c.mean(axis=1) for c in colour])
        hue = edge.calmed(hue) / share[:, None] ** (1 / _CODING)
        second = light[2 * _LAG :] - 2 * light[_LAG:-_LAG] + light[: -2 * _LAG]
        square = np.pad(np.mean(second**2, axis=1), _LAG, mode="edge")
        grain = np.sqrt(edge.calmed(square)) / share
        return level, hue, grain

    _, face_hue, face_grain = seen(tuple(-p for p in _FACE), -edge.crease)
    here = np.zeros(len(edge.pixels))
    sheet_light, sheet_hue, sheet_grain = seen(_SHEET, here)
    of_face = np.linalg.norm(face_hue - sheet_hue, axis=1)
    more = face_grain - sheet_grain

    def shaded(start: Floats, hue: float, like_hue: float, like_grain: float) -> Mask:
        strip_light, strip_hue, strip_grain = seen(tuple(-p for p in _STRIP), start)
        of_strip = np.linalg.norm(strip_hue - sheet_hue, axis=1)
        pale = (of_face > hue) & (of_strip < like_hue * of_face)
        # Shade takes light, not hue: a strip of the face's own hue is the part's, grain or none.
        own = (of_face > hue) & (np.linalg.norm(strip_hue - face_hue, axis=1) < like_hue * of_face)
        smooth = (more > _GRAIN) & (strip_grain - sheet_grain < like_grain * more) & ~own
        return np.asarray((pale | smooth) & (strip_light < _LIT * sheet_light))

    return shaded(-edge.crease, _HUE, _LIKE, _LIKE) | shaded(here, *_NEAR)
