"""What the bundle adjustment finds, and the order of its unknowns."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.lens import LENS_SIZE
from snugline.trace.camera.observations import SheetState
from snugline.trace.camera.projection import Camera

Floats = NDArray[np.float64]

POSE_SIZE = 6


@dataclass(frozen=True)
class Layout:
    """Indices of the unknowns in the vector: lenses, poses, scales, sheet poses, dot gains."""

    lens_of_photo: tuple[int, ...]
    photos: int
    lenses: int
    sheets: int

    def lens(self, photo: int) -> slice:
        first = LENS_SIZE * self.lens_of_photo[photo]
        return slice(first, first + LENS_SIZE)

    def pose(self, photo: int) -> slice:
        first = LENS_SIZE * self.lenses + POSE_SIZE * photo
        return slice(first, first + POSE_SIZE)

    def scale(self, sheet: int) -> slice:
        first = LENS_SIZE * self.lenses + POSE_SIZE * self.photos + 2 * sheet
        return slice(first, first + 2)

    def sheet_pose(self, sheet: int) -> slice:
        """The first sheet lies at the origin and has none."""
        first = LENS_SIZE * self.lenses + POSE_SIZE * self.photos + 2 * self.sheets
        first += 3 * (sheet - 1)
        return slice(first, first + 3)

    def bloom(self, photo: int) -> int:
        first = LENS_SIZE * self.lenses + POSE_SIZE * self.photos + 2 * self.sheets
        return first + 3 * (self.sheets - 1) + photo

    @property
    def size(self) -> int:
        return self.bloom(self.photos)


@dataclass(frozen=True)
class Adjusted:
    """What the adjustment found.

    Attributes
    ----------
    cameras : one for each photo, in world coordinates.
    sheets : as adjusted.
    bloom : (P,) mm by photo, dot gain: the outward shift of every marker edge.
    residuals : by photo, (N,) px across the edges, seen minus expected.
    weights : by photo, (N,) 0 to 1; 0 is an outlier.
    precision : by photo, (N,) px^-2 that a point counted with.
    noise_px : (P,) standard deviation of an inlier's residual.
    covariance : of all unknowns, `Layout` order, scaled by the noise found.
    layout : the index of each unknown.
    """

    cameras: tuple[Camera, ...]
    sheets: tuple[SheetState, ...]
    bloom: Floats
    residuals: tuple[Floats, ...]
    weights: tuple[Floats, ...]
    precision: tuple[Floats, ...]
    noise_px: Floats
    covariance: Floats
    layout: Layout
    by_decentring: Floats
