"""The camera over the sheet: a lens and a pose, and the way from pixels to planes and back."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.lens import Lens

Floats = NDArray[np.float64]


# Points farther off than this many medians are dropped, in this many rounds.
_FAR, _TRIMMED = 2.5, 3
_FEWEST_POINTS = 12


@dataclass(frozen=True)
class Camera:
    """A lens with the pose `X_camera = rotation @ X_sheet + translation`.

    Sheet axes: mm, x right, y up, z up from the paper. Camera axes: x right, y down, z forward.
    """

    lens: Lens
    rotation: Floats
    translation: Floats

    @property
    def centre(self) -> Floats:
        """(3,) mm, the camera's position in the sheet's coordinates."""
        place: Floats = -self.rotation.T @ self.translation
        return place

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plumb line to the sheet."""
        return float(np.degrees(np.arccos(np.clip(-self.rotation[2, 2], -1, 1))))

    def pixels(self, points: Floats) -> Floats:
        """(N, 2) pixels of (N, 2) points on the sheet or (N, 3) points in space, mm."""
        if points.shape[-1] == 2:
            turned = points @ self.rotation[:, :2].T + self.translation
        else:
            turned = points @ self.rotation.T + self.translation
        return self.lens.pixels(turned[:, :2] / turned[:, 2:])

    def on_plane(self, pixels: Floats, height: float | Floats = 0.0) -> Floats:
        """(N, 2) mm, where the rays of (N, 2) pixels meet the plane `z = height`."""
        directions = self.lens.directions(pixels)
        rays = np.column_stack([directions, np.ones(len(directions))]) @ self.rotation
        centre = self.centre
        reach = (np.asarray(height) - centre[2]) / rays[:, 2]
        place: Floats = centre[:2] + rays[:, :2] * reach[:, None]
        return place

    def homography(self) -> Floats:
        """(3, 3) sheet to undistorted pixels: the camera without its distortion."""
        f, (cx, cy) = self.lens.focal, self.lens.centre
        matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
        plane = np.column_stack([self.rotation[:, :2], self.translation])
        result: Floats = matrix @ plane
        return result


def rotation_from_vector(vector: Floats) -> Floats:
    """(3, 3) rotation about `vector` by its length (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.eye(3) + cross_matrix(vector)
    k = cross_matrix(vector / angle)
    result: Floats = np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)
    return result


def cross_matrix(v: Floats) -> Floats:
    """(3, 3) matrix of the cross product with `v`."""
    return np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])


def pose_from_plane(lens: Lens, plane: Floats, pixels: Floats) -> Camera:
    """A first pose from N >= 4 points of the sheet and their pixels, by a plane homography.

    Points far off (paper bent up) are left out.
    """
    return pose_from_homography(lens, trimmed_homography(plane, lens.directions(pixels)), plane)


def pose_from_homography(lens: Lens, h: Floats, plane: Floats) -> Camera:
    """The pose that a homography from the sheet to directions stands for.

    Of the two signs that it leaves open the one with the sheet's points before the camera is taken.
    """
    h = h / np.sqrt(np.linalg.norm(h[:, 0]) * np.linalg.norm(h[:, 1]))
    middle = h @ np.append(plane.mean(axis=0), 1.0)
    if middle[2] < 0:
        h = -h
    u, _, vt = np.linalg.svd(np.column_stack([h[:, :2], cross_matrix(h[:, 0]) @ h[:, 1]]))
    rotation = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    return Camera(lens, rotation, h[:, 2])


def trimmed_homography(source: Floats, target: Floats) -> Floats:
    """(3, 3) homography of (N, 2) to (N, 2) points, those far off left out."""
    h = homography(source, target)
    kept = np.ones(len(source), dtype=bool)
    for _ in range(_TRIMMED):
        off = np.linalg.norm(mapped(h, source) - target, axis=1)
        near = off <= _FAR * np.median(off)
        if near.sum() < _FEWEST_POINTS or np.array_equal(near, kept):
            break
        kept = near
        h = homography(source[near], target[near])
    return h


def homography(source: Floats, target: Floats) -> Floats:
    """(3, 3) homography of (N, 2) to (N, 2) points, N >= 4, by the normalised linear method.

    Source: Hartley and Zisserman, Multiple View Geometry, algorithm 4.2 (from memory).
    """
    to_source, a = _normalised(source)
    to_target, b = _normalised(target)
    one, zero = np.ones(len(a)), np.zeros((len(a), 3))
    row = np.column_stack([a, one])
    rows = np.concatenate(
        [
            np.column_stack([row, zero, -b[:, :1] * row]),
            np.column_stack([zero, row, -b[:, 1:] * row]),
        ]
    )
    # The triangular factor has the same null vector, and is small; with fewer rows than unknowns
    # only the full factor contains it.
    h = np.linalg.svd(np.linalg.qr(rows, mode="r"))[2][-1].reshape(3, 3)
    result: Floats = np.linalg.inv(to_target) @ h @ to_source
    return result


def mapped(h: Floats, points: Floats) -> Floats:
    """(N, 2) points where a homography takes (N, 2) points."""
    image = np.column_stack([points, np.ones(len(points))]) @ h.T
    taken: Floats = image[:, :2] / image[:, 2:]
    return taken


def _normalised(points: Floats) -> tuple[Floats, Floats]:
    middle = points.mean(axis=0)
    scale = np.sqrt(2) / max(float(np.sqrt(np.mean(np.sum((points - middle) ** 2, axis=1)))), 1e-12)
    matrix = np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])
    return matrix, (points - middle) * scale
