"""An edge followed in a small picture, seen from straight above, for the verdicts on it."""

import numpy as np
from made_views import camera_over, phone_lens

from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.image.polyline import resample

SIZE = (900, 700)
_LENS = phone_lens(1500.0, (0.0, 0.0, 0.0, 0.0), (449.5, 349.5), SIZE)
# 7.5 px a mm, over the picture's middle.
CAMERA = camera_over(np.zeros(2), 200.0, tilt_deg=0, roll_deg=0, lens=_LENS)


def followed(polygon):
    """A closed edge along a polygon (px), all of it sure."""
    pixels = resample(polygon, 1.5, closed=True)
    n = len(pixels)
    yes, no = np.ones(n, bool), np.zeros(n, bool)
    return Silhouette(pixels, np.full(n, 0.05), yes, no, closed=True)
