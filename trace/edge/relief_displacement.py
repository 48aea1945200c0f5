"""Correction of relief displacement: projection of the silhouette to the part's plan outline.

Relief displacement is the shift in the image of whatever rises above the reference plane. A part of
thickness t rises above the sheet. Where the camera sees a side of it, the silhouette is the bottom
edge on the sheet, which is the plan outline itself. Where the camera is over the part's side of an
edge, the silhouette is the top edge, nearer to the camera and so farther out on the sheet. In the
plane across the edge the profile of the side is convex, and the ray that grazes it touches the
profile where it reaches farthest in the ray's sideways direction: a support function.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, uniform_filter1d

from snugline.errors import InputError
from snugline.trace.camera.projection import Camera
from snugline.unstated_sides import UNSTATED, Unstated

Floats = NDArray[np.float64]

# Where a silhouette may climb along the side: within this angle of the direction that would, and
# where the outline bends by at least this, mm, so that it is off by as much.
_WINDOW = np.radians(3.0)
_BEND = 0.04
_BESIDE = 5  # neighbouring points that are dropped too
# The bend is measured over this many lengths of the climbing line, so as to reach beyond its ends.
_BEND_LENGTHS = 1.5
# Where a ray meets the sheet follows from how it leans, which changes by the height over the
# camera's, a fiftieth, with each round.
_ROUNDS = 4
_STEEPEST_DRAFT = np.radians(45)


@dataclass(frozen=True)
class PartSides:
    """The profile of the part's edge, from its bottom edge to its upper face; mm, radians.

    Attributes
    ----------
    thickness, thickness_u : height of the upper face over the sheet, and its standard uncertainty.
    edge : what the top edge is: crisp (`none`), rounded (`round`) or chamfered (`chamfer`).
    edge_size : radius of the rounding, or legs of the 45 degree chamfer.
    draft : how much the sides lean inwards towards the top.
    unstated : which of the top `edge` and the `lean` nobody stated: what stands for them is only
        what is likely (see `with_unstated`).
    """

    thickness: float
    thickness_u: float = 0.02
    edge: Literal["none", "round", "chamfer"] = "none"
    edge_size: float = 0.0
    draft: float = 0.0
    unstated: tuple[Unstated, ...] = ()

    def __post_init__(self) -> None:
        if not (np.isfinite(self.thickness) and self.thickness >= 0):
            raise InputError(
                f"the thickness must not be below zero, but is {self.thickness} mm",
                "part",
                "give it as in '9.5 mm'",
            )
        if not 0 <= self.edge_size <= self.thickness:
            raise InputError(
                f"the top edge ({self.edge_size} mm) is larger than the thickness "
                f"({self.thickness} mm)",
                "part",
                "give the rounding's radius or the chamfer's height",
            )
        if not abs(self.draft) < _STEEPEST_DRAFT:
            raise InputError("the draft is 45 degrees or more", "part", "give it as in '0.5 deg'")

    @staticmethod
    def with_unstated(
        thickness: float,
        thickness_u: float,
        edge: Literal["none", "round", "chamfer"] | None,
        edge_size: float,
        draft: float | None,
    ) -> "PartSides":
        """Sides of which edge or draft may be None: the mean of `unstated_sides` stands for it.

        An edge is searched better with a small rounding in mind than with a crisp arris: what a
        rounded one shows beside its silhouette would pass for the edge itself.
        """
        unstated: list[Unstated] = []
        if edge is None:
            unstated.append("edge")
            edge, edge_size = "round", min(UNSTATED["edge"].mean, thickness / 2)
        if draft is None:
            unstated.append("lean")
            draft = float(np.radians(UNSTATED["lean"].mean))
        return PartSides(thickness, thickness_u, edge, edge_size, draft, tuple(unstated))

    def contact(self, slope: Floats) -> tuple[Floats, Floats]:
        """Where a ray that leans outwards by `slope` (tangent of the angle) grazes the profile.

        Returns
        -------
        inset : (N,) mm, how far inside the bottom edge the touched point lies (seen from above).
        height : (N,) mm, its height over the sheet.
        """
        wall = self.thickness - self.edge_size
        lean = np.tan(self.draft)
        corners = [(0.0, 0.0), (wall * lean, wall)]
        if self.edge != "round" and self.edge_size > 0:
            corners.append((wall * lean + self.edge_size, self.thickness))
        inset = np.zeros_like(slope)
        height = np.zeros_like(slope)
        reach = np.full_like(slope, -np.inf)
        for corner_x, corner_z in corners:
            better = corner_z * slope - corner_x > reach
            inset = np.where(better, corner_x, inset)
            height = np.where(better, corner_z, height)
            reach = np.maximum(reach, corner_z * slope - corner_x)
        if self.edge == "round" and self.edge_size > 0:
            e = self.edge_size
            angle = np.arctan(np.maximum(slope, 0.0))
            x = wall * lean + e - e * np.cos(angle)
            z = wall + e * np.sin(angle)
            better = (z * slope - x > reach) & (slope > 0)
            inset = np.where(better, x, inset)
            height = np.where(better, z, height)
        return inset, height


@dataclass(frozen=True)
class Lifted:
    """Points of the plan outline, corrected for relief displacement.

    Attributes
    ----------
    points : (N, 2) mm.
    normals : (N, 2) unit, out of the part.
    height : (N,) mm, height of the point that was seen.
    slope : (N,) tangent by which the ray leans outwards; negative where the side is seen.
    ambiguous : (N,) the point was seen along the side (its height is unknown): not to be used.
    """

    points: Floats
    normals: Floats
    height: Floats
    slope: Floats
    ambiguous: NDArray[np.bool_]


def lift(camera: Camera, pixels: Floats, sides: PartSides, closed: bool, smooth: int = 5) -> Lifted:
    """Project silhouette pixels to the plan outline, corrected for relief displacement.

    Parameters
    ----------
    pixels : (N, 2) in order along the edge, the part on the left in the sheet's coordinates.
    smooth : the direction of the edge is averaged over this many neighbours on either side.
    """
    on_sheet = camera.on_plane(pixels)
    centre = camera.centre
    lean = (centre[:2] - on_sheet) / centre[2]  # mm sideways for each mm of height
    # The plane that touches the solid along a ray holds the direction of the edge, which is level:
    # it meets the sheet in a line of that direction, and the silhouette has the outline's normal.
    normals = outward_normals(on_sheet, closed, smooth)
    slope = -np.sum(normals * lean, axis=1)
    inset, height = sides.contact(slope)
    points = on_sheet + lean * height[:, None] + normals * inset[:, None]
    ambiguous = _along_the_wall(on_sheet, normals, lean, sides, closed)
    return Lifted(points, normals, height, slope, ambiguous)


def silhouette_pixels(camera: Camera, points: Floats, normals: Floats, sides: PartSides) -> Floats:
    """(N, 2) px where points of the plan outline are seen, with normals out of the part.

    The inverse of `lift`.
    """
    on_sheet = points
    for _ in range(_ROUNDS):
        lean = (camera.centre[:2] - on_sheet) / camera.centre[2]
        inset, height = sides.contact(-np.sum(normals * lean, axis=1))
        on_sheet = points - lean * height[:, None] - normals * inset[:, None]
    return camera.pixels(on_sheet)


def outward_normals(points: Floats, closed: bool, reach: int) -> Floats:
    """(N, 2) unit normals to the right of the walk, from points `reach` before and after."""
    n = len(points)
    reach = max(1, min(reach, (n - 1) // 2))
    index = np.arange(n)
    if closed:
        chord = points[(index + reach) % n] - points[(index - reach) % n]
    else:
        chord = points[np.minimum(index + reach, n - 1)] - points[np.maximum(index - reach, 0)]
    chord = chord / np.maximum(np.linalg.norm(chord, axis=1, keepdims=True), 1e-12)
    return np.column_stack([chord[:, 1], -chord[:, 0]])


def _along_the_wall(
    on_sheet: Floats, normals: Floats, lean: Floats, sides: PartSides, closed: bool
) -> NDArray[np.bool_]:
    """Points on a line that climbs the side, between the bottom edge and the top edge.

    Where the silhouette changes from bottom to top edge the ray lies in the side, which leans by
    the draft, and the silhouette climbs along it: a straight line that touches the outline at one
    point. Points on it are off by what the outline bends away from its tangent over the length of
    that line; along a straight side they are not, and are kept.
    """
    steep = np.linalg.norm(lean, axis=1)
    tangent = np.tan(sides.draft)
    slope = -np.sum(normals * lean, axis=1)
    wall = sides.thickness - sides.edge_size
    climb = wall * np.sqrt(np.maximum(steep**2 - tangent**2, 0.0))  # mm on the sheet
    near: NDArray[np.bool_] = np.abs(slope - tangent) < np.sin(_WINDOW) * steep
    if not near.any():
        return near
    # From the middle of the line, both ways to as far beyond its ends as it is long.
    n = len(on_sheet)
    spacing = float(np.median(np.linalg.norm(np.diff(on_sheet, axis=0), axis=1)))
    reach = np.ceil(_BEND_LENGTHS * climb / spacing).astype(np.int64)
    index = np.arange(n)
    reach = np.minimum(reach, n // 4 if closed else np.minimum(index, n - 1 - index))
    # Averaged over a part of that, so that noise is not mistaken for a bend.
    mode: Literal["wrap", "nearest"] = "wrap" if closed else "nearest"
    steady = uniform_filter1d(on_sheet, int(np.median(reach[near])) // 2 * 2 + 1, axis=0, mode=mode)
    apart = steady[(index + reach) % n] + steady[(index - reach) % n] - 2 * steady
    bend = np.abs(np.sum(normals * apart, axis=1)) / 2
    margin = 2 * _BESIDE + 1  # next to such a line noise decides between bottom and top edge
    return np.asarray(binary_dilation(near & (bend > _BEND), np.ones(margin, dtype=bool)))
