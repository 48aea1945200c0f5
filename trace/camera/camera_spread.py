"""How far places move when lens and pose are off by what their covariance leaves open."""

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.lens import LENS_SIZE
from snugline.trace.camera.projection import Camera, rotation_from_vector

Floats = NDArray[np.float64]


def across_u(
    camera: Camera, covariance: Floats, pixels: Floats, height: float | Floats, normals: Floats
) -> Floats:
    """(N,) mm, standard uncertainty along normals (N, 2) of pixels (N, 2) seen on `z = height`.

    Parameters
    ----------
    covariance : (13, 13) of lens and pose (`Solved.camera_covariance`).
    """
    shifts = spread_along(camera, covariance, pixels, height, normals)
    spread: Floats = np.sqrt(np.sum(shifts**2, axis=0))
    return spread


def spread_along(
    camera: Camera, covariance: Floats, pixels: Floats, height: float | Floats, normals: Floats
) -> Floats:
    """(13, N) mm along the normals, for one standard deviation on each principal axis."""
    base = camera.on_plane(pixels, height)
    values, vectors = np.linalg.eigh(covariance)
    shifts = np.empty((len(values), len(base)))
    for k, (value, vector) in enumerate(zip(values, vectors.T, strict=True)):
        step = np.sqrt(max(value, 0.0)) * vector
        moved = Camera(
            camera.lens.with_vector(camera.lens.vector() + step[:LENS_SIZE]),
            rotation_from_vector(step[LENS_SIZE : LENS_SIZE + 3]) @ camera.rotation,
            camera.translation + step[LENS_SIZE + 3 :],
        )
        shifts[k] = np.sum((moved.on_plane(pixels, height) - base) * normals, axis=1)
    return shifts
