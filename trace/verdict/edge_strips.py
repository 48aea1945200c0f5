"""The photo just inside and outside of an edge that was followed, for verdicts on that edge."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.learned_edge import widths
from snugline.trace.edge.relief_displacement import PartSides, lift
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.image.polyline import right_normals

Floats = NDArray[np.float64]

_CALM_MM = 2.5  # along the edge, over which values are averaged: longer than grain
_SLOPE_SMOOTH = 8  # points over which the part's slope is smoothed
_WIDEST_PX = 30.0  # a side or rounding seen wider is as good as a face


@dataclass(frozen=True)
class Beside:
    """A followed edge with its surroundings.

    Attributes
    ----------
    rgb : (H, W, 3) uint8.
    mm_per_px : on the sheet.
    pixels, normals : (N, 2) px and unit, outwards.
    slope : (N,) tangent by which the rays lean outwards (see `lift`).
    crease : (N,) px, depth of side and rounding in the picture, from silhouette to top edge.
    calm : points along the edge over which values are averaged.
    """

    rgb: NDArray[np.uint8]
    sides: PartSides
    mm_per_px: float
    pixels: Floats
    normals: Floats
    slope: Floats
    crease: Floats
    calm: float
    closed: bool

    @staticmethod
    def of(
        rgb: NDArray[np.uint8],
        camera: Camera,
        sides: PartSides,
        silhouette: Silhouette,
        mm_per_px: float,
    ) -> "Beside":
        """The strips along a silhouette."""
        pixels, closed = silhouette.pixels, silhouette.closed
        slope = lift(camera, pixels, sides, closed, smooth=_SLOPE_SMOOTH).slope
        step = float(np.median(np.linalg.norm(np.diff(pixels, axis=0), axis=1)))
        return Beside(
            rgb,
            sides,
            mm_per_px,
            pixels,
            right_normals(pixels, closed),
            slope,
            np.minimum(widths(sides, slope)[1] / mm_per_px, _WIDEST_PX),
            _CALM_MM / mm_per_px / step,
            closed,
        )

    def places(self, away: Floats) -> tuple[Floats, Floats]:
        """X and y (N, P), px, of points at these distances outwards (N, P)."""
        x, y = (self.pixels[:, k, None] + self.normals[:, k, None] * away for k in (0, 1))
        return x, y

    def calmed(self, values: Floats) -> Floats:
        """Values (N, ...) averaged along the edge."""
        mode: Literal["wrap", "nearest"] = "wrap" if self.closed else "nearest"
        return np.asarray(gaussian_filter1d(values, self.calm, axis=0, mode=mode))
