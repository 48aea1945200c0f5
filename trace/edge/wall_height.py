"""How high the visible wall of a part is, roughly, by the light from its foot to the upper face.

Where the camera sees a wall, the silhouette is the foot, and the crease lies inside of it, by the
height times the slope of the ray, whatever height was stated. Up to there the light changes, on
the upper face it is even: the place from which on it is even tells the height. What is not a
crease, such as a rim or a pattern of the face, changes the light inside those edges as well whose
walls are hidden; then nothing is told.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.relief_displacement import PartSides, outward_normals
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.image.robust_scale import SIGMA_PER_MAD
from snugline.trace.image.step_edge import sample_luminance
from snugline.unstated_sides import UNSTATED

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Mm inside of the silhouette that are looked at; the farther half is to be upper face.
_DEPTH_MM = 30.0
# Directions that the rows of one side share; of these rows at least the first number are needed,
# and at most the second are looked at.
_DIRECTIONS, _FEWEST, _MOST = 24, 60, 150
_SMOOTH = 9  # neighbours over which the direction of the edge is averaged
# A wall is seen from the first slope on; it is hidden from the second, beside its lean.
_SEEN, _HIDDEN = 0.04, 0.02
# The silhouette's blur and halo reach this far, px; nearer than the second to it no crease is told.
_BLUR_PX, _NEAREST_PX = 3.0, 5.0
# Even is what is within this share of the largest change, this logarithm of light, or so far in
# standard deviations of the face. A wall differs from the face by a multiple of that.
_SHARE, _EVEN, _SIGMAS = 0.25, 0.05, 5.0
_CLEAR = 2.0
# A crease is a step, as wide as the top edge and these px; a shadow or a mirrored lamp fades. Width
# from the share of the change to where it is even.
_STEP_SHARE, _STEP_PX = 0.6, 4.0
_PLACE_PX = 2.0  # to which the place is known
# A contact shadow may be followed in place of the foot; it is as wide as this, mm. Seen on two of
# 40 scenes of benchmarks/unseen_kinds.py, seed 7600.
_SHADOW_MM = 0.8
_OF_CREASE = 0.5  # of its change: what the hidden sides may show of one at most
_DARKEST = 1e-3


@dataclass(frozen=True)
class _Change:
    """Where a side's light ceases to change, mm inside of its silhouette, and by how much it did.

    `last` is how many mm the last of it took. `even` is what still counts as even, in logarithms
    of light as `size` is; `pixel` is in mm.
    """

    end: float
    last: float
    size: float
    even: float
    pixel: float


def wall_height(
    rgb: NDArray[np.uint8], camera: Camera, sides: PartSides, pieces: tuple[Silhouette, ...]
) -> tuple[float, float] | None:
    """The least and the greatest height, mm, of the walls in a photo; None where none is told.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, the full photo.
    sides : of which top edge and lean count, not the thickness.
    pieces : the part's silhouette.
    """
    least_edge, largest_edge = sides.edge_size, sides.edge_size
    if "edge" in sides.unstated:
        least_edge, largest_edge = 0.0, UNSTATED["edge"].limit
    lean = np.radians(UNSTATED["lean"].limit) if "lean" in sides.unstated else sides.draft
    inwards = float(np.tan(max(lean, 0.0)))
    least, most, largest = 0.0, np.inf, 0.0
    beyond: list[_Change] = []
    for piece in pieces:
        foot = camera.on_plane(piece.pixels)
        normals = outward_normals(foot, piece.closed, _SMOOTH)
        slope = -np.sum(normals * (camera.centre[:2] - foot), axis=1) / camera.centre[2]
        for rows in _sides(normals, piece.good & (slope > _HIDDEN + inwards)):
            change = _change(rgb, camera, foot[rows], normals[rows])
            if change is not None and change.end > largest_edge + _NEAREST_PX * change.pixel:
                beyond.append(change)
        for rows in _sides(normals, piece.good & (slope < -_SEEN)):
            change = _change(rgb, camera, foot[rows], normals[rows])
            if change is None or change.size < _CLEAR * change.even:
                continue
            if not _NEAREST_PX * change.pixel <= change.end < _DEPTH_MM / 2:
                continue
            if change.last > largest_edge + _STEP_PX * change.pixel:
                continue
            # It ceases between the wall's upper end and the beginning of the face. What stands
            # nearer to the camera is shifted by more: height over distance, by similar triangles.
            steep = -float(np.median(slope[rows])) + change.end / float(camera.centre[2])
            place = _PLACE_PX * change.pixel
            before = place + _SHADOW_MM + largest_edge
            least = max(least, (change.end - before) / (steep + inwards))
            most = min(most, (change.end + place) / steep + largest_edge)
            largest = max(largest, change.size)
    if any(change.size > _OF_CREASE * largest for change in beyond):
        return None
    return (least, most) if largest and max(least, least_edge) < most else None


def common_height(
    heights: Sequence[tuple[float, float] | None],
) -> tuple[float, float] | None:
    """What several photos of one part say together; None where none does, or they disagree."""
    told = [height for height in heights if height is not None]
    least, most = max((h[0] for h in told), default=0.0), min((h[1] for h in told), default=0.0)
    return (least, most) if least < most else None


def _sides(normals: Floats, rows: Mask) -> Iterator[NDArray[np.intp]]:
    """Rows that face alike, those of a side together."""
    facing = np.arctan2(normals[:, 1], normals[:, 0]) / (2 * np.pi) * _DIRECTIONS
    number = np.round(facing).astype(int) % _DIRECTIONS
    for side in np.unique(number[rows]):
        here = np.flatnonzero(rows & (number == side))
        if len(here) >= _FEWEST:
            yield here[:: -(-len(here) // _MOST)]


def _change(
    rgb: NDArray[np.uint8], camera: Camera, foot: Floats, normals: Floats
) -> _Change | None:
    """Where the light ceases to change on the way inwards from these points of the silhouette."""
    middle = camera.pixels(foot[len(foot) // 2][None])
    pixel = float(
        np.linalg.norm(np.diff(camera.on_plane(np.vstack([middle, middle + 0.7])), axis=0))
    )
    inside = np.arange(_BLUR_PX * pixel, _DEPTH_MM, pixel)
    places = foot[:, None] - normals[:, None] * inside[:, None]
    x, y = camera.pixels(places.reshape(-1, 2)).T.reshape(2, len(foot), len(inside))
    light = np.log(np.maximum(sample_luminance(rgb, x, y), _DARKEST))
    light = light[np.isfinite(light).all(axis=1)]
    if len(light) < _FEWEST / 2:
        return None
    far = inside > _DEPTH_MM / 2
    # Each row by its own face: lamps light the rows of a side unevenly.
    profile = np.median(light - np.median(light[:, far], axis=1, keepdims=True), axis=0)
    noise = SIGMA_PER_MAD * float(np.median(np.abs(profile[far] - np.median(profile[far]))))
    size = float(np.abs(profile[~far]).max())
    even = max(_EVEN, _SIGMAS * noise, _SHARE * size)
    uneven = np.flatnonzero(np.abs(profile) > even)
    if not len(uneven):
        return None
    end = float(inside[uneven[-1]])
    strong = inside[(np.abs(profile) > _STEP_SHARE * size) & (inside <= end)]
    return _Change(end, end - float(strong.max(initial=0.0)), size, even, pixel)
